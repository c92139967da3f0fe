"""Readings as a device shows them that goes on with the last one for some seconds after pedalling ends."""

from __future__ import annotations

from agree.core.checks import FloatArray
from agree.core.data.runs import runs


def held(values: FloatArray, seconds: int) -> FloatArray:
    """A trace that goes on with its last reading for so many seconds of each run of 0; NaN where that is unknown.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.core.data.held_readings import held
    >>> held(np.array([0, 150, 160, 0, 0, 0, 140, 0, 130]), 2).tolist()
    [0.0, 150.0, 160.0, 160.0, 160.0, 0.0, 140.0, 140.0, 130.0]
    """
    made = values.astype(float)
    for start, stop in runs(made == 0):
        if start:
            made[start:min(start + seconds, stop)] = made[start - 1]
    return made
