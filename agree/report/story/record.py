"""What to record next."""

from __future__ import annotations

from agree.assessment.claim_check import ClaimCheck
from agree.report.notes.sentence import note_sentences
from agree.report.story.language.names import lower_first


def to_record(check: ClaimCheck) -> tuple[str, ...]:
    """Return what to record next, in sentences; the later ones may be left out where room is short."""
    first, *more = note_sentences(check.next_step)
    return (lower_first(first), *more)
