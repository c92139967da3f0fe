"""How many athletes, units and sessions a study needs, by the rules that will decide."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from scipy import special

from agree.core import checks
from agree.core.errors import InputError
from agree.core.interval.engine import t_quantile
from agree.core.results.result import Result
from agree.core.thresholds import STUDY_ASSUMED_UNITS, STUDY_BY_ORDER_UNITS, STUDY_SHAPE_UNITS
from agree.verdict.claim import Claim
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import HOLDS
from agree.verdict.settling.chance import Terms
from agree.verdict.settling.chance import chance as chance_of

MOST = 1000         # athletes or units that are tried
LEVEL_W = 200.0     # W at which a reference stated in W is taken, as in plans of sessions
Question = Literal["device in a condition", "difference", "mean of the units"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyPlanRow:
    """What one question needs with so many sessions each.

    Attributes
    ----------
    question : {"device in a condition", "difference", "mean of the units"}
    sessions : int
        Of each athlete with each device in each condition, or of each unit.
    number : int or None
        Least number of athletes, or of units, with the wanted chance; None if more than 1000.
    pairs : int or None
        Pairs of recordings of one device in one condition, or of all units.
    """

    question: Question
    sessions: int
    number: int | None
    pairs: int | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StudyPlan(Result):
    """How large a study must be.

    Attributes
    ----------
    claim : Claim
    rows : tuple of StudyPlanRow
    athlete_sd, unit_sd, session_sd, true_error, difference : float
        As assumed, per cent; NaN for what was not given.
    chance, level : float
    share_units, share_units_assumed, tolerance_units : int
        Units from which the share within the claim can be stated, without and with normal units assumed, and a limit
        that holds 95 % of the units.
    """

    claim: Claim
    rows: tuple[StudyPlanRow, ...]
    athlete_sd: float
    unit_sd: float
    session_sd: float
    true_error: float
    difference: float
    chance: float
    level: float
    share_units: int = STUDY_SHAPE_UNITS
    share_units_assumed: int = STUDY_ASSUMED_UNITS
    tolerance_units: int = STUDY_BY_ORDER_UNITS


def plan_study(
    claim: str | Claim, *, athlete_sd: float | None = None, unit_sd: float | None = None, session_sd: float = 0.8,
    difference: float | None = None, true_error: float = 0.0, sessions: Sequence[int] = (1, 2, 3),
    reference_uncertainty: str | float | None = None, chance: float = 0.8, level: float = 0.95,
) -> StudyPlan:
    r"""Find how many athletes, units and sessions a study needs.

    Parameters
    ----------
    claim : str or Claim
        In per cent.
    athlete_sd : float, optional
        SD between athletes of a device's error, per cent: of their mean errors for "device in a condition", of the
        difference of two devices or conditions for "difference". Give it for a lab study.
    unit_sd : float, optional
        SD between units, per cent. Give it for a fleet.
    session_sd : float
        SD between sessions of one athlete or unit, per cent.
    difference : float, optional
        The difference of two devices or conditions that the study shall find, per cent.
    true_error : float
        Supposed mean error, per cent.
    sessions : sequence of int
        Numbers of sessions to reckon with.
    reference_uncertainty : str or float, optional
        As for `check_claim`; a reference stated in W counts at 200 W.
    chance, level : float
        Wanted chance that the claim is found to hold, or the difference found; confidence level. Fractions in (0, 1).

    Returns
    -------
    StudyPlan

    Raises
    ------
    InputError
        Neither `athlete_sd` nor `unit_sd`, a claim without per cent, SDs that are not positive.

    Notes
    -----
    A mean over A athletes (or units) with n sessions each has :math:`SD^2 = (\sigma_a^2 + \sigma_s^2/n)/A` and a t
    interval with A - 1 degrees of freedom; the chance of "holds" is that of `agree.verdict.settling.chance.chance`. A
    difference is found where its interval misses 0: noncentral t, with :math:`2\sigma_s^2/n` for the sessions of both
    sides.

    Examples
    --------
    >>> from agree.study.planning import plan_study
    >>> made = plan_study("1.5 %", athlete_sd=0.5, session_sd=0.5, difference=1.0)
    >>> [(row.question, row.sessions, row.number) for row in made.rows if row.sessions == 2]
    [('device in a condition', 2, 4), ('difference', 2, 7)]
    """
    checks.fraction(chance, "chance")
    checks.fraction(level, "level")
    own = claim if isinstance(claim, Claim) else Claim.parse(claim)
    if own.percent is None:
        raise InputError(f"`claim` must be in per cent to plan a study; got {own.text!r}", option="claim")
    if athlete_sd is None and unit_sd is None:
        raise InputError("`athlete_sd` or `unit_sd` must be given: a study of athletes, or of units",
                         option="athlete_sd")
    for name, value in (("athlete_sd", athlete_sd), ("unit_sd", unit_sd), ("session_sd", session_sd),
                        ("difference", difference)):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise InputError(f"`{name}` must be above 0; got {value!r}", option=name)
    if not sessions or any(isinstance(count, bool) or not isinstance(count, int) or count < 1 for count in sessions):
        raise InputError(f"`sessions` must be whole numbers of 1 or more; got {sessions!r}", option="sessions")
    known, limit = ReferenceUncertainty.parse(reference_uncertainty).known(LEVEL_W), own.percent

    def holds(sd: float) -> Callable[[int], float]:
        return lambda number: float(chance_of(HOLDS, number, true_error, Terms(limit=limit, sd=sd, known=known,
                                                                              level=level)))

    rows = []
    for count in sessions:
        day = session_sd / math.sqrt(count)
        if athlete_sd is not None:
            rows.append(_row("device in a condition", count, holds(math.hypot(athlete_sd, day)), chance))
            if difference is not None:
                sd = math.hypot(athlete_sd, math.sqrt(2) * day)
                rows.append(_row("difference", count, _found(difference / sd, level), chance))
        if unit_sd is not None:
            rows.append(_row("mean of the units", count, holds(math.hypot(unit_sd, day)), chance))
    return StudyPlan(claim=own, rows=tuple(rows), athlete_sd=math.nan if athlete_sd is None else athlete_sd,
                     unit_sd=math.nan if unit_sd is None else unit_sd, session_sd=session_sd, true_error=true_error,
                     difference=math.nan if difference is None else difference, chance=chance, level=level)


def _found(effect: float, level: float) -> Callable[[int], float]:
    """Chance that a t interval over so many athletes misses 0, for a difference of so many SDs."""
    def power(number: int) -> float:
        critical = t_quantile(level, number - 1)
        return float(1 - special.nctdtr(number - 1, effect * math.sqrt(number), critical))

    return power


def _row(question: Question, sessions: int, chance_with: Callable[[int], float], wanted: float) -> StudyPlanRow:
    """Return the least number; the chance grows with it."""
    low, high = 1, 2
    while high < MOST and chance_with(high) < wanted:
        low, high = high, min(2 * high, MOST)
    if chance_with(high) < wanted:
        return StudyPlanRow(question=question, sessions=sessions, number=None, pairs=None)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if chance_with(middle) >= wanted else (middle, high)
    return StudyPlanRow(question=question, sessions=sessions, number=high, pairs=high * sessions)
