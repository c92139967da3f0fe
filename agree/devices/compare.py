"""`compare_devices`: each device's own error, and the factors that line them up, without a trusted one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np

from agree.core.checks import FloatArray, fraction
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.devices.line_up import LinedUp, line_up
from agree.estimators.devices.split_errors import split_errors
from agree.estimators.ratios import ratio_of_sums

LEAST_WINDOWS = 20
PEDALLING_SHARE = 0.5   # of the median reading: windows below are coasting or starts, and say little in per cent
WINDOW_S = 30           # the customary reading: differences in response and fractions of a second vanish in it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Device(Result):
    """One device among several.

    Attributes
    ----------
    name : str
    error_sd : Estimate or None
        SD of its own error of a window's mean, per cent of the power; None with two devices, where it cannot be told.
    factor : Estimate
        Multiplies the device to line it up with the first.
    factor_to_mean : Estimate
        Multiplies it to line it up with the mean of all.
    lag_s : float
        Its clock minus the first one's.
    stands_apart : bool
        It differs from every other, and these do not differ from one another.
    """

    name: str
    error_sd: Estimate | None
    factor: Estimate
    factor_to_mean: Estimate
    lag_s: float
    stands_apart: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Difference(Result):
    """Two devices: 100 (second / first - 1), and whether the interval leaves out 0."""

    first: str
    second: str
    percent: Estimate
    differs: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeviceComparison(Result):
    """Several devices on one effort, none of them trusted.

    Attributes
    ----------
    devices : tuple of Device
        In the order given.
    differences : tuple of Difference
        Of each two.
    seconds, windows : int
        Seconds that all devices recorded and none had a fault in; windows of 30 s made of them.
    notes : tuple of Note
        What such a comparison cannot tell, and an error that two devices share where four allow to see it.
    """

    devices: tuple[Device, ...]
    differences: tuple[Difference, ...]
    seconds: int
    windows: int
    notes: tuple[Note, ...]


def compare_devices(
    sources: Sequence[Any], *, max_lag_s: float | None = None, window_s: int = WINDOW_S, level: float = 0.95,
) -> DeviceComparison:
    """Compare two or more devices that recorded one effort, none of which is trusted.

    Parameters
    ----------
    sources : sequence of files, Recordings, frames or arrays
        The first is what the factors line the others up with; that does not make it right.
    max_lag_s : float, optional
        Largest difference of clocks to search, s.
    window_s : int, s
        Averaging time of a reading.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    DeviceComparison

    Raises
    ------
    InputError
        Fewer than 2 recordings, or fewer than 20 windows that all of them have.
    MatchError
        A recording of another effort.

    See Also
    --------
    agree.split_errors : the split of errors alone, of arrays.

    Notes
    -----
    Errors are split by Grubbs (1948, JASA 43:243, from memory): the variance of each from those of the differences,
    which is right if no two share a source of error. With four devices that can be tested: without a shared error
    the differences of two pairs do not vary together. Factors are ratios of sums, with the serial engine's intervals.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.devices.compare import compare_devices
    >>> rng, t = np.random.default_rng(4), np.arange(2400)
    >>> true = 220 + 90 * np.sin(t / 70) + np.convolve(rng.normal(0, 60, 2404), np.ones(5) / 5, "valid")
    >>> devices = [k * true + rng.normal(0, 3, 2400) for k in (1.0, 1.0, 0.95)]
    >>> found = compare_devices(devices)
    >>> [round(device.factor.value, 2) for device in found.devices], found.devices[2].stands_apart
    ([1.0, 1.0, 1.05], True)
    """
    fraction(level, "level")
    lined = line_up(sources, max_lag_s=max_lag_s)
    means = _window_means(lined, window_s)
    if means.shape[1] < LEAST_WINDOWS:
        raise SampleSizeError(f"at least {LEAST_WINDOWS} windows of {window_s} s that all {len(lined.names)} devices "
                              f"recorded are needed; got {means.shape[1]}: record a longer effort together")
    differences = _differences(lined.names, means, level)
    apart = _apart(lined.names, differences)
    sds = _own_errors(lined.names, means, level)
    mean = means.mean(axis=0)
    devices = tuple(
        Device(name=name, error_sd=sds[k], factor=_ratio(means[0], means[k], level),
               factor_to_mean=_ratio(mean, means[k], level), lag_s=lined.lags_s[k], stands_apart=name == apart)
        for k, name in enumerate(lined.names))
    return DeviceComparison(
        devices=devices, differences=differences, seconds=int(np.isfinite(lined.readings).all(axis=0).sum()),
        windows=means.shape[1], notes=_notes(lined.names, means, level))


def _window_means(lined: LinedUp, window_s: int) -> FloatArray:
    """Return means (devices, windows) over unbroken windows of pedalling."""
    if window_s < 1:
        raise InputError(f"`window_s` must be 1 or more; got {window_s}")
    count = lined.readings.shape[1] // window_s
    blocks = lined.readings[:, :count * window_s].reshape(len(lined.names), count, window_s)
    together = np.isfinite(blocks).all(axis=0)
    seconds = together.sum(axis=1)
    enough = seconds > window_s / 2
    means = np.where(together, blocks, 0.0).sum(axis=2)[:, enough] / seconds[enough]
    level = np.median(means, axis=0)
    result: FloatArray = means[:, level > PEDALLING_SHARE * np.median(level)] if level.size else means
    return result


def _ratio(part: FloatArray, whole: FloatArray, level: float) -> Estimate:
    value, phi = ratio_of_sums(part, whole)
    return estimate(value, phi, level=level, sampling="serial", cautious=True)


def _differences(names: Sequence[str], means: FloatArray, level: float) -> tuple[Difference, ...]:
    """Compare each two, at a level that holds for all comparisons at once (Bonferroni)."""
    pairs = list(combinations(range(len(names)), 2))
    joint = 1 - (1 - level) / len(pairs)
    found = []
    for a, b in pairs:
        plain, wide = (_ratio(means[b] - means[a], means[a], at).scaled(100.0) for at in (level, joint))
        found.append(Difference(first=names[a], second=names[b], percent=plain, differs=not wide.low <= 0 <= wide.high))
    return tuple(found)


def _apart(names: Sequence[str], differences: Sequence[Difference]) -> str | None:
    """Return the one device that differs from all others while these do not differ, if there is one."""
    odd = [name for name in names
           if all(item.differs == (name in (item.first, item.second)) for item in differences)]
    return odd[0] if len(odd) == 1 and len(names) > 2 else None


def _own_errors(names: Sequence[str], means: FloatArray, level: float) -> list[Estimate | None]:
    if len(names) < 3:
        return [None] * len(names)
    scaled = means * (means[0].mean() / means.mean(axis=1))[:, None]  # a wrong scale is no random error
    return list(split_errors(*scaled, names=names, scale="percent", level=level, sampling="serial").sd)


def _notes(names: Sequence[str], means: FloatArray, level: float) -> tuple[Note, ...]:
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
