"""What would settle an open question, and what is not known yet."""

from __future__ import annotations

import math

from agree.interval import Estimate, t_quantile
from agree.verdict.claim import Claim
from agree.verdict.meanings import Reading
from agree.verdict.rule import HOLDS, OPEN, sessions_to_settle
from agree.verdict.table import Table

MOST_SESSIONS = 50
MOST_TIMES_LONGER = 10


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
    u = readings_u(reading)
    normal = t_quantile(level, math.inf)
    if normal * u >= margin:
        return (f"The reference alone leaves this open (u = {u:.2g} {claim.unit}): no amount of riding settles it. "
                f"Have the reference calibrated to u below {margin / normal:.2g} {claim.unit}.")
    statistical = math.sqrt(max(item.standard_error**2 - u**2, 0.0))
    if table.sessions == 1:
        times = (t_quantile(level, 8) * statistical) ** 2 / (margin**2 - (normal * u) ** 2)
        if times > MOST_TIMES_LONGER:
            return _too_close(reading, claim)
        minutes = table.reference.size / 60
        return (f"About {minutes * max(times, 1.2):.0f} min of such riding in all would settle it if the error stays as "
                f"it is ({minutes:.0f} min so far); further sessions on other days are worth more than a longer one.")
    sd = statistical * math.sqrt(table.sessions)
    if reading.meaning == "next_session":
        return (f"Sessions differ by SD {reading.details.get('session_sd', math.nan):.2g} {claim.unit}; more sessions "
                "sharpen the prediction but cannot make it narrower than that spread.")
    wanted = sessions_to_settle(margin, sd, u, level, MOST_SESSIONS)
    if wanted is None:
        return _too_close(reading, claim)
    return (f"About {max(wanted, table.sessions + 1)} sessions in all would settle it if they differ as these "
            f"{table.sessions} do.")


def readings_u(reading: Reading) -> float:
    """Standard uncertainty of the reference in the reading's unit."""
    return float(reading.details.get("reference_u", 0.0))


def _too_close(reading: Reading, claim: Claim) -> str:
    side = "inside" if reading.verdict == HOLDS or (
        reading.estimate is not None and abs(reading.estimate.value) <= reading.limit) else "outside"
    return (f"The error found lies too near the limit of {reading.limit:.3g} {claim.unit} ({side}): no reasonable "
            "amount of riding would settle it. Say so, or choose another limit beforehand.")
