"""Whether so much was set aside as faulty, or is missing, that what is left cannot speak for the device."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from agree.assessment.doubts.lost_range import LostRange, gaps
from agree.core.data.fault import NO_FAULT
from agree.core.data.pairs import Pairs
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.thresholds import MOST_LEFT_OUT, SMALL_MISSING_SHARE
from agree.verdict.meanings import Reading, hold_back


class LeftOut(NamedTuple):
    """What was lost of the riding, and whether "holds" may be said of the rest.

    `share` counts the faulty seconds and, of those missing in one recording, the `at_end` that are missing at an end of
    the range; `scattered` are the other missing ones, and `scattered_share` is their share of the riding. `role` is
    the recording that lost most: "reference" or "device".
    """

    share: float
    too_many: bool
    at_end: int
    scattered: int
    scattered_share: float
    role: str

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for "holds" where too much was left out."""
        if not self.too_many:
            return readings
        why = Note(kind="because_gaps") if self.at_end else Note(kind="because_faults")
        return hold_back(readings, why)

    def notes(self) -> tuple[Note, ...]:
        """Return why no answer "holds" is given, and how many seconds are missing."""
        found, values = [], {"percent": round(100 * self.share, 1)}
        if self.too_many:
            found.append(Note(kind="faults_or_gaps_too_many", severity="answer", values=values) if self.at_end else
                         Note(kind="faults_too_many", severity="answer", values=values))
        if self.scattered_share > SMALL_MISSING_SHARE:
            found.append(Note(kind="used_with_gaps", severity="trust", values={
                "seconds": self.scattered, "percent": 100 * self.scattered_share}))
        return tuple(found)

    def next(self, held_back: bool) -> Note | None:
        """Return what to do first where an answer was held back for this: more of the same settles nothing."""
        if not held_back:
            return None
        return Note(kind="next_mend_recording", values={"role": self.role, "percent": round(100 * self.share, 1)})


def left_out(pairs: Sequence[Pairs], average: Reading, counted_in: Estimate, lost: Sequence[LostRange]) -> LeftOut:
    """Return how much was left out, and whether what is left can speak for the device.

    A device that cannot measure part of its range, or is dead for a quarter of a ride, does not keep a claim for being
    right elsewhere. A few faults that chance scatters over a ride are another matter: these are only warned of. What a
    missing second would have read is not known: missing seconds count where they go with the power.
    """
    faulty = sum(int((~item.has_reason("", *NO_FAULT)).sum()) for item in pairs)
    missing = sum(int(gaps(item).sum()) for item in pairs)
    used = sum(int(item.used.sum()) for item in pairs)
    at_end = sum(item.missing for item in lost)
    share = (faulty + at_end) / max(faulty + at_end + used, 1)
    limit = average.limit if average.unit == "%" else np.inf
    outside = abs(counted_in.value) > limit
    return LeftOut(share, share > MOST_LEFT_OUT and bool(outside or at_end), at_end, missing - at_end,
                   (missing - at_end) / max(faulty + missing + used, 1), _loser(pairs))


def _loser(pairs: Sequence[Pairs]) -> str:
    """Name the recording that lost more seconds, to faults or by having none."""
    of_reference = sum(int((np.char.startswith(item.reason, "reference_")
                            | (gaps(item) & ~np.isfinite(item.reference))).sum()) for item in pairs)
    of_device = sum(int((np.char.startswith(item.reason, "device_")
                         | (gaps(item) & ~np.isfinite(item.device))).sum()) for item in pairs)
    return "reference" if of_reference > of_device else "device"
