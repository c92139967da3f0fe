"""The static torque check: readings of a device under hung masses against the torque that these exert."""

from __future__ import annotations

import math
from dataclasses import dataclass

from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.physics.static_fit import checked_hangs
from agree.physics.static_line import (
    TorqueLevel,
    budget_of,
    curvature_of,
    inverse_of,
    levels_of,
    line_of,
    linear_of,
    mean_torque_error,
    residuals_of,
    torque_answer,
    torque_claim,
)
from agree.physics.static_sides import SideTorque, one_factor_mends, side_difference, sides_of, with_sides
from agree.physics.static_slips import slips_of
from agree.physics.torque import HungMass
from agree.verdict.claim import Claim
from agree.verdict.rule import OPEN

FINEST_STEP, COARSEST_STEP = 0.01, 5.0  # per cent: a factor of four decimals; devices offer 0.1 to 1 (common practice)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StaticCheck(Result):
    """What hung masses say of a device's torque.

    Attributes
    ----------
    verdict : str
        "holds", "does not hold" or "not settled" for the mean error over the masses and, where sides were given, for
        each side by itself; "" without a claim.
    mean_verdict : str
        The same for the mean over all hangs alone.
    scale, offset_Nm : Estimate
        reading = offset + scale * true torque.
    error_percent : Estimate
        100 sum(reading - torque) / sum(torque): the mean error that the verdict is about.
    factor : Estimate
        1 / scale: what to multiply the device's readings by, once its zero is set.
    entered : float or None
        The factor in the step the device offers; None where nothing is to be entered: the factor's interval holds 1,
        the step is coarser than the error, a slip must be cleared first, or no one factor sets both sides.
    step_percent : float
        That step.
    hysteresis_Nm : Estimate or None
        Readings going down minus going up, at one torque; None unless both were recorded.
    curvature_Nm : Estimate or None
        How far the middle of the range lies above the line through its ends; None with fewer than 4 masses.
    sides : tuple of SideTorque
        Each side by itself, where sides were given.
    side_difference_percent : Estimate or None
        100 (second side's scale / first side's - 1).
    one_factor : bool
        Whether one factor can set both sides; True where no two sides were given.
    levels : tuple of TorqueLevel
        The error of the readings at each mass, each side by itself.
    budget : tuple of (str, float)
        Share of each source in the variance of the scale, a fraction: "hangs" (readings, angles and single
        masses), "length", "gravity", "masses".
    residual_sd_Nm : float
        SD of readings about the line.
    hang : HungMass
        How the masses hung.
    claim : Claim or None
    hints : tuple of Note
        What to look at first: a sign, unit, side or mass that was written down wrongly; a length or a gravity that
        explains the scale. Where it is one of the former, an answer that the claim does not hold stays open.
    side : tuple of str
        Of each hang; "" where none was given.
    mass_kg, torque_Nm, reading_Nm, residual_Nm : (n,) array
        What was hung, the torque it exerts, what was read, and how far that lies off the line of its side.
    """

    verdict: str
    mean_verdict: str
    scale: Estimate
    offset_Nm: Estimate
    error_percent: Estimate
    factor: Estimate
    entered: float | None
    step_percent: float
    hysteresis_Nm: Estimate | None
    curvature_Nm: Estimate | None
    sides: tuple[SideTorque, ...]
    side_difference_percent: Estimate | None
    one_factor: bool
    levels: tuple[TorqueLevel, ...]
    budget: tuple[tuple[str, float], ...]
    residual_sd_Nm: float
    hang: HungMass
    claim: Claim | None
    hints: tuple[Note, ...]
    side: tuple[str, ...]
    mass_kg: FloatArray
    torque_Nm: FloatArray
    reading_Nm: FloatArray
    residual_Nm: FloatArray


def static_check(
    mass_kg: ArrayLike,
    reading_Nm: ArrayLike,
    *,
    hang: HungMass,
    angle_deg: ArrayLike = 0.0,
    side: ArrayLike | None = None,
    direction: ArrayLike | None = None,
    claim: str | Claim | None = None,
    step: float = FINEST_STEP,
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
        Which side hung, such as "left" and "right". Each is judged by itself too: a device whose sides cancel does not
        hold the claim.
    direction : (n,) of "up" or "down", optional
        Whether masses were being added or taken away.
    claim : str or Claim, optional
        Such as "1.5%" or "0.5 Nm"; it is judged on torque.
    step : float
        Step in which the device takes a factor, per cent, at most 5.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    StaticCheck

    Raises
    ------
    InputError
        Masses in grams, more than two sides, negative masses, an unknown direction, a claim in another unit.
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
    if not checks.positive(step, "step") <= COARSEST_STEP:
        raise InputError(f"`step` must be the step of the factor in per cent, at most {COARSEST_STEP:g}; got {step:g}",
                         option="step")
    data = checked_hangs(mass_kg, reading_Nm, hang, angle_deg, side, direction)
    limit = None if claim is None else torque_claim(claim)
    line = line_of(data)
    common = {name: abs(line.scale) * u / 100 for name, u in hang.common_percent().items()}
    linear = linear_of(data, line, hang, level)
    slope, error = linear(line.of_scale, line.scale, 1.0), mean_torque_error(data, line, hang, level)
    sides = sides_of(data, line, lambda at: linear_of(data, line, hang, at), limit, level)
    difference, bend = side_difference(line, linear), curvature_of(data, hang, level)
    straight = bend is None or bend.low <= 0 <= bend.high
    read = linear if straight else linear_of(data, line_of(data, bend=True), hang, level)
    slips = slips_of(data, slope, tuple((item.side, item.scale) for item in sides), hang, straight=straight)
    mean = torque_answer(error, limit, data.torque)
    doubtful = any(note.values["written_wrongly"] for note in slips)
    factor, one = inverse_of(slope), one_factor_mends(difference, limit)
    return StaticCheck(
        verdict=OPEN if doubtful and mean else with_sides(mean, sides), mean_verdict=mean, scale=slope,
        offset_Nm=linear(line.of_offset, line.offset, 0.0), error_percent=error, factor=factor,
        entered=_entered(factor, step) if one and not doubtful else None, step_percent=step,
        hysteresis_Nm=None if data.down is None else linear(line.fit.weights[-1], float(line.fit.values[-1]), 0.0),
        curvature_Nm=bend, sides=sides, side_difference_percent=difference, one_factor=one,
        levels=levels_of(data, read, limit), budget=budget_of(slope, common),
        residual_sd_Nm=line.fit.sd, hang=hang, claim=limit, hints=slips,
        side=("",) * data.mass.size if data.side is None else tuple(data.side_names[k] for k in data.side),
        mass_kg=data.mass, torque_Nm=data.torque, reading_Nm=data.reading,
        residual_Nm=residuals_of(data, line))


def _entered(factor: Estimate, step: float) -> float | None:
    """Return the factor in steps; None if 1 fits, or if no step comes nearer to it than 1 does."""
    if not math.isfinite(factor.low) or factor.low <= 1 <= factor.high:
        return None
    rounded = round(1 + round((factor.value - 1) / (step / 100)) * step / 100, 6)
    return None if rounded == 1 else rounded
