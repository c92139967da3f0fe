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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TorqueLevel(Result):
    """The error at one mass: `torque_Nm`, the error there in per cent, the claim's answer ("" without one)."""

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


def line_of(data: Hangs) -> Line:
    """Fit a zero and a scale for each side, and what is lost going down if both ways were recorded."""
    count = max(len(data.side_names), 1)
    marks = [np.ones(data.torque.size)] if data.side is None else [(data.side == k).astype(float) for k in range(count)]
    extra = [] if data.down is None else [data.down]
    fit = fitted([*marks, *(mark * data.torque for mark in marks), *extra], data)
    return Line(fit, count, float(fit.values[:count].mean()), float(fit.values[count:2 * count].mean()),
                fit.weights[:count].mean(axis=0), fit.weights[count:2 * count].mean(axis=0))


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
    percent = max(claim.percent or 0.0, 100 * (claim.absolute or 0.0) / float(torque.mean()))
    return three_way(error.low, error.high, percent)


def levels_of(data: Hangs, line: Line, linear: Linear, claim: Claim | None) -> tuple[TorqueLevel, ...]:
    """Return the error of the line at the torque of each mass above 0."""
    found = []
    for code in range(data.label.max() + 1):
        mine = data.label == code
        torque = float(data.torque[mine].mean())
        if torque <= 0:
            continue
        error = linear(100 * (line.of_offset / torque + line.of_scale), line.percent_at(torque), 100.0)
        found.append(TorqueLevel(mass_kg=float(data.mass[mine][0]), torque_Nm=torque, hangs=int(mine.sum()),
                                 error_percent=error, verdict=torque_answer(error, claim, data.torque[mine])))
    return tuple(found)


def sides_of(data: Hangs, line: Line, linear: Linear) -> tuple[tuple[tuple[str, Estimate], ...], Estimate | None]:
    """Return the scale of each side, and of two sides their difference, free of what both share."""
    if line.sides < 2:
        return (), None
    slopes = range(line.sides, 2 * line.sides)
    scales = [float(line.fit.values[k]) for k in slopes]
    sides = tuple((name, linear(line.fit.weights[k], value, 1.0))
                  for name, value, k in zip(data.side_names, scales, slopes, strict=True))
    if line.sides != 2:
        return sides, None
    ratio = scales[1] / scales[0]
    weights = 100 / scales[0] * (line.fit.weights[slopes[1]] - ratio * line.fit.weights[slopes[0]])
    return sides, linear(weights, 100 * (ratio - 1), 0.0)


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
