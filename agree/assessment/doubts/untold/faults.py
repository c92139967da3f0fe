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
from agree.verdict.meanings import Reading
from agree.verdict.reference import UNTOLD, ReferenceUncertainty, Term
from agree.verdict.rule import OPEN, three_way

KIND = "pair_faults_untold"


class UntoldFaults(NamedTuple):
    """Sessions with such seconds, counted from 1, and of how many; the lowest and highest mean error, and its unit.

    `decide`: whether the answer would be settled if it were known which seconds are faulty.
    """

    found: tuple[int, ...]
    sessions: int
    lowest: float = 0.0
    highest: float = 0.0
    unit: str = "%"
    decide: bool = False

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, their intervals hold the doubt; but say what keeps the first one open."""
        if not self.decide:
            return readings
        why = Note(kind="because_faults_untold")
        return tuple(replace(item, because=why) if item.meaning == "average" and item.verdict == OPEN else item
                     for item in readings)

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


def with_untold(reference: ReferenceUncertainty, pairs: Sequence[Pairs]) -> ReferenceUncertainty:
    """What is known of the reference, with what faults that are not told may do to its mean.

    It does not shrink with data: the farther end of what is about as likely counts as two standard uncertainties.
    """
    shares = [_shares(item) for item in pairs]
    half = 100 * sum(max(abs(low), abs(high)) for low, high in shares) / len(shares)
    return replace(reference, terms=(*reference.terms, Term(name=UNTOLD, percent=half / 2, watts=0.0, shape="normal"))
                   ) if half else reference


def untold_faults(pairs: Sequence[Pairs], average: Reading) -> UntoldFaults:
    """Return the sessions with such seconds, and whether they keep the answer open.

    Parameters
    ----------
    pairs : sequence of Pairs
        The sessions.
    average : Reading
        The answer on the mean error, with that in its interval.
    """
    shares = [_shares(item) for item in pairs]
    found = tuple(k for k, (low, high) in enumerate(shares, 1) if high > low)
    own: Estimate | None = average.own
    if not found or own is None:
        return UntoldFaults((), len(pairs))
    whole = 100.0 if average.unit == "%" else float(average.details["mean_w"])
    low, high = (whole * sum(share[end] for share in shares) / len(shares) for end in (0, 1))
    return UntoldFaults(
        found, len(pairs), own.value + low, own.value + high, average.unit,
        decide=average.verdict == OPEN and three_way(own.low, own.high, average.limit) != OPEN)
