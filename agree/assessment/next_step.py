"""What would settle an open question, and what is not known yet."""

from __future__ import annotations

import math

from agree.core.engine import COSINES
from agree.core.estimate import Estimate
from agree.verdict.chance import LEAST_SESSIONS, Terms, chance, sessions_needed
from agree.verdict.claim import Claim
from agree.verdict.columns import Table
from agree.verdict.error_distribution import interval_half_width
from agree.verdict.meanings import Reading
from agree.verdict.rule import FAILS, HOLDS, OPEN

MOST_SESSIONS = 50
MOST_TIMES_LONGER = 10
CHANCE = 0.8  # probability with which the named amount of riding settles it


def next_step(table: Table, meaning: str, readings: tuple[Reading, ...], claim: Claim, level: float) -> str:
    """One or two sentences on what to record next."""
    reading = next(item for item in readings if item.meaning == meaning)
    if reading.verdict != OPEN:
        if table.sessions == 1:
            return ("Record 2 or more further sessions on other days, each with a fresh zero: one recording says "
                    "nothing of the next.")
        ladder = [item.meaning.replace("_", " ") for item in readings if item.verdict == OPEN]
        return f"Not yet settled in the stricter meaning: {', '.join(ladder)}." if ladder else "Nothing is left open."
    if meaning == "next_session" and table.sessions == 1:
        return "Record at least 2 further sessions on other days: only they show how far sessions differ."
    if meaning == "bands":
        return f"Record more minutes in the open bands ({reading.because})."
    if meaning == "readings" or reading.estimate is None:
        return "Record more windows of the kind asked for: a longer session or further ones."
    return _mean_error_step(table, reading, reading.estimate, claim, level)


def _mean_error_step(table: Table, reading: Reading, item: Estimate, claim: Claim, level: float) -> str:
    margin = abs(reading.limit - abs(item.value))
    known = reading.known
    alone = float(interval_half_width(0.0, math.inf, known, level))
    if alone >= margin:
        return (f"The reference alone leaves this open (u = {known.u:.2g} {claim.unit}): no amount of riding settles "
                f"it. Have the reference calibrated to u below {known.u * margin / alone:.2g} {claim.unit}.")
    statistical = item.standard_error if reading.own is None else reading.own.standard_error
    answer = HOLDS if abs(item.value) <= reading.limit else FAILS
    if table.sessions == 1:
        times = _times_longer(answer, item, Terms(reading.limit, statistical, known, level))
        if times is None:
            return _too_close(reading, claim)
        minutes = table.reference.size / 60
        return (f"About {minutes * times:.0f} min of such riding in all settle it with {100 * CHANCE:g} % probability "
                f"if the error stays as it is ({minutes:.0f} min so far); sessions on other days are worth more.")
    sd = statistical * math.sqrt(table.sessions)
    if reading.meaning == "next_session":
        return (f"Sessions differ by SD {reading.details.get('session_sd', math.nan):.2g} {claim.unit}; more sessions "
                "sharpen the prediction but cannot make it narrower than that spread.")
    wanted = sessions_needed(answer, CHANCE, [item.value], [Terms(reading.limit, sd, known, level)], seen=True,
                             least=max(table.sessions + 1, LEAST_SESSIONS), most=MOST_SESSIONS)
    if wanted is None:
        return _too_close(reading, claim)
    return (f"About {wanted} sessions in all settle it with {100 * CHANCE:g} % probability if they differ as these "
            f"{table.sessions} do (SD {sd:.2g} {claim.unit}).")


def _times_longer(answer: str, item: Estimate, terms: Terms) -> float | None:
    """How many times longer one recording must be; its interval has 8 degrees of freedom, as 9 sessions have."""
    low, high = 1.0, float(MOST_TIMES_LONGER)

    def settles(times: float) -> bool:
        nine = terms._replace(sd=terms.sd * math.sqrt((COSINES + 1) / times))
        return float(chance(answer, COSINES + 1, item.value, nine, seen=True)) >= CHANCE

    if not settles(high):
        return None
    while high - low > 0.05:
        middle = (low + high) / 2
        low, high = (low, middle) if settles(middle) else (middle, high)
    return max(high, 1.2)


def _too_close(reading: Reading, claim: Claim) -> str:
    side = "inside" if reading.verdict == HOLDS or (
        reading.estimate is not None and abs(reading.estimate.value) <= reading.limit) else "outside"
    return (f"The error found lies too near the limit of {reading.limit:.3g} {claim.unit} ({side}): no reasonable "
            "amount of riding would settle it. Say so, or choose another limit beforehand.")
