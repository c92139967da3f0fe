"""What readings tell about themselves: the step they are rounded to, and whether neighbours are alike."""

from __future__ import annotations

import math
import warnings

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.errors import AssumptionWarning
from agree.core.thresholds import ALIKE_P

DECIMALS = 6      # readings with more are not taken for rounded
LEAST_ALIKE = 20  # pairs below which neighbours are not compared


def resolution(*columns: FloatArray) -> float:
    """Step to which readings are rounded: the largest power of ten, from 1 down to 1e-6, that all share; 0 if none."""
    readings = np.concatenate(columns)
    for decimals in range(DECIMALS + 1):
        steps = readings * 10.0**decimals
        if np.abs(steps).max() < 2.0**52 and (np.abs(steps - np.round(steps)) <= 1e-13 * np.abs(steps)).all():
            return 10.0**-decimals
    return 0.0


def warn_of_alike(error: FloatArray, sampling: str, stacklevel: int = 3) -> None:
    """Warn if pairs called independent have neighbours that are alike: one-sided p of their correlation."""
    n = error.size
    if sampling != "independent" or n < LEAST_ALIKE:
        return
    centred = error - error.mean()
    size = float(np.abs(centred).max())
    if size <= 1e-12 * float(np.abs(error).max()):
        return
    centred = centred / size
    r = float(centred[1:] @ centred[:-1] / (centred @ centred))
    if float(special.ndtr(-(r * n + 1) / math.sqrt(n))) < ALIKE_P:  # its mean is -1/n without dependence
        warnings.warn(f"neighbouring errors are alike (r = {r:.2f}): intervals for independent pairs are too narrow; "
                      "if the pairs are in order of time, use sampling='serial', or 'sessions' with several recordings",
                      AssumptionWarning, stacklevel=stacklevel)
