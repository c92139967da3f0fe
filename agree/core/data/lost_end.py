"""The end of a range in which a device was hardly measured: most seconds there are lost."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import LOST_HALF, LOST_S


def lost_end(side: str, level: FloatArray, lost: NDArray[np.bool_]) -> NDArray[np.intp] | None:
    """Return the places of the seconds of a lost end of the range, from the end inwards; None if it is not lost.

    From the highest level downwards ("above"), or from the lowest upwards ("below"): the stretch in which lost seconds
    outnumber the others by most, if it holds 30 lost seconds and half of all of them. Chance scatters losses over the
    range; a ceiling, or a device that sees no low level, takes its end.
    """
    if not lost.any():
        return None
    order = np.argsort(level, kind="stable")
    way = order[::-1] if side == "above" else order
    end = int(np.cumsum(lost[way] - LOST_HALF).argmax())
    inside: NDArray[np.intp] = way[:end + 1]
    count = int(lost[inside].sum())
    # A range is a part of what was recorded: with most of it lost there is no range that is left.
    if count < LOST_S or count < LOST_HALF * lost.sum() or end >= LOST_HALF * lost.size:
        return None
    return inside
