"""The filter that lays one trace over another: found from the data, or none, and both columns with one response."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.held_readings import held
from agree.core.thresholds import PURE_LAG_S, REPEAT_LEFT, TOGETHER, WORKING_W
from agree.estimators.response import transfer
from agree.estimators.response.choice import Choice, choose, opposite
from agree.estimators.response.kernels import Kernel, kernel, smoothed
from agree.estimators.response.nonlinear.any_filter import AnyFilter, answered
from agree.estimators.response.nonlinear.fit_holding import held_seconds, may_hold
from agree.estimators.response.nonlinear.fit_repeating import repeating
from agree.estimators.response.nonlinear.fit_uneven import TwoConstants, two_constants
from agree.estimators.response.nonlinear.holding import Holding
from agree.estimators.response.nonlinear.repeating import Repeating

LEAST_SECONDS = 300   # changes from one second to the next, known in both, below which no filter is looked for
FARTHEST_S = 12       # s of lag that a response may leave after the clocks were matched
LEVEL = 0.95
SHORT = 4             # weights of a filter that may be but a lag by a part of a second
SHOWN = 0.8           # share of a filter's weights in its reach: a longer window adds more noise than energy
NOTHING = Kernel(0, np.ones(1))


class Filter(NamedTuple):
    """How the smoother trace is made from the other: by what, which trace is smoother, and what that rests on.

    `constants` is given where the smoother trace is slower one way than the other.
    """

    kernel: AnyFilter
    smoother: str
    choice: Choice | None
    constants: TwoConstants | None = None

    @property
    def reach(self) -> tuple[int, int]:
        """First and last second, after one of the sharper trace, at which the smoother one shows 80 % of it."""
        shown = int(np.searchsorted(np.cumsum(self.kernel.weights), SHOWN - 1e-9))
        held_s = self.held_s
        return self.kernel.start, self.kernel.start + min(shown, self.kernel.weights.size - 1 - held_s) + held_s

    @property
    def held_s(self) -> int:
        """Seconds for which the smoother trace goes on with its last reading after pedalling ends."""
        by = self.kernel
        return by.seconds if isinstance(by, Holding) else by.held_s if isinstance(by, Repeating) else 0

    @property
    def mean_delay(self) -> float:
        """Delay of the smoother trace behind the sharper one, s."""
        at = self.kernel.start + np.arange(self.kernel.weights.size)
        return float(at @ self.kernel.weights)

    @property
    def changes(self) -> bool:
        """Whether the sharper trace is changed at all."""
        return self.kernel.weights.size > 1 or self.kernel.start != 0

    def columns(self, reference: FloatArray, device: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Both traces with one response; NaN where a second that the filter needs is unknown."""
        if self.smoother == "reference":
            return reference, answered(device, self.kernel)
        return answered(reference, self.kernel), device


def find_filter(reference: FloatArray, device: FloatArray) -> Filter:
    """Find the filter between two traces on one grid of seconds, NaN where unknown; none if the data cannot tell it.

    Lag and filter are one model (Whittle's likelihood, see `response_difference`), tried with either trace as the
    smoother one. Without a filter the sharper trace is moved by the lag: (1 - f, f) for a fraction f of a second. So
    the readings of the smoother trace are never mixed from neighbours. Where the errors of that filter say so at a
    first look, readings held at stops, and a lag that is slower one way, are tried beside it.
    """
    made = linear_filter(reference, device)
    if made.choice is None:
        return made
    return _repeating(made, reference, device) or nonlinear_beside(made, reference, device) or made


def nonlinear_beside(made: Filter, reference: FloatArray, device: FloatArray) -> Filter | None:
    """Readings held at stops, or a lag that is slower one way, where the errors of the linear filter show either."""
    return _holding(made, reference, device) or _uneven(made, reference, device)


def _repeating(made: Filter, reference: FloatArray, device: FloatArray) -> Filter | None:
    """The filter of a trace that repeats its reading, if it leaves clearly less than the linear one."""
    traces = {"reference": reference, "device": device}
    sign = {"device": 1.0, "reference": -1.0}
    best, least = None, REPEAT_LEFT * _error_left(made, reference, device)
    for role, other in (("device", "reference"), ("reference", "device")):
        by = repeating(traces[other], traces[role], made.mean_delay * sign[role] * sign[made.smoother or "device"])
        found = None if by is None else Filter(by, role, made.choice)
        if found is not None and (left := _error_left(found, reference, device)) <= least:
            best, least = found, left
    return best


def _error_left(made: Filter, reference: FloatArray, device: FloatArray) -> float:
    """Mean size of the difference of both columns amid work, apart from the usual ratio, as a share of their mean."""
    u, v = made.columns(reference, device)
    works = (u > WORKING_W) & (v > WORKING_W)
    if not works.any():
        return math.inf
    u, v = u[works], v[works]
    return float(np.abs(v - float(np.median(v / u)) * u).mean() / v.mean())


def _holding(made: Filter, reference: FloatArray, device: FloatArray) -> Filter | None:
    """The filter with readings held at stops of the sharper trace, if most stops show that."""
    traces = {"reference": reference, "device": device}
    ways = [made.smoother]
    if made.choice is not None and made.choice.kind == "none":
        ways.append("reference" if made.smoother == "device" else "device")
    for holder in ways:
        sharper = "device" if holder == "reference" else "reference"
        by = _seen_from(made, holder)
        if not may_hold(traces[sharper], traces[holder], by):
            continue
        # What is held for a second looks like a lag by a part of one.
        part = by.weights.size == 2 and made.choice is not None and made.choice.kind == "none"
        tried = (held_seconds(traces[sharper], traces[holder], one) for one in (
            by, *(Kernel(by.start + more, np.ones(1)) for more in (0, 1) if part)))
        seconds = next((one for one in tried if one), 0)
        for _ in range(2):  # the filter beside it was found without it
            if not seconds:
                break
            other = linear_filter(*(traces | {sharper: held(traces[sharper], seconds)}).values())
            if other.choice is None or (other.choice.kind != "none" and other.smoother != holder):
                break
            again = held_seconds(traces[sharper], traces[holder], _seen_from(other, holder))
            if again == seconds:
                return Filter(Holding(seconds, _seen_from(other, holder)), holder, other.choice)
            seconds = again
    return None


def _seen_from(made: Filter, smoother: str) -> Kernel:
    """Weights of a linear filter, or of a lag the other way round, with this trace as the smoother."""
    start, weights = made.kernel.start, made.kernel.weights
    return Kernel(start, weights) if smoother == made.smoother else Kernel(1 - start - weights.size, weights[::-1])


def _uneven(made: Filter, reference: FloatArray, device: FloatArray) -> Filter | None:
    """A lag with two constants, if it leaves clearly less than the filter."""
    sharp, smooth = (device, reference) if made.smoother == "reference" else (reference, device)
    chosen = made.choice
    if chosen is None or chosen.size is None:
        return None
    lag = chosen.size.value if chosen.kind in ("first order", "two lags") else max(chosen.size.value / 3, 0.3)
    lag = lag if chosen.second is None else math.hypot(lag, chosen.second.value)
    found = two_constants(sharp, smooth, answered(sharp, made.kernel), lag, made.mean_delay - lag)
    return None if found is None else Filter(found.filter, made.smoother, chosen, found)


def linear_filter(reference: FloatArray, device: FloatArray) -> Filter:
    """The linear filter between two traces, NaN where unknown; none if the data cannot tell it."""
    pair = transfer.cross(reference, device)
    alone = Filter(NOTHING, "device", None)
    if pair.known < LEAST_SECONDS or not (pair.x.any() and pair.y.any()):
        return alone
    if pair.correlation * math.sqrt(pair.known) < TOGETHER:
        return alone
    unit = float(np.nanmax(np.abs([reference, device])))
    chosen = choose(reference / unit, device / unit, LEVEL, alike=False)
    if chosen.kind == "none" and abs(pair.lag) > FARTHEST_S:
        return alone
    if chosen.kind == "none" and not chosen.part:
        return Filter(of_lag(chosen), "device", chosen)
    late = chosen.delay if chosen.smoother == "device" else opposite(chosen.delay)
    made = Filter(kernel(chosen.kind, chosen.size, late, chosen.second, chosen.part), chosen.smoother, chosen)
    return _without_filter(made, chosen, reference, device) if made.kernel.weights.size <= SHORT else made


def _without_filter(made: Filter, chosen: Choice, reference: FloatArray, device: FloatArray) -> Filter:
    """A lag by a part of a second smooths a little too: take it alone if it leaves no more than the filter.

    Its two weights are those of least squares.
    """
    whole = math.floor(made.mean_delay if made.smoother == "device" else -made.mean_delay)
    near, far = (smoothed(reference, Kernel(whole + more, np.ones(1))) for more in (0, 1))
    good = np.isfinite(near) & np.isfinite(far) & np.isfinite(device)
    if not good.any():
        return made
    weights = np.linalg.lstsq(np.stack([near[good], far[good]], axis=1), device[good], rcond=None)[0]
    part = float(np.clip(weights[1] / weights.sum(), 0.0, 1.0)) if weights.sum() > 0 else 0.0
    alone = Filter(Kernel(whole, np.array([1 - part, part])), "device", made.choice)

    def left(one: Filter) -> float:
        u, v = one.columns(reference, device)
        good = np.isfinite(u) & np.isfinite(v)
        scale = float(u[good] @ v[good]) / max(float(u[good] @ u[good]), 1e-300)
        return float(np.mean((v - scale * u)[good] ** 2)) if good.any() else math.inf

    if left(alone) > left(made):
        return made
    delay = replace(chosen.delay, value=whole + part)
    return alone._replace(choice=chosen._replace(kind="none", smoother="", size=None, delay=delay))


def of_lag(chosen: Choice) -> Kernel:
    """Weights of a lag: whole seconds if it is within 0.1 s, or two standard errors, of them."""
    delay = chosen.delay
    error = delay.standard_error if math.isfinite(delay.standard_error) else 0.0
    if abs(delay.value - round(delay.value)) <= max(PURE_LAG_S, 2 * error):
        return Kernel(round(delay.value), np.ones(1))
    whole = math.floor(delay.value)
    part = delay.value - whole
    return Kernel(whole, np.array([1 - part, part]))
