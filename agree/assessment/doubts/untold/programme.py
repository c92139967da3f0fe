"""Whether two files may be two rides of one programme: then they agree, right or wrong, and no "holds" is given."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from agree.core.data.pairs import Pairs
from agree.core.results.note import Note
from agree.core.results.words import numbered
from agree.verdict.meanings import Reading, hold_back


class UntoldProgramme(NamedTuple):
    """Sessions, counted from 1, in which nothing tells one ride from two of one programme; and of how many."""

    found: tuple[int, ...]
    sessions: int

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for "holds"."""
        return hold_back(readings, Note(kind="because_programme")) if self.found else readings

    def notes(self) -> tuple[Note, ...]:
        """Return which sessions are no evidence, and why."""
        return (Note(kind="used_programme_untold", severity="answer", values={
            "sessions": numbered(self.found), "all": self.sessions}),) if self.found else ()

    def next(self, held_back: bool) -> Note | None:
        """Return what to do where "holds" was held back for this."""
        return Note(kind="next_dates") if held_back and self.found else None


def untold_programme(pairs: Sequence[Pairs]) -> UntoldProgramme:
    """Return the sessions whose pairing left it open."""
    found = tuple(k for k, item in enumerate(pairs, 1) if any(
        isinstance(note, Note) and note.kind == "pair_programme_untold" for note in item.notes))
    return UntoldProgramme(found, len(pairs))
