"""What to record next."""

from __future__ import annotations

from agree.assessment.claim_check import ClaimCheck
from agree.report.notes.sentence import note_text
from agree.report.story.language.names import lower_first


def to_record(check: ClaimCheck) -> tuple[str, ...]:
    """Return what to record next, in sentences; the later ones may be left out where room is short."""
    text = lower_first(note_text(check.next_step))
    return tuple(part if part.endswith(".") else f"{part}." for part in text.split(". ") if part)
