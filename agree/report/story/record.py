"""What to record next."""

from __future__ import annotations

from agree.assessment.claim_check import ClaimCheck
from agree.report.notes.sentence import note_sentences
from agree.report.story.caveats import drifts
from agree.report.story.language.names import lower_first


def to_record(check: ClaimCheck) -> tuple[str, ...]:
    """Return what to record next, in sentences; the later ones may be left out where room is short."""
    if check.next_step.kind == "next_nothing" and drifts(check):
        return ("nothing for rides as long as these; the error drifts, so that others read otherwise.",)
    first, *more = note_sentences(check.next_step)
    return (lower_first(first), *more)
