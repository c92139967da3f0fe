"""Scales of the errors, and the way back from a scale on which an interval was made."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate

SCALES = ("difference", "percent", "log")


def errors_on_scale(reference: FloatArray, device: FloatArray, scale: str) -> FloatArray:
    """Error of each pair: difference, per cent of the reference, or log ratio."""
    checks.choice(scale, "scale", SCALES)
    if scale == "difference":
        return device - reference
    if scale == "percent":
        bad = reference == 0
        if bad.any():
            raise InputError(f"scale='percent' needs a non-zero `reference`; got {bad.sum()} zero(s), first at index "
                             f"{np.flatnonzero(bad)[0]}; set coasting aside or use scale='difference'")
        with np.errstate(over="ignore"):
            return _finite(100 * (device - reference) / reference, scale)
    bad = (reference <= 0) | (device <= 0)
    if bad.any():
        raise InputError(f"scale='log' needs positive readings; got {bad.sum()} pair(s) with zero or less, first at "
                         f"index {np.flatnonzero(bad)[0]}; set coasting aside or use scale='difference'")
    with np.errstate(over="ignore"):
        return _finite(np.log(device / reference), scale)


def _finite(error: FloatArray, scale: str) -> FloatArray:
    if not np.isfinite(error).all():
        raise InputError(f"scale='{scale}' overflows at index {np.flatnonzero(~np.isfinite(error))[0]}: the reference "
                         "is too near 0; set low readings aside")
    return error


def transformed(item: Estimate, back: Callable[[float], float]) -> Estimate:
    """Limits from a scale where the estimate is nearly normal; the standard error has no meaning on the other."""
    return replace(item, value=back(item.value), low=back(item.low), high=back(item.high), standard_error=math.nan,
                   method=item.method + ", back-transformed")


def exponential(item: Estimate) -> Estimate:
    """Back from the log scale; the standard error has no meaning there and is left out."""
    with np.errstate(over="ignore"):
        value, low, high = np.exp([item.value, item.low, item.high]).tolist()
    return replace(item, value=value, low=low, high=high, standard_error=math.nan,
                   method=item.method + ", back-transformed")
