"""Whether so little was recorded that no "holds" can be given, and how little is said with the answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from agree.core.results.note import Note
from agree.core.thresholds import LEAST_RIDE_SHARE, LEAST_TO_HOLD_S, SHORT_RIDE_S, SMALL_RIDE_SHARE, SMALL_SPAN_SHARE
from agree.verdict.claim import Claim
from agree.verdict.columns import Table
from agree.verdict.meanings import Reading, hold_back


class HowMuch(NamedTuple):
    """Seconds of one recording that bear on the claim (NaN of several), and shares of the references' riding.

    `used` : of each session, the share of the riding in its reference's recording that is used. `spanned` : the share
    that lies where both recordings run; a gap within the two is told elsewhere. NaN where the riding is not known.
    `whole` : used share of all sessions together.
    """

    seconds: float
    used: tuple[float, ...]
    spanned: tuple[float, ...]
    whole: float

    @property
    def worst(self) -> float:
        """Least used share of a session; NaN if none is known."""
        return min((share for share in self.used if share == share), default=math.nan)

    @property
    def too_little(self) -> bool:
        """Whether "holds" may not be said."""
        return self.seconds < LEAST_TO_HOLD_S or self.worst < LEAST_RIDE_SHARE

    @property
    def partly(self) -> int:
        """Of how many sessions a part of the riding was not recorded or not used."""
        return sum(used < SMALL_RIDE_SHARE or spanned < SMALL_SPAN_SHARE
                   for used, spanned in zip(self.used, self.spanned, strict=True))

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
        if self.partly:
            least = self.worst < LEAST_RIDE_SHARE
            found.append(Note(kind="used_hardly_any" if least else "used_part", severity="answer" if least else "trust",
                              values={"percent": 100 * self.worst, "session": self.used.index(self.worst) + 1,
                                      "sessions": len(self.used), "partly": self.partly, "whole": 100 * self.whole}))
        return tuple(found)

    def next(self, held_back: bool) -> Note | None:
        """Return what to record where an answer was held back for this alone."""
        if not held_back:
            return None
        if self.seconds < LEAST_TO_HOLD_S:
            return Note(kind="next_ride_at_least", values={"minutes": SHORT_RIDE_S / 60})
        return Note(kind="next_record_whole_ride", values={
            "session": self.used.index(self.worst) + 1, "sessions": len(self.used)})


def how_much(data: Table, claim: Claim) -> HowMuch:
    """Return how much of the riding bears on the claim.

    Several sessions show by their differences what wanders within each, so that seconds count for one recording only:
    an error that wanders more slowly than a recording lasts cannot be seen in it, and its interval is too narrow.
    """
    seconds = float((data.level >= (claim.above if claim.above is not None else -math.inf)).sum())
    used = [int(item.used.sum()) for item in data.pairs]
    ridden = [item.ridden_s for item in data.pairs]
    spanned = [int((item.reference > 0).sum()) for item in data.pairs]  # no reading is not above 0
    return HowMuch(seconds if data.sessions == 1 else math.nan, _shares(used, ridden), _shares(spanned, ridden),
                   *_shares([sum(used)], [sum(ridden)]))


def _shares(seconds: Sequence[int], ridden: Sequence[float]) -> tuple[float, ...]:
    """Seconds over those in which the reference's recording shows power; NaN where that is not known."""
    return tuple(count / whole if whole > 0 else math.nan for count, whole in zip(seconds, ridden, strict=True))
