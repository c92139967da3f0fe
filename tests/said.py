"""Shared by tests of reading: a table as a recording; notes as the report says them, to compare whole sentences."""

from __future__ import annotations

from typing import Any

from agree import Recording
from agree.files.table import Table
from agree.recordings.options import options_of
from agree.recordings.read import recording_of_table
from agree.report.notes.sentence import note_text


def said(found: Any) -> tuple[str, ...]:
    """Return the sentence of each note, its role before it."""
    return tuple(note if isinstance(note, str) else (f"{note.role}: " if note.role else "") + note_text(note)
                 for note in found.notes)


def recorded(table: Table, power_column: str | None = None, **options: Any) -> Recording:
    """Return the recording that a table holds."""
    return recording_of_table(table, "table", options_of({"power_column": power_column, **options}))
