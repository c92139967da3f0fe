"""Whether the answer hangs on seconds of which the traces do not tell if they are faulty: beside a slow trace, many.

A second that is lost, or partial, hardly shows in a mean over half a minute. Where such seconds are common, other ones,
with another mean error, may be as likely.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from agree.core.data.pairs import Pairs
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.words import numbered
from agree.verdict.meanings import Reading, hold_back
from agree.verdict.rule import FAILS, OPEN

KIND = "pair_faults_untold"


class UntoldFaults(NamedTuple):
    """Sessions with such seconds, counted from 1, and of how many; the mean error as it is, lowest and highest."""

    found: tuple[int, ...]
    sessions: int
    error: float = 0.0
    lowest: float = 0.0
    highest: float = 0.0
    limit: float = 0.0
    unit: str = "%"
    inside: bool = True
    outside: bool = True

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for one that other faults, as likely, would not give."""
        why = Note(kind="because_faults_untold")
        if self.found and not self.inside:
            readings = hold_back(readings, why)
        if self.found and not self.outside:
            readings = tuple(replace(item, verdict=OPEN, because=why) if item.verdict == FAILS else item
                             for item in readings)
        return readings

    @property
    def decide(self) -> bool:
        """Whether another answer is as likely."""
        return bool(self.found) and not (self.inside or self.outside)

    def notes(self) -> tuple[Note, ...]:
        """Return between what the mean error may lie."""
        return (Note(kind="used_faults_untold", severity="answer", values={
            "sessions": numbered(self.found), "all": self.sessions, "low": self.lowest, "high": self.highest,
            "unit": self.unit}),) if self.decide else ()

    def next(self) -> Note | None:
        """Return what to do where another answer is as likely."""
        return Note(kind="next_faults_untold") if self.decide else None


def _shares(item: Pairs) -> tuple[float, float]:
    """By which shares the device's mean power may be lower, and higher."""
    some = [note.values for note in item.notes if isinstance(note, Note) and note.kind == KIND]
    return (float(some[0]["low"]), float(some[0]["high"])) if some else (0.0, 0.0)


def untold_faults(pairs: Sequence[Pairs], average: Reading) -> UntoldFaults:
    """Return the sessions with such seconds, and whether the answer stands with other ones."""
    shares = [_shares(item) for item in pairs]
    found = tuple(k for k, (low, high) in enumerate(shares, 1) if high > low)
    shown: Estimate | None = average.decides or average.estimate
    if not found or shown is None:
        return UntoldFaults((), len(pairs))
    mean = sum(float(item.reference[item.used].sum()) for item in pairs) / max(sum(
        int(item.used.sum()) for item in pairs), 1)
    whole = 100.0 if average.unit == "%" else mean
    low, high = (whole * sum(share[end] for share in shares) / len(shares) for end in (0, 1))
    limit = average.limit
    return UntoldFaults(
        found, len(pairs), shown.value, shown.value + low, shown.value + high, limit, average.unit,
        inside=bool(shown.low + low >= -limit and shown.high + high <= limit),
        outside=bool(shown.low + low > limit or shown.high + high < -limit))
