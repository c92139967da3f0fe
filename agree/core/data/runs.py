"""Runs of True in a mask."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def runs(mask: NDArray[np.bool_], least: int = 1) -> list[tuple[int, int]]:
    """First and one-past-last index of each run of True that is at least so long."""
    change = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(np.int8)))
    start, stop = change[::2], change[1::2]
    if least > 1:
        long = stop - start >= least
        start, stop = start[long], stop[long]
    return list(zip(start.tolist(), stop.tolist(), strict=True))
