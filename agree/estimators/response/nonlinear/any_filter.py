"""Traces answered by a filter of any kind: weights over seconds, a lag slower one way, readings held or repeated."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.held_readings import held
from agree.estimators.response.kernels import Kernel, smoothed
from agree.estimators.response.nonlinear.holding import Holding
from agree.estimators.response.nonlinear.repeating import Repeating
from agree.estimators.response.nonlinear.uneven import Uneven

AnyFilter = Kernel | Uneven | Holding | Repeating


def answered(values: FloatArray, by: AnyFilter) -> FloatArray:
    """Trace as the smoother device would show it; NaN where a second it needs is unknown or beyond the ends."""
    if isinstance(by, Holding):
        return smoothed(held(values, by.seconds), by.kernel)
    if isinstance(by, Repeating):
        return np.where(by.at >= 0, by.repeated(smoothed(values, by.kernel)), np.nan)
    if isinstance(by, Kernel):
        return smoothed(values, by)
    known = np.isfinite(values)
    if not known.any():
        return np.full(values.size, np.nan)
    at = np.arange(values.size)
    made = by.through(np.interp(at, at[known], values[known]))
    # The same seconds are unknown as with weights over seconds.
    return np.where(np.isfinite(smoothed(np.where(known, 0.0, np.nan), Kernel(by.start, by.weights))), made, np.nan)


def through(values: FloatArray, by: AnyFilter) -> FloatArray:
    """A trace without gaps, answered; the first and the last reading stand for those beyond the ends."""
    if isinstance(by, Uneven):
        return by.through(values)
    if isinstance(by, Repeating):
        return by.repeated(through(values, by.kernel))
    if isinstance(by, Holding):
        values, by = held(values, by.seconds), by.kernel
    before, after = max(by.start + by.weights.size - 1, 0), max(-by.start, 0)
    padded = np.pad(values, (before, after), mode="edge")
    whole = np.convolve(padded, by.weights)
    result: FloatArray = whole[before - by.start:before - by.start + values.size]
    return result
