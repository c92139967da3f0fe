"""Traces that repeat their reading: they are a reading every n seconds, sent once a second."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import REPEAT_LEAST, REPEAT_LONGEST_S, REPEAT_SHARE


def every_s(y: FloatArray) -> int:
    """Seconds from one reading of a trace to the next one; 1 if it does not repeat them.

    Parameters
    ----------
    y : (n,) array, W
        Readings on a grid of seconds, NaN where unknown.

    Returns
    -------
    int
        The largest n, up to 10, such that 80 % of the times from one change to the next, within unbroken work, are
        multiples of n seconds. There must be 30 of them.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.faults.repeated import every_s
    >>> x = np.random.default_rng(1).normal(200, 20, 300)
    >>> every_s(x), every_s(np.repeat(x[:100], 3))
    (1, 3)
    """
    works = np.nan_to_num(y) != 0
    # Whether the reading differs from that of the second before, both amid work; and the idle seconds up to each.
    at = np.flatnonzero((y[1:] != y[:-1]) & works[1:] & works[:-1])
    idle = np.cumsum(~works)[1:]
    apart = np.diff(at)[idle[at[1:]] == idle[at[:-1]]]
    if apart.size < REPEAT_LEAST:
        return 1
    return next((n for n in range(REPEAT_LONGEST_S, 1, -1) if (apart % n == 0).mean() >= REPEAT_SHARE), 1)


def usual_changes(reference: FloatArray, device: FloatArray, works: NDArray[np.bool_]) -> tuple[float, float]:
    """Usual change of each trace amid work, W, over the seconds for which the slower of the two repeats a reading.

    From second to second a trace that repeats its reading would seem smooth. Both are 0 where nothing is known.
    """
    n = max(every_s(reference), every_s(device))
    at = works[n:] & works[:-n]
    usual = []
    for y in (reference, device):
        change = np.abs(y[n:] - y[:-n])[at]
        change = change[np.isfinite(change)]
        usual.append(float(np.median(change)) if change.size else 0.0)
    return usual[0], usual[1]
