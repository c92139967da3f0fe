"""Whether so little was recorded that no "holds" can be given, and how little is said with the answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from agree.core.data.pairs import Pairs
from agree.core.results.note import Note
from agree.core.thresholds import LEAST_RIDE_SHARE, LEAST_TO_HOLD_S, SHORT_RIDE_S, SMALL_RIDE_SHARE
from agree.verdict.claim import Claim
from agree.verdict.columns import Table
from agree.verdict.meanings import Reading, hold_back


class HowMuch(NamedTuple):
    """Seconds of one recording that bear on the claim (NaN of several), and share of the reference's riding used."""

    seconds: float
    share: float

    @property
    def too_little(self) -> bool:
        """Whether "holds" may not be said."""
        return self.seconds < LEAST_TO_HOLD_S or self.share < LEAST_RIDE_SHARE

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for "holds" where too little was recorded."""
        if not self.too_little:
            return readings
        why = Note(kind="because_too_little")
        return hold_back(readings, why)

    def notes(self) -> tuple[Note, ...]:
        """Return how little was used, where that bears on the answer."""
        found = []
        if self.seconds < LEAST_TO_HOLD_S:
            found.append(Note(kind="used_too_short", severity="answer", values={
                "seconds": self.seconds, "least": LEAST_TO_HOLD_S}))
        elif self.seconds < SHORT_RIDE_S:
            found.append(Note(kind="used_short", severity="trust", values={"minutes": self.seconds / 60}))
        if self.share < SMALL_RIDE_SHARE:
            least = self.share < LEAST_RIDE_SHARE
            found.append(Note(kind="used_hardly_any" if least else "used_part", severity="answer" if least else "trust",
                              values={"percent": 100 * self.share}))
        return tuple(found)

    def next(self, held_back: bool) -> Note | None:
        """Return what to record where an answer was held back for this alone."""
        if not held_back:
            return None
        if self.seconds < LEAST_TO_HOLD_S:
            return Note(kind="next_ride_at_least", values={"minutes": SHORT_RIDE_S / 60})
        return Note(kind="next_record_whole_ride")


def how_much(data: Table, claim: Claim) -> HowMuch:
    """Return how much of the riding bears on the claim.

    Several sessions show by their differences what wanders within each, so that seconds count for one recording only:
    an error that wanders more slowly than a recording lasts cannot be seen in it, and its interval is too narrow.
    """
    seconds = float((data.level >= (claim.above if claim.above is not None else -math.inf)).sum())
    return HowMuch(seconds if data.sessions == 1 else math.nan, _share(data.pairs))


def _share(pairs: Sequence[Pairs]) -> float:
    """Used seconds over those in which the references' recordings show power; NaN where that is not known."""
    ridden = float(np.sum([item.ridden_s for item in pairs]))
    return float(np.sum([item.used.sum() for item in pairs])) / ridden if ridden > 0 else math.nan
