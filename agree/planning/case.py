"""One row of a plan: the sessions that settle a claim at one true error, or why none do."""

from __future__ import annotations

import math
from dataclasses import dataclass

from agree.core.interval.engine import t_quantile
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.verdict.claim import Claim
from agree.verdict.error_distribution import EXACT
from agree.verdict.rule import FAILS, HOLDS, OPEN, sessions_to_settle
from agree.verdict.settling.chance import Terms, ceiling, joint_chance, sessions_needed
from agree.verdict.settling.chance_of_looks import settled_by_looks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanCase(Result):
    """Sessions needed for one true error and one wanted chance.

    Attributes
    ----------
    true_error : float
        The error supposed, in the plan's unit.
    power : float
        Wanted chance that the claim is settled, and rightly.
    answer : {"holds", "does not hold", "not settled"}
        The right answer; "not settled" for an error at the limit itself.
    sessions : int or None
        Sessions needed, if they differ by the assumed SD, or by the upper 80 % limit of a pilot's; None if no number
        up to `most` will do. With declared looks: the first look by which the claim is settled with this chance.
    expected : int or None
        With a pilot: the number if sessions differ by exactly the pilot's SD; it keeps its promise in a third of all
        pilots. None without a pilot, or if no number up to `most` will do.
    reached : float
        Chance with `sessions`.
    ceiling : float
        Chance with sessions without end (for bands an upper bound).
    possible : bool
        Whether any number of sessions gives the wanted chance.
    by_width : int or None
        Sessions whose interval, at the expected SD, is as narrow as the margin: what simple tables give; it settles
        in about one of two trials. Only for ``average``.
    because : Note or None
        Why it is not possible, or more than `most`; else None.
    u_needed : float or None
        Where the reference is what prevents it: standard uncertainty it would have to have.
    mean_sessions : float
        With declared looks: sessions at which a test ends on average; else NaN.
    """

    true_error: float
    power: float
    answer: str
    sessions: int | None
    expected: int | None
    reached: float
    ceiling: float
    possible: bool
    by_width: int | None
    because: Note | None
    u_needed: float | None
    mean_sessions: float = math.nan


def plan_case(claim: Claim, unit: str, error: float, power: float, centres: list[float], terms: list[Terms],
              careful: list[Terms], measured: bool, most: int, looks: tuple[int, ...] = ()) -> PlanCase:
    """Sessions for one true error in the claim's unit; `terms` of each band, `careful` the same with the upper SD.

    What is measured is planned with `careful`: the SD of three sessions is so often too small that the number for it
    settled 70 % (perfect device) and 61 % (half the limit) of tests instead of 80 %; `careful` 90 and 86 %.
    """
    errors = [100 * error / at if unit != claim.unit else error for at in centres]
    margins = [band.limit - abs(e) for e, band in zip(errors, terms, strict=True)]
    answer = HOLDS if min(margins) > 0 else FAILS if min(margins) < 0 else OPEN
    if answer == OPEN:
        return PlanCase(true_error=error, power=power, answer=OPEN, sessions=None, expected=None, reached=math.nan,
                        ceiling=math.nan, possible=False, by_width=None, u_needed=None, because=Note(
                            kind="plan_at_the_limit"))
    if looks:
        return _case_of_looks(answer, error, power, errors, (terms, careful if measured else terms), measured, looks)
    likely = sessions_needed(answer, power, errors, terms, most=most) if measured else None
    terms = careful if measured else terms
    top = ceiling(answer, errors, terms)
    sessions = sessions_needed(answer, power, errors, terms, most=most) if top > power else None
    because, u_needed = (None, None) if sessions else _obstacle(answer, power, top, errors, terms, unit, most)
    one = terms[0]
    return PlanCase(
        true_error=error, power=power, answer=answer, sessions=sessions, expected=likely,
        reached=math.nan if sessions is None else joint_chance(answer, sessions, errors, terms), ceiling=top,
        possible=top > power, because=because, u_needed=u_needed,
        by_width=(sessions_to_settle(abs(margins[0]), one.sd, one.known, one.level, most)
                  if len(terms) == 1 and not one.predict else None))


def _case_of_looks(answer: str, error: float, power: float, errors: list[float],
                   both: tuple[list[Terms], list[Terms]], measured: bool, looks: tuple[int, ...]) -> PlanCase:
    """Return the look by which it is settled with the wanted chance; `both` terms: likely and careful."""
    likely, careful = (settled_by_looks(answer, looks, errors, terms) for terms in both)
    when, perhaps = (next((count for count, share in zip(looks, found.by_look, strict=True) if share >= power), None)
                     for found in (careful, likely))
    at_end = careful.by_look[-1]
    because = None if when else Note(kind="plan_looks_end", values={
        "looks": ", ".join(map(str, looks)), "chance": at_end})
    reached = math.nan if when is None else careful.by_look[looks.index(when)]
    return PlanCase(true_error=error, power=power, answer=answer, sessions=when, expected=perhaps if measured else None,
                    reached=reached, ceiling=at_end, possible=at_end >= power, by_width=None, because=because,
                    u_needed=None, mean_sessions=careful.mean_sessions)


def _obstacle(answer: str, power: float, top: float, errors: list[float], terms: list[Terms], unit: str,
              most: int) -> tuple[Note, float | None]:
    """Why no number of sessions gives the wanted chance, and the reference that would."""
    if top > power:
        return Note(kind="plan_too_many", values={"most": most}), None
    band = terms[len(terms) // 2]
    exact = [item._replace(known=EXACT) for item in terms]
    if ceiling(answer, errors, exact) <= power:
        half = t_quantile(band.level, math.inf) * band.sd
        return Note(kind="plan_sessions_differ", values={"sd": band.sd, "unit": unit, "half": half}), None
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = (low + high) / 2
        shrunk = [item._replace(known=item.known.times(middle)) for item in terms]
        low, high = (middle, high) if ceiling(answer, errors, shrunk) > power else (low, middle)
    needed = low * band.known.u
    return Note(kind="plan_reference", values={
        "u": band.known.u, "unit": unit, "chance": top, "needed": needed}), needed
