"""What readings tell about themselves: the step they are rounded to, and whether neighbours are alike."""

from __future__ import annotations

import math
import warnings

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.errors import AssumptionWarning
from agree.core.thresholds import ALIKE_P, LEAST_ALIKE

FEW = 1000        # readings looked at before all are
BLOCK = 16_384    # readings looked at at once, which stay in the processor's cache
DECIMALS = 6      # readings with more are not taken for rounded
BANDS = 10        # of a level whose share in the errors is taken off, with LEAST_ALIKE pairs in each


def resolution(*columns: FloatArray) -> float:
    """Step to which readings are rounded: the largest power of ten, from 1 down to 1e-6, that all share; 0 if none."""
    def shared(readings: FloatArray, decimals: int) -> bool:
        steps = readings * 10.0**decimals if decimals else readings
        if not max(float(steps.max()), -float(steps.min())) < 2.0**52:
            return False
        off = np.rint(steps)
        off -= steps
        return not off.any() or bool((np.abs(off) <= 1e-13 * np.abs(steps)).all())

    for decimals in range(DECIMALS + 1):
        if all(shared(column[:FEW], decimals) for column in columns) and all(
                shared(column[k:k + BLOCK], decimals) for column in columns for k in range(0, column.size, BLOCK)):
            return 10.0**-decimals
    return 0.0


def _without_level(error: FloatArray, along: FloatArray) -> FloatArray:
    """Errors less their means in bands of `along` with like numbers: errors of like levels are alike for that alone."""
    place = np.empty(along.size, np.intp)
    place[np.argsort(along)] = np.arange(along.size)
    band = place * min(BANDS, along.size // LEAST_ALIKE) // along.size
    result: FloatArray = error - (np.bincount(band, weights=error) / np.bincount(band))[band]
    return result


def neighbours_alike(error: FloatArray) -> float | None:
    """Correlation of each error with the next one, if it is more than chance brings; else None."""
    n, centred = error.size, error - error.mean()
    size = float(np.abs(centred).max())
    if n < LEAST_ALIKE or size <= 1e-12 * float(np.abs(error).max()):
        return None
    centred = centred / size
    r = float(centred[1:] @ centred[:-1] / (centred @ centred))
    # Its mean is -1/n without dependence.
    return r if float(special.ndtr(-(r * n + 1) / math.sqrt(n))) < ALIKE_P else None


def warn_of_alike(error: FloatArray, sampling: str, stacklevel: int = 3, along: FloatArray | None = None) -> None:
    """Warn if pairs called independent have neighbours that are alike: one-sided p of their correlation.

    `along` is what the error may depend on, such as the level: its share is taken off first, and pairs sorted by it are
    in no order of time.
    """
    if sampling != "independent" or error.size < LEAST_ALIKE:
        return
    if along is not None:
        steps = np.diff(along)
        if (steps >= 0).all() or (steps <= 0).all():
            return
        error = _without_level(error, along)
    r = neighbours_alike(error)
    if r is not None:
        warnings.warn(f"neighbouring errors are alike (r = {r:.2f}): intervals for independent pairs are too narrow; "
                      "if the pairs are in order of time, use sampling='serial', or 'sessions' with several recordings",
                      AssumptionWarning, stacklevel=stacklevel)
