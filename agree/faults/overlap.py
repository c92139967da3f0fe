"""The device laid over the reference's seconds: what pairing hands to the search for faults."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray


class Overlap(NamedTuple):
    """The device on the reference's grid.

    `place` is the second of the reference, `nearest` and `other` the native seconds of the device it lies
    between, `share` (0 to 0.5) what it covers of the other, and `device` the reading there.
    """

    place: NDArray[np.int64]
    nearest: NDArray[np.int64]
    other: NDArray[np.int64]
    share: FloatArray
    device: FloatArray


def mix(nearest: FloatArray, other: FloatArray, share: FloatArray) -> FloatArray:
    """Mean of two seconds, the other one weighted by `share`; where that is 0, a NaN in the other is no matter."""
    mixed: FloatArray = np.where(share > 0, (1 - share) * nearest + share * other, nearest)
    return mixed
