"""Seconds beside a ceiling in which power still jumps: it cuts the jump, and they tell neither error nor filter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import CEILING_JUMP_S, CEILING_STEEP


def with_edges(cut: NDArray[np.bool_], reference: FloatArray, device: FloatArray, before_s: int = 0, after_s: int = 0,
               ) -> NDArray[np.bool_]:
    """Seconds at a ceiling, and those before and after it in which either trace still jumps.

    Parameters
    ----------
    cut : (n,) array of bool
        Seconds at a ceiling of either trace.
    reference, device : (n,) array, W
        Readings as recorded; NaN where unknown.
    before_s, after_s : int
        Further seconds before and after it, s, jump or not.

    Notes
    -----
    A delay by a part of a second, or a filter, is right over a whole jump of power and errs within it: what is too much
    in one second is too little in the next. A jump cut by a ceiling has no whole, and the cut begins within a second.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.core.data.ceiling_edges import with_edges
    >>> true = np.array([150., 150, 300, 900, 900, 650, 600, 150])
    >>> with_edges(true >= 700, true, np.minimum(true, 700)).nonzero()[0].tolist()
    [1, 2, 3, 4, 5, 6, 7]
    """
    if not cut.any():
        return cut
    least = np.fmin(reference, device)[cut]
    top = float(np.nanmax(least)) if np.isfinite(least).any() else np.inf
    steep = np.zeros(cut.size, bool)
    for trace in (reference, device):
        large = np.abs(np.diff(trace)) > CEILING_STEEP * top
        steep[:-1] |= large
        steep[1:] |= large
    found = _spread(cut, before_s, after_s)
    for _ in range(CEILING_JUMP_S):
        found |= _spread(found, 1, 1) & steep
    return found


def _spread(mask: NDArray[np.bool_], before_s: int, after_s: int) -> NDArray[np.bool_]:
    """Seconds of a mask, and so many before and after each run of it."""
    count = np.r_[0, np.cumsum(mask)]
    at = np.arange(mask.size)
    near: NDArray[np.bool_] = count[np.minimum(at + before_s + 1, mask.size)] > count[np.maximum(at - after_s, 0)]
    return near
