"""The step that readings of both methods are rounded to, in whatever unit they were written."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.estimators.readings import resolution

LEAST_DISTINCT = 5  # readings: all multiples of more than their last decimal, mostly of 2, by chance in 1 of 13 tables
_CLOSE = 1e-9       # of the largest reading: what conversion of units leaves
_FINEST = 1e-5      # of the range: smaller steps are no rounding that matters
_ON = 1e-6          # of a step: how near to the grid a reading must lie


def common_step(*columns: FloatArray) -> float:
    """Return the widest step between readings of all columns; 0 where they are on no common grid.

    Instruments step by 2 mmHg, 5 ms or 0.5 % as well as by decimals, and readings in inches or °F lie on a grid that is
    none of decimals once converted. So the greatest common divisor of the distances counts, from 5 distinct readings
    on; with fewer, the last decimal.
    """
    values = np.unique(np.concatenate(columns))
    decimal = resolution(values)
    if values.size < LEAST_DISTINCT:
        return decimal
    away = values[1:] - values[0]
    finest = _FINEST * float(away[-1])
    step = _divisor(away, _CLOSE * float(np.abs(values).max()), finest)
    if step <= finest or bool((np.abs(away / step - np.round(away / step)) > _ON).any()):
        return decimal
    return max(step, decimal)


def _divisor(distances: FloatArray, close: float, finest: float) -> float:
    """Greatest common divisor of numbers that are known to within `close`, by Euclid; 0 if it is `finest` or less."""
    found = 0.0
    for distance in np.unique(np.diff(distances, prepend=0.0)).tolist():
        if 0 < found <= finest:
            return 0.0
        one, two = distance, found
        while two > close:
            rest = one % two
            one, two = two, min(rest, two - rest)
        found = one if one > close else found
    return found
