"""The filter that lays one trace over another: found from the data, or none, and both columns with one response."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.held_readings import held
from agree.core.thresholds import REPEAT_LEFT, TOGETHER, WORKING_W
from agree.estimators.response import transfer
from agree.estimators.response.choice import Choice, choose, line_errors, named, opposite, whole
from agree.estimators.response.gaps.across import across_gaps
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
        made = self.sure(answered(device if self.smoother == "reference" else reference, self.kernel))
        return (reference, made) if self.smoother == "reference" else (made, device)

    def sure(self, answer: FloatArray) -> FloatArray:
        """The sharper trace answered, NaN after gaps in which the filter did not go on."""
        unsure = None if self.choice is None else self.choice.unsure
        return answer if unsure is None or unsure.size != answer.size else np.where(unsure, np.nan, answer)


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
    by, chosen = chosen_filter(reference / unit, device / unit, LEVEL, alike=False)
    return alone if chosen.kind == "none" and abs(pair.lag) > FARTHEST_S else Filter(
        by, chosen.smoother or "device", chosen)


def chosen_filter(reference: FloatArray, device: FloatArray, level: float, *, alike: bool) -> tuple[Kernel, Choice]:
    """The linear filter that fits best, of traces in units of their largest reading; see `choose`.

    A zero error comes and goes with pedalling, as no filter does: where none fits, it is taken out, and if one fits
    then, it is that.
    """
    by, chosen = _fitted(reference, device, level, alike)
    if chosen.fits:
        return by, chosen
    u, v = Filter(by, chosen.smoother or "device", chosen).columns(reference, device)
    works = np.isfinite(u) & np.isfinite(v) & (u > 0) & (v > 0)
    if not works.any():
        return by, chosen
    slope = line_errors(u[works], v[works])[0]
    zero = float(v[works].mean() - slope * u[works].mean())
    again = _fitted(reference, np.where(device > 0, device - zero, device), level, alike)
    return again if again[1].fits else (by, chosen)


def _fitted(reference: FloatArray, device: FloatArray, level: float, alike: bool) -> tuple[Kernel, Choice]:
    return across_gaps(reference, device, partial(_without_gaps, level=level, alike=alike))


def _without_gaps(reference: FloatArray, device: FloatArray, level: float, alike: bool) -> tuple[Kernel, Choice]:
    chosen = choose(reference, device, level, alike=alike)
    if chosen.kind == "none":
        return _of_delay(chosen, reference, device)
    late = chosen.delay if chosen.smoother == "device" else opposite(chosen.delay)
    by = kernel(chosen.kind, chosen.size, late, chosen.second, chosen.part)
    return _without_filter(by, chosen, reference, device) if by.weights.size <= SHORT else (by, chosen)


def _of_delay(chosen: Choice, reference: FloatArray, device: FloatArray) -> tuple[Kernel, Choice]:
    """A delay alone; by a part of a second it mixes neighbours, with the weights of least squares."""
    near, side = of_lag(chosen), chosen.smoother
    if not side:
        return near, chosen
    late = chosen.delay if side == "device" else opposite(chosen.delay)
    sharp, smooth = (reference, device) if side == "device" else (device, reference)
    by = _mixed(sharp, smooth, math.floor(late.value))
    if by is None:
        by, side = near, "device"
    return by, chosen._replace(smoother=side, part=float(by.weights[1]))


def _mixed(sharp: FloatArray, smooth: FloatArray, before: int) -> Kernel | None:
    """Weights of a lag between so many whole seconds and one more, by least squares; None if nothing is known."""
    near, far = (smoothed(sharp, Kernel(before + more, np.ones(1))) for more in (0, 1))
    good = np.isfinite(near) & np.isfinite(far) & np.isfinite(smooth)
    if not good.any():
        return None
    weights = np.linalg.lstsq(np.stack([near[good], far[good]], axis=1), smooth[good], rcond=None)[0]
    part = float(np.clip(weights[1] / weights.sum(), 0.0, 1.0)) if weights.sum() > 0 else 0.0
    return Kernel(before, np.array([1 - part, part]))


def _without_filter(by: Kernel, chosen: Choice, reference: FloatArray, device: FloatArray) -> tuple[Kernel, Choice]:
    """A lag by a part of a second smooths a little too: take it alone if it leaves no more than the filter."""
    made = Filter(by, chosen.smoother, chosen)
    before = math.floor(made.mean_delay if made.smoother == "device" else -made.mean_delay)
    alone = _mixed(reference, device, before)
    if alone is None or _left(Filter(alone, "device", chosen), reference, device) > _left(made, reference, device):
        return by, chosen
    part = float(alone.weights[1])
    alike = None if chosen.alike is None else tuple(sorted({*chosen.alike, named(chosen.kind, chosen.smoother)}))
    return alone, chosen._replace(
        kind="none", smoother="device", size=None, second=None, delay=replace(chosen.delay, value=before + part),
        part=part, misfit=math.nan, ways=(), alike=alike)


def _left(one: Filter, reference: FloatArray, device: FloatArray) -> float:
    """Mean square of what is left of the device at one response, apart from a factor."""
    u, v = one.columns(reference, device)
    good = np.isfinite(u) & np.isfinite(v)
    scale = float(u[good] @ v[good]) / max(float(u[good] @ u[good]), 1e-300)
    return float(np.mean((v - scale * u)[good] ** 2)) if good.any() else math.inf


def of_lag(chosen: Choice) -> Kernel:
    """Weights of a lag: whole seconds if it is within 0.1 s, or three standard errors, of them."""
    delay = chosen.delay
    if whole(delay):
        return Kernel(round(delay.value), np.ones(1))
    before = math.floor(delay.value)
    part = delay.value - before
    return Kernel(before, np.array([1 - part, part]))
