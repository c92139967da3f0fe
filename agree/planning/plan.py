"""`plan`: how many sessions, of how many minutes, settle a claim."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from agree.assessment.claim_check import ClaimCheck
from agree.core import checks
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.quantities.known import POWER
from agree.core.results.result import Result, json_safe
from agree.core.shared_docs import made_by
from agree.planning.cadence import CadenceProtocol
from agree.planning.case import PlanCase, plan_case
from agree.planning.pilot import Spread, pilot_spread
from agree.planning.readings import Readings, readings_case
from agree.verdict.claim import Claim
from agree.verdict.looks import checked_looks
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.settling.chance import LEAST_SESSIONS, Terms

MEANINGS = ("average", "bands", "readings", "next_session")
BANDS_W = (100.0, 150.0, 200.0, 250.0, 300.0, 350.0)  # bands assumed where none are given
LEVEL_W = 200.0       # power at which W and per cent are turned into each other where nothing better is known
HARDLY = 0.25         # share of the variance between sessions below which more minutes hardly help
SCHEMA = 1


@made_by("plan", also=("TrialPlan",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan(Result):
    """What to record to settle a claim, and what that rests on.

    Attributes
    ----------
    claim : Claim
        The claim.
    meaning : str
        The meaning it is to be settled in.
    limit, unit : float, str
        Its limit, in the unit of all figures here ("%" or "W"); for bands that of the middle band.
    level : float
        Confidence level.
    minutes : float
        Minutes of riding in each session.
    bands : tuple of float
        Edges of the bands to ride, W.
    minutes_per_band : float
        Minutes in each band and session.
    session_sd : Estimate
        SD between sessions, without what comes from within them; its limits are 0 and infinity if assumed.
    within : float
        Standard uncertainty of one session's mean error (of one band's, for bands) from within the session.
    minutes_enough : float or None
        Minutes (per band, for bands) from which that variance is below a quarter of the one between sessions.
    reference_uncertainty : ReferenceUncertainty
        As stated.
    u_reference : float
        Its standard uncertainty in `unit`.
    most : int
        Largest number of sessions tried.
    cases : tuple of PlanCase
        One for each true error and power.
    assumptions : tuple of str
        What was assumed and what was measured.
    looks : tuple of int
        Numbers of sessions after which the claim is checked; empty for one check after all of them.
    cadence : CadenceProtocol or None
        Blocks of equal power at two or three cadences, if they were asked for.

    Examples
    --------
    >>> from agree import plan
    >>> made = plan("1.5 %", true_error=[0, 0.75], reference_uncertainty="±0.5 %")
    >>> [(case.true_error, case.sessions, round(case.ceiling, 3)) for case in made.cases]
    [(0.0, 8, 1.0), (0.75, None, 0.775)]
    """

    claim: Claim
    meaning: str
    limit: float
    unit: str
    level: float
    minutes: float
    bands: tuple[float, ...]
    minutes_per_band: float
    session_sd: Estimate
    within: float
    minutes_enough: float | None
    reference_uncertainty: ReferenceUncertainty
    u_reference: float
    most: int
    cases: tuple[PlanCase, ...]
    assumptions: tuple[str, ...]
    looks: tuple[int, ...] = ()
    cadence: CadenceProtocol | None = None

    @property
    def sessions(self) -> int | None:
        """Sessions needed in the first case."""
        return self.cases[0].sessions

    @property
    def possible(self) -> bool:
        """Whether the first case is possible."""
        return self.cases[0].possible

    def to_dict(self) -> dict[str, Any]:
        """Return JSON types, schema version 1."""
        result: dict[str, Any] = {"schema": SCHEMA, **json_safe(
            {name: getattr(self, name) for name in self.__slots__} | {"claim": self.claim.to_dict()})}
        return result


def plan(
    claim: str | Claim,
    *,
    true_error: float | Sequence[float] = 0.0,
    session_sd: float = 0.8,
    within_sd: float = 5.0,
    correlation_s: float = 10.0,
    minutes: float = 60.0,
    reference_uncertainty: str | float | None = None,
    power: float | Sequence[float] = 0.8,
    level: float = 0.95,
    meaning: str = "average",
    bands: Sequence[float] | None = None,
    most: int = 50,
    looks: Sequence[int] | None = None,
    window_s: int = 30,
    pilot: ClaimCheck | Pairs | Sequence[Pairs] | dict[str, Any] | None = None,
) -> Plan:
    r"""Find how many sessions settle a claim with a given chance, before they are recorded.

    Use it before a test, from assumed spreads or from a pilot. Without `looks` it plans for one check after all
    sessions: checking after each session and stopping at the first settled answer is wrong more often than `level`
    says.

    Parameters
    ----------
    claim : str or Claim
        As for `check_claim`. With a limit in % and one in W, the one in % is planned for (the larger counts).
    true_error : float or sequence of float
        Mean error(s) supposed, in the claim's unit; 0 to beyond the limit.
    session_sd : float
        SD between sessions of one unit, each with a fresh zero, per cent of power. An assumption.
    within_sd, correlation_s : float
        SD of the error of a 1-s reading, per cent, and the time over which it stays much the same, s. Assumptions.
    minutes : float
        Minutes of riding in each session.
    reference_uncertainty : str, float or None
        As for `check_claim`; None takes that of a checked pilot, or else the reference as exact.
    power : float or sequence of float
        Wanted chance(s) to settle, in (0, 1).
    level : float
        Confidence level, from 0.5 to below 1.
    meaning : {"average", "bands", "readings", "next_session"}
        The meaning the claim is to be settled in.
    bands : sequence of float, optional
        Edges of power bands, W; 100 to 350 W in steps of 50 if not given.
    most : int
        Largest number of sessions tried, 3 to 500.
    looks : sequence of int, optional
        Numbers of sessions after which the claim is checked, increasing, the first settled answer counting: each look
        spends a part of the allowed error, as in `check_claim`. Without them one check after all sessions is planned.
    window_s : int
        Averaging time of a reading, s, 1 to 600, for ``readings``.
    pilot : ClaimCheck, Pairs, sequence of Pairs or dict, optional
        Sessions recorded already, a check of them, or that check's `to_dict()`; replaces the assumed SDs.

    Returns
    -------
    Plan
        ``.sessions``, ``.possible`` and ``.cases``; ``.summary()`` is the table.

    Raises
    ------
    InputError
        A claim, uncertainty or option that is not understood, or a pilot in another unit than the claim.
    SampleSizeError
        A pilot session with fewer than 30 used seconds.

    See Also
    --------
    check_claim : The check that is planned for.
    plan_trials : The same for a table of trials.

    Notes
    -----
    Session means vary by s^2 + w^2, w^2 = within_sd^2 (1 + r)/(1 - r)/n with r = exp(-1/correlation_s) and n seconds
    (the mean of a first-order autoregressive error). The chance is that of the t interval between sessions, widened
    by the reference (`agree.verdict.settling.chance.chance`), whose own error is spread as stated. A pilot's SD is
    itself uncertain: its upper 80 % limit is planned with, after Browne RH (1995) Stat Med 14:1933.

    References
    ----------
    Browne RH (1995) Stat Med 14:1933 (from memory).

    Examples
    --------
    >>> from agree import plan
    >>> plan("1.5 %").sessions, plan("1.5 %", power=0.9).sessions, plan("1.5 %", true_error=1.5).possible
    (6, 7, False)
    """
    claim = (claim if isinstance(claim, Claim) else Claim.parse(claim)).for_quantity(POWER)
    checks.choice(meaning, "meaning", MEANINGS)
    checks.interval_level(level)
    powers = [checks.fraction(p, "power") for p in ([power] if isinstance(power, int | float) else power)]
    errors = [_number(e) for e in ([true_error] if isinstance(true_error, int | float) else true_error)]
    if not powers or not errors:
        raise InputError("`true_error` and `power` must hold at least one number each; got none", option="true_error")
    if not isinstance(most, int | np.integer) or not LEAST_SESSIONS <= most <= 500:
        raise InputError(f"`most` must be a whole number of sessions from {LEAST_SESSIONS} to 500; got {most!r}",
                         option="most")
    checks.window_seconds(window_s)
    if looks is not None and meaning == "readings":
        raise InputError("`looks` cannot be planned for `meaning` 'readings': plan one check, or another meaning",
                         option="looks")
    planned = checked_looks(looks) if looks is not None else ()
    edges = checks.edges(BANDS_W if bands is None else bands)
    if not 0 <= edges[0] <= edges[-1] < math.inf:
        raise InputError(f"`bands` must be finite powers from 0 W on to plan minutes for; got {edges.tolist()}",
                         option="bands")
    typical = LEVEL_W if bands is None else float((edges[0] + edges[-1]) / 2)
    unit = "%" if meaning == "bands" else claim.unit
    to_unit = typical / 100 if unit == "W" else 1.0
    minutes = checks.positive(minutes, "minutes")
    spread = Spread.assumed(checks.positive(session_sd, "session_sd") * to_unit,
                            checks.positive(within_sd, "within_sd") * to_unit,
                            checks.positive(correlation_s, "correlation_s"), unit)
    stated = ReferenceUncertainty.parse(reference_uncertainty)
    if pilot is not None:
        spread, found = pilot_spread(pilot, claim, level, spread, 100 / typical if unit != claim.unit else 1.0)
        stated = found if reference_uncertainty is None and found is not None else stated
    count = edges.size - 1 if meaning == "bands" else 1
    centres = [float(c) for c in (edges[1:] + edges[:-1]) / 2] if meaning == "bands" else [typical]
    terms, careful = (_terms(claim, unit, stated, level, meaning, centres, sd) for sd in (
        spread.total(minutes / count), spread.careful(minutes / count)))
    if meaning == "readings":
        asked = [_readings(terms[0], sd, spread, minutes, window_s) for sd in (spread.between.value, spread.upper)]
        cases = tuple(readings_case(error, p, asked[0], asked[1], spread.measured, most)
                      for error in errors for p in powers)
    else:
        cases = tuple(plan_case(claim, unit, error, p, centres, terms, careful, spread.measured, most, planned)
                      for error in errors for p in powers)
    middle = terms[len(terms) // 2]
    return Plan(claim=claim, meaning=meaning, limit=middle.limit, unit=unit, level=level, minutes=minutes,
                bands=tuple(edges.tolist()), minutes_per_band=minutes / (edges.size - 1), session_sd=spread.between,
                within=spread.within(minutes / count), minutes_enough=spread.minutes_enough(HARDLY),
                reference_uncertainty=stated, u_reference=middle.known.u, most=planned[-1] if planned else int(most),
                cases=cases, looks=planned,
                assumptions=(*spread.words, *_words(claim, unit, stated, typical, bands, count)))


def _number(value: Any) -> float:
    if not isinstance(value, int | float | np.number) or not math.isfinite(float(value)):
        raise InputError(f"`true_error` must hold finite numbers; got {value!r}", option="true_error")
    return float(value)


def _readings(terms: Terms, sd: float, spread: Spread, minutes: float, window_s: int) -> Readings:
    """Single readings of sessions that differ by `sd`."""
    return Readings(terms.limit, sd, spread.within(window_s / 60), max(int(60 * minutes / window_s), 1), terms.known,
                    terms.level)


def _terms(claim: Claim, unit: str, stated: ReferenceUncertainty, level: float, meaning: str, centres: list[float],
           sd: float) -> list[Terms]:
    """Terms of each band, or of the whole at its typical power."""
    return [Terms(float(claim.watts or 0) if unit == "W" else claim.percent or 100 * (claim.watts or 0) / power,
                  sd, stated.known(power, unit), level, meaning == "next_session") for power in centres]


def _words(claim: Claim, unit: str, stated: ReferenceUncertainty, typical: float, bands: Sequence[float] | None,
           count: int) -> list[str]:
    result = [f"reference: {stated.text}" if stated.text else "reference taken as exact"]
    if unit == "W" or stated.watts or claim.unit != unit:
        result.append(f"W and % turned into each other at {typical:g} W")
    if claim.percent and claim.watts:
        result.append(f"planned for the limit of {claim.percent:g} %, whatever is allowed in W")
    if count > 1 and bands is None:
        result.append("bands of 50 W from 100 to 350 W assumed")
    return result
