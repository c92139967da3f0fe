"""Whether a recording was corrected by what was found on the very ride it is checked on: that proves nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from agree.core.data.pairs import Pairs
from agree.core.results.note import Note
from agree.core.results.words import numbered
from agree.verdict.meanings import Reading, hold_back


class Fitted(NamedTuple):
    """Sessions, counted from 1, whose correction was found on themselves, or nobody knows on what; and of how many."""

    on_itself: tuple[int, ...]
    not_known: tuple[int, ...]
    sessions: int

    @property
    def any(self) -> bool:
        """Whether "holds" may not be said: what a correction was fitted to agrees with it, right or wrong."""
        return bool(self.on_itself or self.not_known)

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for "holds"."""
        if not self.any:
            return readings
        why = Note(kind="because_copy")
        return hold_back(readings, why)

    def notes(self) -> tuple[Note, ...]:
        """Return which sessions are no evidence, and why."""
        return tuple(Note(kind=kind, severity="answer", values={"sessions": numbered(found), "all": self.sessions})
                     for kind, found in (("copy_of_its_own_ride", self.on_itself), ("copy_by_hand", self.not_known))
                     if found)

    def next(self, held_back: bool) -> Note | None:
        """Return what to do where "holds" was held back for this."""
        if not held_back:
            return None
        named = sorted({*self.on_itself, *self.not_known})
        return Note(kind="next_other_ride", values={"sessions": numbered(named), "left": self.sessions - len(named),
                                                    "by_hand": bool(self.not_known)})


def fitted(pairs: Sequence[Pairs]) -> Fitted:
    """Return the sessions whose recordings are corrected copies that nothing shows to be corrected by other rides."""
    found: dict[str, list[int]] = {"this ride": [], "not known": [], "other rides": []}
    for k, item in enumerate(pairs, 1):
        origins = {note.values["origin"] for note in item.notes
                   if isinstance(note, Note) and note.kind == "pair_corrected_copy"}
        for origin, numbers in found.items():
            if origin in origins:
                numbers.append(k)
                break
    return Fitted(tuple(found["this ride"]), tuple(found["not known"]), len(pairs))
