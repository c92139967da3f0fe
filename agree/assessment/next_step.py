"""What would settle an open question, and what is not known yet."""

from __future__ import annotations

import math
from dataclasses import replace

from agree.assessment.doubts.one_ride import ON_OTHER_DAYS
from agree.core.interval.engine import COSINES
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.thresholds import FINEST_REFERENCE_PERCENT, LEAST_BAND_S
from agree.verdict.claim import Claim
from agree.verdict.columns import Table
from agree.verdict.error_distribution import EXACT, KnownError, interval_half_width
from agree.verdict.meanings import Reading
from agree.verdict.reference import LOSS
from agree.verdict.rule import FAILS, HOLDS, OPEN, sessions_to_settle
from agree.verdict.sessions import SessionEffects
from agree.verdict.settling.chance import LEAST_SESSIONS, Terms, chance, sessions_needed

MOST_SESSIONS = 50
MOST_TIMES_LONGER = 10
OF_REFERENCE = ("next_calibrate", "next_reference_or_luck", "next_sessions_first")  # the loss may be in its place
# Advice that takes sessions to come for such as these: not where they have a trend.
OF_EQUAL_DAYS = ("next_more_sessions", "next_hardly", "next_sessions_first", "next_spread")
CHANCE = 0.8  # probability with which the named amount of riding settles it


def next_step(table: Table, meaning: str, readings: tuple[Reading, ...], claim: Claim, level: float,
              effects: SessionEffects | None = None, whose: str = "", one_day: bool = False) -> Note:
    """Return what to record next, as a note of kind "next_...".

    `whose`: the largest term of the reference's doubt; `one_day`: all sessions are of one day.
    """
    reading = next(item for item in readings if item.meaning == meaning)
    if claim.above is not None and reading.estimate is None and float(table.level.max()) < claim.above:
        return Note(kind="next_ride_above", values={"watts": claim.above})
    exchanged = [] if effects is None else [
        item.number for item in effects.odd_sessions if item.suspicion == "files exchanged"]
    if exchanged:
        return Note(kind="next_files_exchanged", values={"session": exchanged[0]})
    if reading.verdict != OPEN:
        if table.sessions == 1 or one_day:
            return ON_OTHER_DAYS
        ladder = [item.meaning for item in readings if item.verdict == OPEN]
        return Note(kind="next_open", values={"meanings": ",".join(ladder)}) if ladder else Note(kind="next_nothing")
    if effects is not None and effects.odd:
        return Note(kind="next_odd", values={"session": effects.odd[0] + 1})
    if meaning == "next_session" and table.sessions == 1:
        return ON_OTHER_DAYS
    if meaning == "bands" and reading.estimate is None:
        return Note(kind="next_ride_in_bands", values={"least_s": LEAST_BAND_S})
    if meaning == "bands" and reading.estimate is not None:
        low, high = reading.details["worst_band"]
        return Note(kind="next_band_minutes", values={"low": low, "high": high})
    if meaning != "next_session" and (meaning != "average" or reading.estimate is None):
        return Note(kind="next_more_windows")
    if one_day:
        return ON_OTHER_DAYS
    step = _mean_error_step(table, reading, claim, level)
    if step.kind in OF_EQUAL_DAYS and effects is not None and effects.ageing and effects.trend is not None:
        return Note(kind="next_find_trend", values={"change": effects.trend.value, "unit": claim.unit})
    return replace(step, values={**step.values, "loss": True}) if step.kind in OF_REFERENCE and whose == LOSS else step


def _mean_error_step(table: Table, reading: Reading, claim: Claim, level: float) -> Note:
    item, own = reading.estimate, reading.own
    if item is None or own is None:
        return Note(kind="next_more_windows")
    margin, unit, known = abs(reading.limit - abs(item.value)), claim.unit, reading.known
    alone = float(interval_half_width(0.0, math.inf, known, level))
    sd = own.standard_error * math.sqrt(table.sessions)
    one = table.sessions == 1
    answer = HOLDS if abs(item.value) <= reading.limit else FAILS
    most, terms = MOST_TIMES_LONGER if one else MOST_SESSIONS, Terms(reading.limit, sd, known, level)
    reached = float(chance(answer, COSINES + 1 if one else most, item.value, _longer(terms, most) if one else terms,
                           seen=True))
    hardly = Note(kind="next_hardly", values={
        "value": item.value, "gap": margin, "unit": unit, "one": one, "half": (item.high - item.low) / 2, "sd": sd,
        "most": most, "chance": reached})
    if alone >= margin:
        needed = math.sqrt(3) * known.u * margin / alone
        can_be_had = needed >= FINEST_REFERENCE_PERCENT * (1.0 if unit == "%" else float(table.reference.mean()) / 100)
        if (own.high - own.low) / 2 > alone:  # the reference is the lesser part of what is open
            wanted = None if one else sessions_to_settle(alone, sd, EXACT, level, MOST_SESSIONS)
            return hardly if wanted is None or not can_be_had else Note(kind="next_sessions_first", values={
                "sessions": wanted, "sd": sd, "unit": unit, "value": item.value, "needed": needed})
        return _reference_step(own, reading.limit, alone, known, unit) if can_be_had else hardly
    if one:
        times = _times_longer(answer, item, terms)
        minutes = table.reference.size / 60
        return hardly if times is None else Note(kind="next_ride_longer", values={
            "minutes": minutes * times, "ridden": minutes, "chance": CHANCE})
    if reading.meaning == "next_session":
        return Note(kind="next_spread", values={"sd": reading.details.get("session_sd", math.nan), "unit": unit})
    wanted = sessions_needed(answer, CHANCE, [item.value], [terms], seen=True,
                             least=max(table.sessions + 1, LEAST_SESSIONS), most=MOST_SESSIONS)
    return hardly if wanted is None else Note(kind="next_more_sessions", values={
        "sessions": wanted, "have": table.sessions, "chance": CHANCE, "sd": sd, "unit": unit})


def _reference_step(own: Estimate, limit: float, alone: float, known: KnownError, unit: str) -> Note:
    """What a reference that leaves it open asks for; "never" only if so for every true error inside the interval.

    With endless data the interval is the error against this reference -+ `alone`: it settles the claim if that error
    is at most limit - alone, or more than limit + alone.
    """
    inside, outside = limit - alone, limit + alone
    nearest = 0.0 if own.low <= 0 <= own.high else min(abs(own.low), abs(own.high))
    farthest = max(abs(own.low), abs(own.high))
    needed = math.sqrt(3) * known.u * abs(limit - abs(own.value)) / alone  # as the half-width of a rectangle
    values: dict[str, float | int | str | bool] = {"needed": needed, "unit": unit, "u": known.u}
    if nearest > inside and farthest <= outside:
        return Note(kind="next_calibrate", values=values)
    return Note(kind="next_reference_or_luck", values={**values, "holds_within": inside, "fails_beyond": outside,
                                                       "can_hold": nearest <= inside, "can_fail": farthest > outside})


def _longer(terms: Terms, times: float) -> Terms:
    """One recording so many times as long, as 9 sessions: its interval has 8 degrees of freedom."""
    return terms._replace(sd=terms.sd * math.sqrt((COSINES + 1) / times))


def _times_longer(answer: str, item: Estimate, terms: Terms) -> float | None:
    """How many times longer one recording must be."""
    low, high = 1.0, float(MOST_TIMES_LONGER)

    def settles(times: float) -> bool:
        return float(chance(answer, COSINES + 1, item.value, _longer(terms, times), seen=True)) >= CHANCE

    if not settles(high):
        return None
    while high - low > 0.05:
        middle = (low + high) / 2
        low, high = (low, middle) if settles(middle) else (middle, high)
    return max(high, 1.2)
