"""Which masses settle a claim on torque: chances of sets of masses, each hung going up and coming down."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.engine import t_quantile
from agree.core.results.result import Result
from agree.core.thresholds import STATIC_CHANCE
from agree.physics.static_fit import LEAST_MASSES, checked_hangs
from agree.physics.static_line import line_of, mean_torque_error, torque_claim
from agree.physics.torque import HEAVIEST_KG, HungMass
from agree.verdict.claim import Claim

USUAL_KG: tuple[tuple[float, ...], ...] = ((0, 5, 10), (0, 5, 10, 15), (0, 5, 10, 15, 20), (0, 5, 10, 15, 20, 25))
DRAWS = 100        # of each set: the standard error of a chance of 0.8 is 0.04
READING_SD_NM = 0.1  # of one reading: displays show tenths or whole N m and flicker by one (common practice)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StaticDesign(Result):
    """A set of masses and what it can settle.

    Attributes
    ----------
    masses_kg : tuple of float
    rounds : int
        How often they are hung going up and coming down.
    half_percent : float
        Usual half-width of the interval of the mean torque error, per cent.
    holds, fails : float
        Chance that a device without error is found to hold the claim, and that one off by twice the claim is found not
        to hold it.
    """

    masses_kg: tuple[float, ...]
    rounds: int
    half_percent: float
    holds: float
    fails: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MassTorque(Result):
    """A mass, the torque it exerts, and the readings within the claim, N m."""

    mass_kg: float
    torque_Nm: float
    low_Nm: float
    high_Nm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StaticPlan(Result):
    """Which masses to hang to settle a claim.

    Attributes
    ----------
    claim : Claim
    hang : HungMass
        How they will hang, and how well that is known.
    reading_sd_Nm : float
        SD of one reading that was assumed.
    designs : tuple of StaticDesign
        The sets tried, the smallest first.
    chosen : StaticDesign or None
        The smallest with both chances at 80 % or more; None if none of them has.
    shared_percent : float
        Half-width that is left however many masses are hung: of length, gravity and the scale that weighed them.
    torques : tuple of MassTorque
        Of each mass of the chosen set, or of the largest.
    """

    claim: Claim
    hang: HungMass
    reading_sd_Nm: float
    designs: tuple[StaticDesign, ...]
    chosen: StaticDesign | None
    shared_percent: float
    torques: tuple[MassTorque, ...]


def plan_static(
    claim: str | Claim, *, hang: HungMass, masses_kg: Sequence[float] | None = None,
    reading_sd_Nm: float = READING_SD_NM, level: float = 0.95,
) -> StaticPlan:
    """Say which masses would settle a claim on torque.

    Parameters
    ----------
    claim : str or Claim
        Such as "1.5%" or "0.5 Nm".
    hang : HungMass
        Crank length and gravity, with their uncertainties and those of masses and angle.
    masses_kg : sequence of float, optional
        Masses at hand, 0 for the unloaded crank; 0 to 25 kg by 5 if not given.
    reading_sd_Nm : float, N m
        SD of one reading.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    StaticPlan

    Raises
    ------
    InputError
        A claim in another unit, or masses that cannot be hung.
    SampleSizeError
        Fewer than 3 different masses.

    See Also
    --------
    agree.physics.static_check.static_check : the check itself.

    Notes
    -----
    Each set is drawn 100 times as `static_check` takes it: lengths, gravity, masses, angles and readings by their
    standard uncertainties. A device that errs by half the claim needs about twice as narrow an interval.

    Examples
    --------
    >>> from agree.physics.static_plan import plan_static
    >>> from agree.physics.torque import HungMass
    >>> made = plan_static("1.5%", hang=HungMass(crank_length_mm=172.5))
    >>> made.chosen.masses_kg, made.designs[-1].half_percent < made.designs[0].half_percent
    ((0.0, 5.0, 10.0, 15.0), True)
    """
    limit = torque_claim(claim)
    checks.fraction(level, "level")
    checks.positive(reading_sd_Nm, "reading_sd_Nm")
    if masses_kg is None:
        sets: list[tuple[tuple[float, ...], int]] = [*((item, 1) for item in USUAL_KG), (USUAL_KG[-1], 2)]
    else:
        own = tuple(sorted({float(mass) for mass in masses_kg}))
        if not own or own[0] < 0 or own[-1] > HEAVIEST_KG:
            raise InputError(f"`masses_kg` must lie between 0 and {HEAVIEST_KG:g} kg; got "
                             f"{', '.join(f'{mass:g}' for mass in own) or 'none'}", option="masses_kg")
        if len(own) < LEAST_MASSES:
            raise SampleSizeError(f"a static check needs at least {LEAST_MASSES} different masses, 0 kg among them if "
                                  f"you like; got {len(own)}")
        sets = [(own, 1), (own, 2), (own, 3)]
    designs = tuple(_design(masses, rounds, limit, hang, reading_sd_Nm, level) for masses, rounds in sets)
    chosen = next((item for item in designs if min(item.holds, item.fails) >= STATIC_CHANCE), None)
    shared = t_quantile(level, math.inf) * math.hypot(*hang.common_percent().values())
    return StaticPlan(claim=limit, hang=hang, reading_sd_Nm=reading_sd_Nm, designs=designs, chosen=chosen,
                      shared_percent=shared, torques=_torques((chosen or designs[-1]).masses_kg, hang, limit))


def _design(masses: Sequence[float], rounds: int, claim: Claim, hang: HungMass, sd: float,
            level: float) -> StaticDesign:
    """Draw checks of a device without error, and count the answers; one off by twice the claim is moved by that."""
    rng = np.random.default_rng(20260317)
    mass = np.tile(np.array([*masses, *reversed(masses)], dtype=float), rounds)
    way = np.tile(["up"] * len(masses) + ["down"] * len(masses), rounds)
    code = np.searchsorted(np.array(masses, dtype=float), mass)
    limit = max(claim.percent or 0.0, 100 * (claim.absolute or 0.0) / float(hang.torque(mass).mean()))
    found = np.zeros((DRAWS, 2))
    for k in range(DRAWS):
        data = checked_hangs(mass, _reading(rng, mass, code, hang, sd), hang, 0.0, None, way)
        error = mean_torque_error(data, line_of(data), hang, level)
        found[k] = error.value, (error.high - error.low) / 2
    value, half = found.T
    return StaticDesign(masses_kg=tuple(float(item) for item in masses), rounds=rounds,
                        half_percent=float(np.median(half)), holds=float((abs(value) + half <= limit).mean()),
                        fails=float((value + 2 * limit - half > limit).mean()))


def _reading(rng: np.random.Generator, mass: FloatArray, code: NDArray[np.intp], hang: HungMass,
             sd: float) -> FloatArray:
    """Draw readings of a device without error under masses that are known as the hang says."""
    own = np.where(mass > 0, rng.normal(0, hang.u_mass_kg, int(code.max()) + 1)[code], 0.0)
    share = 1 + sum(rng.normal(0, percent) for percent in hang.common_percent().values()) / 100
    angle = rng.normal(0, hang.u_angle_deg, mass.size)
    result: FloatArray = np.asarray(hang.torque(mass + own, angle)) * share + rng.normal(0, sd, mass.size)
    return result


def _torques(masses: Sequence[float], hang: HungMass, claim: Claim) -> tuple[MassTorque, ...]:
    found = []
    for mass in masses:
        torque = float(hang.torque(mass))
        room = max((claim.percent or 0.0) * torque / 100, claim.absolute or 0.0)
        found.append(MassTorque(mass_kg=float(mass), torque_Nm=torque, low_Nm=torque - room, high_Nm=torque + room))
    return tuple(found)
