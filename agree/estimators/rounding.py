"""Rounding of the readings as a floor of uncertainty: equal errors in whole watts are no proof of an exact mean."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import pair_weights
from agree.core.thresholds import ROUNDED_COARSELY
from agree.estimators.readings import resolution
from agree.estimators.trials.common_step import common_step

WORDS = ", at least the rounding of the readings"
FIRST = 1000  # pairs looked at before all are
# Steps, of the unit interval, of two sequences whose points fill the square evenly.
ALONG, ACROSS = (math.sqrt(5) - 1) / 2, math.sqrt(2) - 1


def rounding_of_mean(step: float, weight: FloatArray) -> float:
    """Standard error that rounding of one reading to `step` leaves in the mean of weight * reading."""
    return step * math.sqrt(float(weight @ weight) / 12) / weight.size if step else 0.0


def rounding_of_error(x: FloatArray, y: FloatArray, scale: str, session: NDArray[Any] | None) -> float:
    """Return the same for the mean error on a scale, over sessions if there are any: both readings are rounded."""
    step = resolution(x, y)
    if step == 0:
        return 0.0
    if scale == "difference" and session is None:
        return step / math.sqrt(6 * x.size)
    share = np.ones(x.size) if session is None else pair_weights(session)
    if scale == "log":
        return rounding_of_mean(step, share * np.hypot(1 / x, 1 / y))
    weight = np.ones(x.size) if scale == "difference" else 100 / np.abs(x)
    return math.sqrt(2) * rounding_of_mean(step, share * weight)


def rounding_of_line(x: FloatArray, y: FloatArray, slope: float, session: NDArray[Any] | None) -> tuple[float, float]:
    """Return the same for slope and intercept of a line: of least squares in which both readings are rounded."""
    step = resolution(x, y)
    if step == 0 or not math.isfinite(slope):
        return 0.0, 0.0
    share = np.ones(x.size) if session is None else pair_weights(session)
    mean = float(share @ x) / x.size
    along = share * (x - mean)
    squares = float(along @ (x - mean))
    if not squares > 0:
        return 0.0, 0.0
    each = step * math.hypot(1, slope) / math.sqrt(12)
    return (each * math.sqrt(float(along @ along)) / squares,
            each * math.sqrt(float(np.square(share / x.size - along * (mean / squares)).sum())))


def at_least(item: Estimate, floor: float, df: float | None = None) -> Estimate:
    """Widen an interval to the standard error `floor`; `df` where the estimate carries none."""
    half = t_quantile(item.level, item.df if df is None else df) * floor
    if not half > 0 or (item.low <= item.value - half and item.value + half <= item.high):
        return item
    error = max(floor, item.standard_error) if math.isfinite(item.standard_error) else item.standard_error
    return replace(item, low=min(item.low, item.value - half), high=max(item.high, item.value + half),
                   standard_error=error, method=item.method + WORDS)


def coarse_step(x: FloatArray, y: FloatArray, residual: FloatArray) -> float:
    """Return the step that readings are rounded to, where it exceeds half the residuals' SD; else 0."""
    size = math.frexp(max(float(np.abs(x).max()), float(np.abs(y).max())))[1]
    x, y, residual = (np.ldexp(values, -size) for values in (x, y, residual))  # exact, and no square overflows
    scatter = float(residual.std())
    step = common_step(x[:FIRST], y[:FIRST])
    if step <= ROUNDED_COARSELY * scatter or (x.size > FIRST and common_step(x, y) != step):
        return 0.0
    return math.ldexp(step, size)


def coarse_step_of_errors(x: FloatArray, y: FloatArray, error: FloatArray, scale: str) -> float:
    """Return the same on the scale of the errors, at the median level; 0 where it does not exceed half their SD."""
    level = float(np.median(np.abs(x)))
    unit = {"percent": 100 / (level or math.inf), "log": 1 / (level or math.inf)}.get(scale, 1.0)
    return unit * coarse_step(x, y, error / unit) if unit > 0 and math.isfinite(unit) else 0.0


def spread_over_step(x: FloatArray, y: FloatArray, step: float) -> tuple[FloatArray, FloatArray]:
    """Return the readings moved within the step each was rounded to, evenly, whatever the order of the pairs."""
    place = np.empty(x.size)
    place[np.lexsort((y, x))] = np.arange(1, x.size + 1)
    return (x + step * ((place * ALONG) % 1 - 0.5), y + step * ((place * ACROSS) % 1 - 0.5))
