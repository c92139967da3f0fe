"""The part of the range of power in which a device was not measured, since most seconds there were set aside."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.fault import NO_FAULT
from agree.core.data.pairs import Pairs
from agree.core.results.note import Note
from agree.core.thresholds import BAND_STEP_W, LOST_HALF, LOST_S


class LostRange(NamedTuple):
    """Power from which on ("above") or up to which ("below") most seconds were set aside as faulty, and their share."""

    side: str
    watts: float
    seconds: int
    percent: float

    def note(self) -> Note:
        """Return what the answer does not speak of."""
        return Note(kind="range_lost", severity="answer", values={
            "side": self.side, "watts": self.watts, "seconds": self.seconds, "percent": self.percent})


def lost_ranges(pairs: Sequence[Pairs]) -> tuple[LostRange, ...]:
    """Return the ends of the range in which most of the riding was set aside as faulty.

    From the highest level downwards, and from the lowest upwards: the stretch in which faulty seconds outnumber sound
    ones by most, if it holds 30 faulty seconds and half of all of them. Chance scatters faults over the range; a
    ceiling, or a device that sees no low power, takes its end.
    """
    level, faulty = (np.concatenate(column) for column in zip(*(_levels(item) for item in pairs), strict=True))
    if not faulty.any():
        return ()
    order = np.argsort(level, kind="stable")
    found = []
    for side, way in (("above", order[::-1]), ("below", order)):
        end = int(np.cumsum(faulty[way] - LOST_HALF).argmax())
        lost = float(faulty[way[:end + 1]].sum())
        # A range is a part of what was ridden: with most of it lost there is no range that is left.
        if lost >= LOST_S and lost >= LOST_HALF * faulty.sum() and end < LOST_HALF * faulty.size:
            watts = float(np.round(level[way[end]] / BAND_STEP_W) * BAND_STEP_W)
            found.append(LostRange(side, watts, int(lost), 100 * lost / (end + 1)))
    return tuple(found)


def _levels(item: Pairs) -> tuple[FloatArray, FloatArray]:
    """Level of each second of riding, by the trace that is not at fault, and whether it was set aside as faulty."""
    faulty = ~np.isin(item.reason, ("", *NO_FAULT))
    of_reference = np.char.startswith(item.reason, "reference_")
    level = np.where(of_reference, item.device, item.reference)
    keep = (faulty | item.used) & np.isfinite(level)
    return level[keep], faulty[keep].astype(float)
