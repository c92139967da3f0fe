"""Which of two traces is the smoother, and how: the six models compared, and what the choice rests on."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import RESPONSE_MISFIT
from agree.estimators.response import transfer
from agree.estimators.response.smeared import between_seconds, with_smear
from agree.estimators.response.transfer import Cross, Fitted, Seen

# A filter must leave so much less than none does (twice the log of a likelihood ratio), times the mean square of what
# is left where that is above 1. With LEAST, none of 336 simulated recordings without a filter came to more than 7.
EVIDENCE = 20.0
LEAST = {"running mean": 1.5, "first order": 0.3}   # s
OWN_ERROR = 0.003      # standard error of a size, as a fraction of it, that comes of bins and of the recording's ends
MARKS = {"running mean": 3.0, "first order": 1.0}   # s; whether these can be excluded is said when none is found
SIDES = ("device", "reference")


class Choice(NamedTuple):
    """Model chosen, the smoother side, size and delay (s, device behind reference), and the models as good.

    `between` holds sizes, delays of the smoother trace and parts of a second, s, (3, k), with which readings may lie
    between whole seconds; None without a filter. `alike` is None where it was not asked. `misfit` is the mean square
    that the model leaves, over what chance leaves.
    """

    kind: str
    smoother: str
    size: Estimate | None
    delay: Estimate
    alike: tuple[str, ...] | None
    misfit: float
    between: FloatArray | None = None

    @property
    def fits(self) -> bool:
        """Whether the model leaves about what chance leaves."""
        return self.misfit <= RESPONSE_MISFIT


def choose(reference: FloatArray, device: FloatArray, level: float, *, alike: bool = True) -> Choice:
    """Fit a running mean, a lag and none, with either trace as the smoother, and take what leaves least.

    With `alike` also say which others are as good; where none is chosen, which of `MARKS` cannot be excluded.
    """
    pairs = dict(zip(SIDES, (transfer.cross(reference, device), transfer.cross(device, reference)), strict=True))
    data = {side: transfer.seen(pair) for side, pair in pairs.items()}
    plain = {side: transfer.best(item, "none") for side, item in data.items()}
    fitted = {(kind, side): transfer.best(item, kind) for kind in LEAST for side, item in data.items()}
    fitted = {key: item for key, item in fitted.items() if item.size >= LEAST[key[0]]}
    none = min(SIDES, key=lambda side: plain[side].misfit)
    first = min(fitted, key=lambda key: fitted[key].misfit, default=("none", none))
    item = fitted.get(first, plain[none])
    left = item.misfit / (2 * data[first[1]].frequency.size)
    enough = EVIDENCE * max(1.0, left)
    if first[0] == "none" or plain[none].misfit - item.misfit <= enough:
        # Weights differ between the two ways round: a filter is compared with none on its own side.
        unseen = tuple(
            named(kind, side) for side in SIDES for kind, size in MARKS.items()
            if transfer.best(data[side], kind, size).misfit - plain[side].misfit <= enough) if alike else None
        return Choice("none", "", None, _estimates(pairs[none], data[none], plain[none], none, level)[1], unseen,
                      plain[none].misfit / (2 * data[none].frequency.size))
    between = between_seconds(data[first[1]], item)
    size, delay = _estimates(pairs[first[1]], data[first[1]], item, first[1], level, between)
    others = tuple(named(*key) for key, other in fitted.items()
                   if key != first and other.misfit - item.misfit <= enough) if alike else None
    between[1] += pairs[first[1]].lag
    return Choice(first[0], first[1], size, delay, others, left, between)


def opposite(delay: Estimate) -> Estimate:
    """Return the delay of the other trace behind this one."""
    return replace(delay, value=-delay.value, low=-delay.high, high=-delay.low)


def named(kind: str, side: str) -> str:
    """Words for a model."""
    return f"{'first-order lag' if kind == 'first order' else kind} of the {side}"


def _estimates(pair: Cross, data: Seen, found: Fitted, side: str, level: float, between: FloatArray | None = None,
               ) -> tuple[Estimate, Estimate]:
    """Size, and delay of the device behind the reference."""
    phi = transfer.influence(pair, data, found)
    size, delay = (estimate(value, row, level=level, sampling="serial")
                   for value, row in zip((found.size, found.delay + pair.lag), phi, strict=True))
    error = math.hypot(size.standard_error, OWN_ERROR * found.size)
    half = t_quantile(level, size.df) * error
    least = 1.0 if found.kind == "running mean" else 0.0
    size = replace(size, low=max(size.value - half, least), high=size.value + half, standard_error=error)
    if between is not None:
        size, delay = with_smear(size, delay, least, found, phi[1], between)
    return size, opposite(delay) if side == "reference" else delay


def line_errors(x: FloatArray, y: FloatArray) -> tuple[float, FloatArray]:
    """Slope, and errors about the straight line, for equal errors of both (Deming 1943); NaN where unknown."""
    good = np.isfinite(x) & np.isfinite(y)
    a, b = x - x[good].mean(), y - y[good].mean()
    xx, yy, xy = (float(np.mean((p * q)[good])) for p, q in ((a, a), (b, b), (a, b)))
    slope = (yy - xx + math.hypot(yy - xx, 2 * xy)) / (2 * xy) if xy > 0 else math.nan
    errors: FloatArray = b - slope * a
    return slope, errors


def explained(before: FloatArray, after: FloatArray, level: float) -> Estimate:
    """Share of the mean square of errors that is gone; the interval is made on the log of what is left."""
    good = np.isfinite(before) & np.isfinite(after)
    was, now = np.square(before[good]), np.square(after[good])
    if not (was.mean() > 0 and now.mean() > 0):
        value = 1.0 if was.mean() > 0 else 0.0
        return Estimate(value=value, low=value, high=value, level=level, method="nothing is left")
    log = estimate(math.log(now.mean() / was.mean()), now / now.mean() - was / was.mean(), level=level,
                   sampling="serial")
    return Estimate(value=-math.expm1(log.value), low=-math.expm1(log.high), high=-math.expm1(log.low), level=level,
                    method=log.method + ", log scale", df=log.df, drift=log.drift,
                    standard_error=log.standard_error * math.exp(log.value))
