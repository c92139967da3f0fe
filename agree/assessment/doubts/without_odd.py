"""What the answer would be without the sessions that are odd."""

from __future__ import annotations

from collections.abc import Sequence

from agree.assessment.beside import with_faults
from agree.assessment.doubts.withheld import withheld
from agree.core.data.pairs import Pairs
from agree.core.results.note import Note
from agree.verdict.claim import Claim
from agree.verdict.columns import table
from agree.verdict.meanings import average, next_session
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.repeats.distinct import refuse_repeats
from agree.verdict.sessions import SessionEffects

LEAST_LEFT = 2  # sessions without which nothing can be said of days


def without_odd(
    pairs: Sequence[Pairs], effects: SessionEffects | None, claim: Claim, meaning: str,
    reference_u: ReferenceUncertainty, level: float, rule: str, window_s: int,
) -> tuple[Note, ...]:
    """Return the answer as it would be had the odd sessions not been ridden; empty where none is odd.

    The other sessions are judged as they would be by themselves. This is no ground to leave a session out: it says how
    much of the answer hangs on it. It is told for the mean error and for the next session.
    """
    odd = effects.odd if effects is not None else ()
    left = [item for k, item in enumerate(pairs) if k not in odd]
    if not odd or len(left) < LEAST_LEFT or meaning not in ("average", "next_session"):
        return ()
    data = table(left, window_s)
    reading = average(data, claim, reference_u, level, rule)
    held = withheld(data, claim, reading, with_faults(data, level), refuse_repeats(left))
    if meaning == "next_session":
        reading = next_session(data, claim, reading, level, rule)
    reading, = held.answers((reading,))
    return (Note(kind="without_odd", severity="detail", values={
        "sessions": ", ".join(str(k + 1) for k in odd), "meaning": meaning, "verdict": reading.verdict}),)
