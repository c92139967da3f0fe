"""What errors may depend on beside the level: one value for each pair."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError


def covariate(by: ArrayLike, reference: ArrayLike, device: ArrayLike) -> FloatArray:
    """Return the values of `by` at the pairs that hold no NaN.

    Raises
    ------
    InputError
        Another number of values than of pairs, or one that is no finite number.
    """
    keep = ~(np.isnan(checks.vector(reference, "reference")) | np.isnan(checks.vector(device, "device")))
    over = checks.vector(by, "by")
    if over.shape != keep.shape:
        raise InputError(f"`by` must have one value for each pair; got {over.size} for {keep.size} pairs", option="by")
    over = over[keep]
    if not np.isfinite(over).all():
        raise InputError(f"`by` must hold finite numbers; got {over[~np.isfinite(over)][0]:g}", option="by")
    return over
