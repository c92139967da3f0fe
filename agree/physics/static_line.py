"""The line through readings and torques: of both sides, by mass, bent or not, and what its scale rests on."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.physics.static_fit import Fitted, Hangs, fitted, interval
from agree.physics.torque import HungMass
from agree.verdict.claim import Claim
from agree.verdict.rule import three_way

Linear = Callable[[FloatArray, float, float], Estimate]  # from weights on readings, value, share of the scale
LinearAt = Callable[[float], Linear]                     # at a level


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TorqueLevel(Result):
    """The readings at one mass on one side.

    Attributes
    ----------
    side : str
        "" where no sides were given.
    mass_kg, torque_Nm : float
    hangs : int
    error_percent : Estimate
        Of the mean of these readings, as they were read: no line is laid through them.
    verdict : str
        The claim's answer at this mass; "" without a claim.
    """

    side: str
    mass_kg: float
    torque_Nm: float
    hangs: int
    error_percent: Estimate
    verdict: str


class Line(NamedTuple):
    """The fitted line: of several sides the mean of their lines; weights of offset and scale on the readings."""

    fit: Fitted
    sides: int
    offset: float
    scale: float
    of_offset: FloatArray
    of_scale: FloatArray

    def percent_at(self, torque: float) -> float:
        """Return the error at a torque in per cent of it."""
        return 100 * (self.offset / torque + self.scale - 1)


def line_of(data: Hangs, *, bend: bool = False) -> Line:
    """Fit a zero and a scale for each side, and what is lost going down if both ways were recorded.

    With `bend` a square is fitted too, so that a bend is no scatter of the readings.
    """
    count = max(len(data.side_names), 1)
    marks = [np.ones(data.torque.size)] if data.side is None else [(data.side == k).astype(float) for k in range(count)]
    extra = [*([data.torque**2] if bend else []), *([] if data.down is None else [data.down])]
    fit = fitted([*marks, *(mark * data.torque for mark in marks), *extra], data)
    return Line(fit, count, float(fit.values[:count].mean()), float(fit.values[count:2 * count].mean()),
                fit.weights[:count].mean(axis=0), fit.weights[count:2 * count].mean(axis=0))


def residuals_of(data: Hangs, line: Line) -> FloatArray:
    """Return the readings less the line of their side; what is lost going down stays in them."""
    code = np.zeros(data.torque.size, dtype=np.intp) if data.side is None else data.side
    result: FloatArray = data.reading - line.fit.values[code] - line.fit.values[line.sides + code] * data.torque
    return result


def linear_of(data: Hangs, line: Line, hang: HungMass, level: float) -> Linear:
    """Return what makes the interval of a weighted sum of readings, with its share of what scales all torques."""
    u_scale = math.hypot(*(abs(line.scale) * u / 100 for u in hang.common_percent().values()))

    def linear(weights: FloatArray, value: float, of_scale: float) -> Estimate:
        return interval(value, weights, line.fit, data, hang, scale=line.scale, common=of_scale * u_scale, level=level)

    return linear


def mean_torque_error(data: Hangs, line: Line, hang: HungMass, level: float) -> Estimate:
    """Mean error over the hangs, per cent of the mean torque."""
    mean = float(data.torque.mean())
    weights = 100 / mean * (line.of_offset + mean * line.of_scale)
    return linear_of(data, line, hang, level)(weights, line.percent_at(mean), 100.0)


def torque_claim(claim: str | Claim) -> Claim:
    """Read a claim, and refuse one in another unit than per cent or N m."""
    made = claim if isinstance(claim, Claim) else Claim.parse(claim)
    if made.absolute is not None and made.absolute_unit not in ("N m", "Nm"):
        raise InputError(f"claim {made.text!r}: a static check is judged on torque; write the claim in % or N m")
    return made


def torque_answer(error: Estimate, claim: Claim | None, torque: FloatArray) -> str:
    """Judge an error in per cent against a claim in per cent, N m, or the larger of both."""
    if claim is None:
        return ""
    return three_way(error.low, error.high, percent_limit(claim, float(torque.mean())))


def percent_limit(claim: Claim, torque_Nm: float) -> float:
    """Return what a claim allows at a torque, in per cent of it."""
    return max(claim.percent or 0.0, 100 * (claim.absolute or 0.0) / torque_Nm)


def levels_of(data: Hangs, linear: Linear, claim: Claim | None) -> tuple[TorqueLevel, ...]:
    """Return the error of the readings at each mass above 0, each side by itself."""
    found = []
    sides = [("", np.ones(data.torque.size, bool))] if data.side is None else [
        (name, data.side == k) for k, name in enumerate(data.side_names)]
    for side, of_side in sides:
        for code in range(data.label.max() + 1):
            mine = (data.label == code) & of_side
            torque = float(data.torque[mine].mean()) if mine.any() else 0.0
            if torque <= 0:
                continue
            value = 100 * (float(data.reading[mine].mean()) / torque - 1)
            error = linear(100 / torque * mine / mine.sum(), value, 100.0)
            found.append(TorqueLevel(side=side, mass_kg=float(data.mass[mine][0]), torque_Nm=torque,
                                     hangs=int(mine.sum()), error_percent=error,
                                     verdict=torque_answer(error, claim, data.torque[mine])))
    return tuple(found)


def curvature_of(data: Hangs, hang: HungMass, level: float) -> Estimate | None:
    """Return how far the middle lies above the chord: by the coefficient of the square."""
    if np.unique(data.label).size < 4 or data.torque.size < 5:
        return None
    span = float(np.ptp(data.torque))
    fit = fitted([np.ones(data.torque.size), data.torque, data.torque**2], data)
    weights = -fit.weights[2] * span**2 / 4
    return interval(-float(fit.values[2]) * span**2 / 4, weights, fit, data, hang, level=level)


def inverse_of(scale: Estimate) -> Estimate:
    """Return the factor that undoes a scale."""
    if scale.low <= 0:
        return replace(scale, value=1 / scale.value if scale.value else math.inf, low=-math.inf, high=math.inf)
    return replace(scale, value=1 / scale.value, low=1 / scale.high, high=1 / scale.low,
                   standard_error=scale.standard_error / scale.value**2)


def budget_of(scale: Estimate, common: dict[str, float]) -> tuple[tuple[str, float], ...]:
    """Share of each source in the scale's variance: what the hangs show, and what they share."""
    total = scale.standard_error**2
    parts = {name: u**2 / total for name, u in common.items()}
    parts["hangs"] = max(1 - sum(parts.values()), 0.0)
    return tuple(sorted(parts.items(), key=lambda item: -item[1]))
