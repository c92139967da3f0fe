"""The part of the range of power in which a device was not measured: most seconds there are faulty or missing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.fault import NO_FAULT
from agree.core.data.lost_end import lost_end
from agree.core.data.pairs import Pairs
from agree.core.quantities.known import POWER
from agree.core.results.note import Note
from agree.core.thresholds import BAND_STEP_W


class LostRange(NamedTuple):
    """Power from which on ("above") or up to which ("below") most seconds were lost, their share, and how many.

    Of `seconds`, `missing` were recorded by one device only; the others were set aside as faulty.
    """

    side: str
    watts: float
    seconds: int
    percent: float
    missing: int

    def note(self) -> Note:
        """Return what the answer does not speak of."""
        return Note(kind="range_lost", severity="answer", values={
            "side": self.side, "watts": self.watts, "seconds": self.seconds, "percent": self.percent,
            "missing": self.missing})


def gaps(item: Pairs) -> NDArray[np.bool_]:
    """Return the seconds in which one device recorded work and the other recorded nothing.

    Soft turns of the cranks do not count: devices pause on their own at some watts.
    """
    known = np.where(np.isfinite(item.reference), item.reference, item.device)
    mask: NDArray[np.bool_] = (item.reason == "missing") & (np.nan_to_num(known) > POWER.working)
    return mask


def lost_ranges(pairs: Sequence[Pairs]) -> tuple[LostRange, ...]:
    """Return the ends of the range in which most of the riding was set aside as faulty or is missing in a recording.

    From the highest level downwards, and from the lowest upwards: the stretch in which lost seconds outnumber sound
    ones by most, if it holds 30 lost seconds and half of all of them. Chance scatters faults and gaps over the range;
    a ceiling, or a device that sees no low power, takes its end. Faulty and missing seconds are looked at together,
    then each alone, lest many of one kind, scattered, hide the other.
    """
    level, faulty, missing = (np.concatenate(column) for column in zip(*(levels(item) for item in pairs), strict=True))
    found = []
    for side in ("above", "below"):
        tried = (_end(side, level[keep], lost[keep], missing[keep]) for lost, keep in (
            (faulty | missing, np.ones(level.size, bool)), (faulty, ~missing), (missing, ~faulty)))
        found += [item for item in tried if item is not None][:1]
    return tuple(found)


def _end(side: str, level: FloatArray, lost: NDArray[np.bool_], missing: NDArray[np.bool_]) -> LostRange | None:
    inside = lost_end(side, level, lost)
    if inside is None:
        return None
    count = int(lost[inside].sum())
    watts = float(np.round(level[inside[-1]] / BAND_STEP_W) * BAND_STEP_W)
    return LostRange(side, watts, count, 100 * count / inside.size, int(missing[inside].sum()))


def levels(item: Pairs) -> tuple[FloatArray, NDArray[np.bool_], NDArray[np.bool_]]:
    """Level of each second of riding, by the trace that is there and not at fault; whether faulty; whether missing."""
    faulty, missing = ~item.has_reason("", *NO_FAULT), gaps(item)
    of_reference = np.char.startswith(item.reason, "reference_") | (missing & ~np.isfinite(item.reference))
    level = np.where(of_reference, item.device, item.reference)
    keep = (faulty | missing | item.used) & np.isfinite(level)
    return level[keep], faulty[keep], missing[keep]
