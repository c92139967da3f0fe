"""Centred moving sums that keep the length of the series, however short it is."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from agree.core.checks import FloatArray


def moving_sum(values: ArrayLike, width: int) -> FloatArray:
    """Return the sum over `width` values around each of (n,) values; beyond the ends nothing is added.

    `np.convolve(..., "same")` returns as many as the longer of the two, which is not the series where it is shorter.

    Examples
    --------
    >>> from agree.quantities.moving_sum import moving_sum
    >>> moving_sum([1, 2, 3], 3).tolist(), moving_sum([1, 2], 5).tolist()
    ([3.0, 6.0, 5.0], [3.0, 3.0])
    """
    array = np.asarray(values, dtype=np.float64)
    first = (width - 1) // 2
    result: FloatArray = np.convolve(array, np.ones(width))[first:first + array.size]
    return result
