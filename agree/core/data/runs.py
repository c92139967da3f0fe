"""Runs of True in a mask."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one-past-last index of each run of True."""
    change = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(np.int8)))
    return list(zip(change[::2].tolist(), change[1::2].tolist(), strict=True))
