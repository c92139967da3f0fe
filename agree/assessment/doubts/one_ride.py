"""Whether sessions look like one ride, or are of one day: then they do not show how days differ.

Of what looks like one ride no "holds" is given. Sessions of one day are rides of their own: their mean speaks of that
day, as one recording speaks of itself, and only of the next session, which may be on any day, no "holds" is given.
"""

from __future__ import annotations

from typing import NamedTuple

from agree.core.results.note import Note
from agree.verdict.meanings import Reading, hold_back

ON_OTHER_DAYS = Note(kind="next_other_days", values={"sessions": 2})


class OneRide(NamedTuple):
    """What `refuse_repeats` doubts without refusing it."""

    doubts: tuple[Note, ...]

    @property
    def alike(self) -> Note | None:
        """The sessions that are more alike than days are."""
        return next((note for note in self.doubts if note.kind == "sessions_alike"), None)

    @property
    def one_day(self) -> bool:
        """Whether all sessions are of one day."""
        return any(note.kind == "sessions_of_one_day" and note.values["most"] == note.values["sessions"]
                   for note in self.doubts)

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for "holds" where sessions look like one ride, or say nothing of days."""
        if self.alike is None:
            if not self.one_day:
                return readings
            ahead = Note(kind="because_one_day")
            return tuple(hold_back((item,), ahead)[0] if item.meaning == "next_session" else item for item in readings)
        why = Note(kind="because_one_ride", values={
            name: self.alike.values[name] for name in ("sessions", "rides")})
        return hold_back(readings, why)

    def next(self, held_back: bool, meaning: str) -> Note | None:
        """Return what to do where "holds" was held back for this."""
        if held_back and self.one_day and meaning == "next_session":
            return ON_OTHER_DAYS
        if not held_back or self.alike is None:
            return None
        return Note(kind="next_another_day", values={
            name: self.alike.values[name] for name in ("later", "left_out")})
