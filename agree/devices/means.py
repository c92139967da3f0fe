"""Window means of several devices: how each two differ, who stands apart, each one's own error, shared errors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.choices import Sampling
from agree.core.errors import InputError
from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.thresholds import DEVICES_APART
from agree.devices.line_up import LinedUp
from agree.estimators.devices.splitting import error_sd, error_variances, on_scale, products
from agree.estimators.ratios import ratio_of_sums

# Correlation of a window's errors with those of the next: of errors that last for 5 min it is 0.9, and own errors are
# covered in 91 % then; up to some 2 min, 0.8, in 93 % (benchmarks/devices.py).
LASTING = 0.75
PEDALLING_SHARE = 0.5   # of the median reading: windows below are coasting or starts, and say little in per cent


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Difference(Result):
    """Two devices: 100 (second / first - 1), and whether the interval leaves out 0."""

    first: str
    second: str
    percent: Estimate
    differs: bool


def window_means(lined: LinedUp, window_s: int) -> FloatArray:
    """Return means (devices, windows) over unbroken windows of pedalling."""
    if window_s < 1:
        raise InputError(f"`window_s` must be 1 or more; got {window_s}", option="window_s")
    count = lined.readings.shape[1] // window_s
    blocks = lined.readings[:, :count * window_s].reshape(len(lined.names), count, window_s)
    together = np.isfinite(blocks).all(axis=0)
    seconds = together.sum(axis=1)
    enough = seconds > window_s / 2
    means = np.where(together, blocks, 0.0).sum(axis=2)[:, enough] / seconds[enough]
    level = np.median(means, axis=0)
    result: FloatArray = means[:, level > PEDALLING_SHARE * np.median(level)] if level.size else means
    return result


def ratio_to(part: FloatArray, whole: FloatArray, level: float) -> Estimate:
    """Ratio of the sums of two devices' means, with the serial interval."""
    value, phi = ratio_of_sums(part, whole)
    return estimate(value, phi, level=level, sampling="serial", cautious=True)


def differences_of(names: Sequence[str], means: FloatArray, level: float) -> tuple[Difference, ...]:
    """Compare each two, at a level that holds for all comparisons at once (Bonferroni)."""
    pairs = list(combinations(range(len(names)), 2))
    joint = 1 - (1 - level) / len(pairs)
    found = []
    for a, b in pairs:
        plain, wide = (ratio_to(means[b] - means[a], means[a], at).scaled(100.0) for at in (level, joint))
        found.append(Difference(first=names[a], second=names[b], percent=plain, differs=not wide.low <= 0 <= wide.high))
    return tuple(found)


def one_apart(names: Sequence[str], differences: Sequence[Difference]) -> str | None:
    """Return the one device that differs from all others, while these do not differ or by a fifth as much at most."""
    among = [item for item in differences if item.first in names and item.second in names]
    odd = []
    for name in names:
        own = [item for item in among if name in (item.first, item.second)]
        rest = [abs(item.percent.value) for item in among if item.differs and item not in own]
        nearest = min((abs(item.percent.value) for item in own), default=0.0)
        if all(item.differs for item in own) and nearest >= DEVICES_APART * max(rest, default=0.0):
            odd.append(name)
    return odd[0] if len(odd) == 1 and len(names) > 2 else None


def own_errors(names: Sequence[str], means: FloatArray, level: float) -> list[Estimate | None]:
    """Return the SD of each device's own error of a window's mean, per cent; None for fewer than three."""
    if len(names) < 3:
        return [None] * len(names)
    scaled = means * (means[0].mean() / means.mean(axis=1))[:, None]  # a wrong scale is no random error
    values = on_scale(scaled, tuple(names), "percent")
    summands, unit, _ = products(values, None)
    ways: tuple[Sampling, ...] = ("serial", "independent")
    found = [error_variances(values, summands, unit, way, None) for way in ways]
    return [_wider(*(error_sd(k, item, level=level, sampling=way, session=None, cautious=True).scaled(unit)
                     for item, way in zip(found, ways, strict=True))) for k in range(len(names))]


def lasting_errors(means: FloatArray) -> tuple[Note, ...]:
    """Say that errors last from window to window, so that own errors are known less well than their intervals say."""
    if means.shape[0] < 3:
        return ()
    relative = means / means.mean(axis=1)[:, None]
    rest = relative / relative.mean(axis=0) - 1
    rest -= rest.mean(axis=1)[:, None]
    square = float(np.square(rest).sum())
    together = float((rest[:, 1:] * rest[:, :-1]).sum()) / square if square else 0.0
    return (Note(kind="devices_lasting_errors", severity="trust", values={"correlation": together}),) * (
        together > LASTING)


def _wider(serial: Estimate, independent: Estimate) -> Estimate:
    """Return the serial interval, at least as wide as that of independent windows.

    Eight cosines of squared errors too often show too little spread where the error happens to come out small: by
    themselves they covered the noisiest device of four in 87 % (benchmarks/devices.py).
    """
    return replace(serial, low=min(serial.low, independent.low), high=max(serial.high, independent.high),
                   method=f"{serial.method}, at least as wide as for independent windows")


def unseen_errors(names: Sequence[str], means: FloatArray, level: float) -> tuple[Note, ...]:
    """Say what such a comparison cannot tell, and with four devices whether two share an error."""
    if len(names) == 2:
        return (Note(kind="devices_two_cannot_tell", severity="answer"),)
    if len(names) == 3:
        return (Note(kind="devices_shared_error_unseen", severity="trust"),)
    found = []
    relative = means / means.mean(axis=1)[:, None]
    relative = 100 * (relative - relative.mean(axis=0))
    fours = list(combinations(range(len(names)), 4))
    tests = 3 * len(fours)
    for a, b, c, d in fours:
        for one, other in (((a, b), (c, d)), ((a, c), (b, d)), ((a, d), (b, c))):
            # e_a - e_b against e_c - e_d: together only if a shares with c or d, or b does
            product = (relative[one[0]] - relative[one[1]]) * (relative[other[0]] - relative[other[1]])
            item = estimate(float(product.mean()), product - product.mean(), level=1 - (1 - level) / tests,
                            sampling="serial", cautious=True)
            if not item.low <= 0 <= item.high:
                found.append(Note(kind="devices_shared_error", severity="trust", values={
                    "first": f"{names[one[0]]} and {names[one[1]]}",
                    "second": f"{names[other[0]]} and {names[other[1]]}", "covariance": item.value}))
    return tuple(found)
