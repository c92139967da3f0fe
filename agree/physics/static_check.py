"""The static torque check: readings of a device under hung masses against the torque that these exert."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.physics.static_fit import Fitted, Hangs, checked_hangs, fitted, interval
from agree.physics.telltale import hints
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StaticCheck(Result):
    """What hung masses say of a device's torque.

    Attributes
    ----------
    verdict : str
        "holds", "does not hold" or "not settled" for the mean error over the masses; "" without a claim.
    scale, offset_Nm : Estimate
        reading = offset + scale * true torque.
    error_percent : Estimate
        100 sum(reading - torque) / sum(torque): the mean error that the verdict is about.
    factor : Estimate
        1 / scale: what to multiply the device's readings by, once its zero is set.
    hysteresis_Nm : Estimate or None
        Readings going down minus going up, at one torque; None unless both were recorded.
    curvature_Nm : Estimate or None
        How far the middle of the range lies above the line through its ends; None with fewer than 4 masses.
    sides : tuple of (str, Estimate)
        Scale of each side, where sides were given.
    side_difference_percent : Estimate or None
        100 (second side's scale / first side's - 1).
    levels : tuple of TorqueLevel
        The error at each mass.
    budget : tuple of (str, float)
        Share of each source in the variance of the scale, a fraction: "hangs" (readings, angles and single
        masses), "length", "gravity", "masses".
    residual_sd_Nm : float
        SD of readings about the line.
    hang : HungMass
        How the masses hung.
    claim : Claim or None
    hints : tuple of Note
        Tell-tale sizes: a unit, a side or a sign that explains the scale.
    mass_kg, torque_Nm, reading_Nm : (n,) array
        What was hung, the torque it exerts, and what was read.
    """

    verdict: str
    scale: Estimate
    offset_Nm: Estimate
    error_percent: Estimate
    factor: Estimate
    hysteresis_Nm: Estimate | None
    curvature_Nm: Estimate | None
    sides: tuple[tuple[str, Estimate], ...]
    side_difference_percent: Estimate | None
    levels: tuple[TorqueLevel, ...]
    budget: tuple[tuple[str, float], ...]
    residual_sd_Nm: float
    hang: HungMass
    claim: Claim | None
    hints: tuple[Note, ...]
    mass_kg: FloatArray
    torque_Nm: FloatArray
    reading_Nm: FloatArray


def static_check(
    mass_kg: ArrayLike,
    reading_Nm: ArrayLike,
    *,
    hang: HungMass,
    angle_deg: ArrayLike = 0.0,
    side: ArrayLike | None = None,
    direction: ArrayLike | None = None,
    claim: str | Claim | None = None,
    level: float = 0.95,
) -> StaticCheck:
    """Compare a device's torque with that of hung masses.

    Parameters
    ----------
    mass_kg : (n,) array, kg
        What hangs, hooks and straps included; 0 for the unloaded crank. At least 3 different masses and 4 hangs.
    reading_Nm : (n,) array, N m
        What the device shows at each hang.
    hang : HungMass
        Crank length, gravity and their uncertainties.
    angle_deg : float or (n,) array, degrees
        Of the crank from the horizontal.
    side : (n,) labels, optional
        Which side hung, such as "left" and "right".
    direction : (n,) of "up" or "down", optional
        Whether masses were being added or taken away.
    claim : str or Claim, optional
        Such as "1.5%" or "0.5 Nm"; it is judged on torque.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    StaticCheck

    Raises
    ------
    InputError
        Masses in grams, negative masses, an unknown direction, a claim in another unit.
    SampleSizeError
        Fewer than 4 hangs, or fewer than 3 different masses.

    See Also
    --------
    agree.physics.torque.HungMass : the torque of one mass, and its uncertainties.

    Notes
    -----
    Least squares of reading = offset + scale m g L cos(angle). What differs from hang to hang (readings, angles, single
    masses) shows in the residuals and enters by t with the fit's degrees of freedom; what hangs share (length, gravity,
    the scale the masses were weighed with, one mass hung several times) does not show there and is added in squares
    (JCGM 100:2008, 5.1.2). A static check knows nothing of cadence, filtering, vibration or temperature.

    References
    ----------
    JCGM 100:2008, Guide to the expression of uncertainty in measurement.

    Examples
    --------
    >>> from agree.physics.static_check import static_check
    >>> from agree.physics.torque import HungMass
    >>> hang = HungMass(crank_length_mm=172.5)
    >>> check = static_check([0, 5, 10, 15, 20, 25], [0.1, 8.31, 16.5, 24.75, 32.9, 41.1], hang=hang, claim="1.5%")
    >>> check.verdict
    'does not hold'
    >>> print(check.scale, check.offset_Nm)
    0.9697 [0.9662, 0.9731] 0.109 [0.064, 0.153]
    """
    checks.fraction(level, "level")
    data = checked_hangs(mass_kg, reading_Nm, hang, angle_deg, side, direction)
    limit = None if claim is None else _claim(claim)
    line = _line(data)
    common = {name: abs(line.scale) * u / 100 for name, u in hang.common_percent().items()}
    u_scale = math.hypot(*common.values())

    def linear(weights: FloatArray, value: float, of_scale: float) -> Estimate:
        return interval(value, weights, line.fit, data, hang, scale=line.scale, common=of_scale * u_scale, level=level)

    slope, mean = linear(line.of_scale, line.scale, 1.0), float(data.torque.mean())
    error = linear(100 / mean * (line.of_offset + mean * line.of_scale), line.percent_at(mean), 100.0)
    sides, difference = _sides(data, line, linear)
    return StaticCheck(
        verdict=_answer(error, limit, data.torque), scale=slope, offset_Nm=linear(line.of_offset, line.offset, 0.0),
        error_percent=error, factor=_inverse(slope),
        hysteresis_Nm=None if data.down is None else linear(line.fit.weights[-1], float(line.fit.values[-1]), 0.0),
        curvature_Nm=_curvature(data, hang, level), sides=sides, side_difference_percent=difference,
        levels=_levels(data, line, linear, limit), budget=_budget(slope, common), residual_sd_Nm=line.fit.sd, hang=hang,
        claim=limit, hints=hints(slope), mass_kg=data.mass, torque_Nm=data.torque, reading_Nm=data.reading)


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


def _line(data: Hangs) -> Line:
    """Fit a zero and a scale for each side, and what is lost going down if both ways were recorded."""
    count = max(len(data.side_names), 1)
    marks = [np.ones(data.torque.size)] if data.side is None else [(data.side == k).astype(float) for k in range(count)]
    extra = [] if data.down is None else [data.down]
    fit = fitted([*marks, *(mark * data.torque for mark in marks), *extra], data)
    return Line(fit, count, float(fit.values[:count].mean()), float(fit.values[count:2 * count].mean()),
                fit.weights[:count].mean(axis=0), fit.weights[count:2 * count].mean(axis=0))


def _claim(claim: str | Claim) -> Claim:
    made = claim if isinstance(claim, Claim) else Claim.parse(claim)
    if made.absolute is not None and made.absolute_unit not in ("N m", "Nm"):
        raise InputError(f"claim {made.text!r}: a static check is judged on torque; write the claim in % or N m")
    return made


def _answer(error: Estimate, claim: Claim | None, torque: FloatArray) -> str:
    """Judge an error in per cent against a claim in per cent, N m, or the larger of both."""
    if claim is None:
        return ""
    percent = max(claim.percent or 0.0, 100 * (claim.absolute or 0.0) / float(torque.mean()))
    return three_way(error.low, error.high, percent)


def _levels(data: Hangs, line: Line, linear: Linear, claim: Claim | None) -> tuple[TorqueLevel, ...]:
    """Return the error of the line at the torque of each mass above 0."""
    found = []
    for code in range(data.label.max() + 1):
        mine = data.label == code
        torque = float(data.torque[mine].mean())
        if torque <= 0:
            continue
        error = linear(100 * (line.of_offset / torque + line.of_scale), line.percent_at(torque), 100.0)
        found.append(TorqueLevel(mass_kg=float(data.mass[mine][0]), torque_Nm=torque, hangs=int(mine.sum()),
                                 error_percent=error, verdict=_answer(error, claim, data.torque[mine])))
    return tuple(found)


def _sides(data: Hangs, line: Line, linear: Linear) -> tuple[tuple[tuple[str, Estimate], ...], Estimate | None]:
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


def _curvature(data: Hangs, hang: HungMass, level: float) -> Estimate | None:
    """Return how far the middle lies above the chord: by the coefficient of the square."""
    if np.unique(data.label).size < 4 or data.torque.size < 5:
        return None
    span = float(np.ptp(data.torque))
    fit = fitted([np.ones(data.torque.size), data.torque, data.torque**2], data)
    weights = -fit.weights[2] * span**2 / 4
    return interval(-float(fit.values[2]) * span**2 / 4, weights, fit, data, hang, level=level)


def _inverse(scale: Estimate) -> Estimate:
    if scale.low <= 0:
        return replace(scale, value=1 / scale.value if scale.value else math.inf, low=-math.inf, high=math.inf)
    return replace(scale, value=1 / scale.value, low=1 / scale.high, high=1 / scale.low,
                   standard_error=scale.standard_error / scale.value**2)


def _budget(scale: Estimate, common: dict[str, float]) -> tuple[tuple[str, float], ...]:
    """Share of each source in the scale's variance: what the hangs show, and what they share."""
    total = scale.standard_error**2
    parts = {name: u**2 / total for name, u in common.items()}
    parts["hangs"] = max(1 - sum(parts.values()), 0.0)
    return tuple(sorted(parts.items(), key=lambda item: -item[1]))
