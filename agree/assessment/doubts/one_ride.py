"""Whether sessions look like one ride: then they do not show how days differ, and no "holds" is given."""

from __future__ import annotations

from typing import NamedTuple

from agree.core.results.note import Note
from agree.verdict.meanings import Reading, hold_back


class OneRide(NamedTuple):
    """What `refuse_repeats` doubts without refusing it."""

    doubts: tuple[Note, ...]

    @property
    def alike(self) -> Note | None:
        """The sessions that are more alike than days are."""
        return next((note for note in self.doubts if note.kind == "sessions_alike"), None)

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for "holds" where sessions look like one ride."""
        if self.alike is None:
            return readings
        why = Note(kind="because_one_ride", values={
            name: self.alike.values[name] for name in ("sessions", "rides")})
        return hold_back(readings, why)

    def next(self, held_back: bool) -> Note | None:
        """Return what to do where "holds" was held back for this."""
        if not held_back or self.alike is None:
            return None
        return Note(kind="next_another_day", values={
            name: self.alike.values[name] for name in ("later", "left_out")})
