"""Whether the answer hangs on minutes in which the recordings are not alike, though they are in the others.

A device may have failed there, or a file have gone on into another ride: no error of a device is known from them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.data.pairs import Pairs
from agree.core.results.note import Note
from agree.core.results.words import numbered
from agree.core.thresholds import UNLIKE_SHIFT
from agree.verdict.meanings import Reading, hold_back
from agree.verdict.rule import FAILS, OPEN


class UnlikeMinutes(NamedTuple):
    """Sessions with such minutes, counted from 1, and of how many; the mean error with these minutes, and without."""

    found: tuple[int, ...]
    sessions: int
    with_them: float = 0.0
    without: float = 0.0
    limit: float = math.inf
    unit: str = "%"

    @property
    def decide(self) -> bool:
        """Whether the mean error moves by so much that an answer "holds" would hang on them."""
        return bool(self.found) and abs(self.with_them - self.without) > UNLIKE_SHIFT * self.limit

    @property
    def turn(self) -> bool:
        """Whether the mean error is within the limit without them only."""
        return self.decide and abs(self.without) <= self.limit < abs(self.with_them)

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for "holds"; and for "does not hold" that comes of these minutes."""
        if not self.decide:
            return readings
        why = Note(kind="because_minutes_unlike")
        held = hold_back(readings, why)
        return tuple(replace(item, verdict=OPEN, because=why) if item.verdict == FAILS else item
                     for item in held) if self.turn else held

    def notes(self) -> tuple[Note, ...]:
        """Return the mean error with these minutes and without."""
        return (Note(kind="used_minutes_unlike", severity="answer", values={
            "sessions": numbered(self.found), "all": self.sessions, "with": self.with_them, "without": self.without,
            "unit": self.unit}),) if self.decide else ()

    def next(self, held_back: bool) -> Note | None:
        """Return what to do where an answer was held back for this."""
        return Note(kind="next_cut_unlike") if held_back and self.decide else None


def _minutes(item: Pairs) -> NDArray[np.bool_]:
    """Used seconds within such minutes."""
    inside = np.zeros(item.time.size, bool)
    for note in item.notes:
        if isinstance(note, Note) and note.kind == "pair_minutes_unlike":
            inside |= (item.time >= float(note.values["from_s"])) & (item.time < float(note.values["to_s"]))
    return inside & item.used


def unlike_minutes(pairs: Sequence[Pairs], average: Reading) -> UnlikeMinutes:
    """Return the sessions with minutes that are not alike, and what they do to the mean error."""
    inside = [_minutes(item) for item in pairs]
    found = tuple(k for k, seconds in enumerate(inside, 1) if seconds.any())
    if not found:
        return UnlikeMinutes((), len(pairs))

    def error(left_out: bool) -> float:
        parts = [item.used & ~seconds if left_out else item.used for item, seconds in zip(pairs, inside, strict=True)]
        reference, device = (np.concatenate([getattr(item, name)[part] for item, part in zip(
            pairs, parts, strict=True)]) for name in ("reference", "device"))
        if not reference.size:
            return math.nan
        off = float((device - reference).mean())
        return 100 * off / float(reference.mean()) if average.unit == "%" else off

    return UnlikeMinutes(found, len(pairs), error(False), error(True), average.limit, average.unit)
