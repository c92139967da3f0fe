"""Whether so much was set aside as faulty that what is left cannot speak for the device."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from agree.core.data.fault import NO_FAULT
from agree.core.data.pairs import Pairs
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.thresholds import MOST_LEFT_OUT
from agree.verdict.meanings import Reading
from agree.verdict.rule import HOLDS, OPEN


class LeftOut(NamedTuple):
    """Share of the seconds of riding that were set aside as faulty, and whether "holds" may be said of the rest."""

    share: float
    too_many: bool

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for "holds" where too much was left out."""
        if not self.too_many:
            return readings
        return tuple(replace(item, verdict=OPEN, because=Note(kind="because_faults"))
                     if item.verdict == HOLDS else item for item in readings)

    def notes(self) -> tuple[Note, ...]:
        """Return why no answer "holds" is given."""
        if not self.too_many:
            return ()
        return (Note(kind="faults_too_many", severity="answer", values={"percent": round(100 * self.share, 1)}),)


def left_out(pairs: Sequence[Pairs], average: Reading, counted_in: Estimate) -> LeftOut:
    """Return how much was left out, and whether the mean error with it would be outside the limit.

    A device that cannot measure part of its range, or is dead for a quarter of a ride, does not keep a claim for being
    right elsewhere. A few faults that chance scatters over a ride are another matter: these are only warned of.
    """
    faulty = sum(int((~np.isin(item.reason, ("", *NO_FAULT))).sum()) for item in pairs)
    used = sum(int(item.used.sum()) for item in pairs)
    share = faulty / max(faulty + used, 1)
    limit = average.limit if average.unit == "%" else np.inf
    return LeftOut(share, share > MOST_LEFT_OUT and abs(counted_in.value) > limit)
