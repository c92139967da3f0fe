"""Usual changes of two traces, of which one may repeat its reading for some seconds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.estimators.response.own_readings import every_s


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
