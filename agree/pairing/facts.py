"""What the reader of a report must know of how two recordings were matched, as facts."""

from __future__ import annotations

import math

from agree.core.data.pairs import Alignment
from agree.core.results.note import Note
from agree.core.thresholds import MOST_DRIFT_PPM, UNUSUAL_LAG_S, ZONE_NEAR_S, ZONE_STEP_S
from agree.pairing.clocks.fine import Fine
from agree.pairing.refusal import told_drift, unusual_drift
from agree.recordings.recording import Recording


def unusual_lag(lag: float, same_clock: bool, absolute: bool) -> Note | None:
    """Note on a lag that two clocks of one kind should not have."""
    quarter = ZONE_STEP_S * round(lag / ZONE_STEP_S)
    if absolute and quarter and abs(lag - quarter) <= ZONE_NEAR_S:
        return Note(kind="pair_zone", severity="trust", values={"lag_s": round(lag, 3), "minutes": abs(quarter) // 60})
    if same_clock and abs(lag) > UNUSUAL_LAG_S:
        return Note(kind="pair_lag_unusual", severity="trust", values={"lag_s": round(lag, 3)})
    return None


def other_clocks(one: Recording, two: Recording) -> Note:
    """Note on clocks of two kinds, which are counted from their starts."""
    return Note(kind="pair_clock_kinds", values={"reference": one.clock, "device": two.clock})


def step_facts(alignment: Alignment) -> list[Note]:
    """One note for each step of a clock."""
    return [Note(kind="pair_clock_step", severity="trust", values={
        "loser": "device" if step.step_s < 0 else "reference", "other": "reference" if step.step_s < 0 else "device",
        "lost_s": abs(step.step_s), "at_s": step.time_s, **({"se_s": step.se_s} if math.isfinite(step.se_s) else {})})
        for step in alignment.steps]


def drift_fact(fine: Fine, absolute: bool) -> Note:
    """Note on a drift; one that may be more than two clocks have is a doubt, for one of the two may lose seconds."""
    values: dict[str, float | bool] = {"ppm": 1e6 * fine.drift, "se_ppm": 1e6 * fine.drift_se}
    ppm, se = told_drift(fine)
    if abs(ppm) + 2 * se <= MOST_DRIFT_PPM or not unusual_drift(fine):
        return Note(kind="pair_clock_drift", values=values)
    return Note(kind="pair_clock_drift", severity="trust", values=values | {
        "most_ppm": MOST_DRIFT_PPM, "beyond": abs(ppm) - 2 * se > MOST_DRIFT_PPM, "dated": absolute})


def match_facts(alignment: Alignment, fine: Fine, identical: bool, absolute: bool) -> list[Note]:
    """Facts of a match, in the order of the way they came about."""
    notes = step_facts(alignment)
    if fine.drifting:
        notes.append(drift_fact(fine, absolute))
    if identical:
        notes.append(Note(kind="pair_identical", severity="answer"))
    if math.isfinite(alignment.correlation):
        rival = {"next_best": alignment.runner_up} if math.isfinite(alignment.runner_up) else {}
        notes.append(Note(kind="pair_correlation", values={"correlation": alignment.correlation, **rival}))
    agreeing = {f"{witness.channel}_s": witness.lag_s for witness in alignment.witnesses if witness.agrees}
    if agreeing:
        notes.append(Note(kind="pair_witnesses_agree", values=agreeing))
    return notes
