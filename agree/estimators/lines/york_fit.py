"""Numbers behind York's line: fit, influences, and limits by inverting the test of its equations."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import ConvergenceError, InputError
from agree.core.interval.engine import spread, t_quantile
from agree.core.interval.estimate import Estimate

MAX_ROUNDS = 500
TOLERANCE = 1e-15
STEPS, HALVINGS = 14, 40  # outward by half as much again each time, then halving


class Stated(NamedTuple):
    """Readings and their variances, all divided by units that keep squares in range."""

    x: FloatArray
    y: FloatArray
    vx: FloatArray
    vy: FloatArray
    vxy: FloatArray

    def weights(self, b: float) -> FloatArray:
        """One over the variance of device - b * reference."""
        result: FloatArray = 1 / (self.vy - 2 * b * self.vxy + b * b * self.vx)
        return result


class Fit(NamedTuple):
    """Coefficients, weights, residuals and adjusted references."""

    slope: float
    intercept: float
    w: FloatArray
    residual: FloatArray
    adjusted: FloatArray


def at_slope(data: Stated, b: float) -> Fit:
    """Best intercept at slope b; adjusted reference x + w e (b vx - vxy), the point of least distance on the line."""
    w = data.weights(b)
    mx, my = float(w @ data.x / w.sum()), float(w @ data.y / w.sum())
    residual = (data.y - my) - b * (data.x - mx)
    adjusted = data.x + w * residual * (b * data.vx - data.vxy)
    return Fit(b, my - b * mx, w, residual, adjusted)


def solve(data: Stated) -> Fit:
    """Iterate b = sum w u (y - ybar) / sum w u (x - xbar), u the adjusted reference about its mean (York 2004)."""
    x, y = data.x - data.x.mean(), data.y - data.y.mean()
    if not abs(x @ y) > 1e-14 * math.sqrt(x @ x) * math.sqrt(y @ y):
        raise InputError("no line: `reference` and `device` do not vary together (covariance 0); "
                         "record a wider range of power")
    b = float(x @ y / (x @ x))
    step = math.inf
    for _ in range(MAX_ROUNDS):
        w = data.weights(b)
        dx, dy = data.x - w @ data.x / w.sum(), data.y - w @ data.y / w.sum()
        u = dx + w * (dy - b * dx) * (b * data.vx - data.vxy)
        below = float((w * u) @ dx)
        new = float((w * u) @ dy) / below if below != 0 else math.inf
        last, step = step, abs(new - b)
        b = new
        # Settled, or as near as rounding lets it come.
        if step <= TOLERANCE * abs(b) or (step <= 1e-12 * abs(b) and step >= last):
            return at_slope(data, b)
        if not math.isfinite(b):
            break
    raise ConvergenceError(f"no line: the slope did not settle in {MAX_ROUNDS} rounds (last step {step:.1e}); the "
                           "stated uncertainties are as large as the range of power: check them or record a wider "
                           "range")


def influences(data: Stated, fit: Fit) -> FloatArray:
    """(2, n) influence of each pair on slope and intercept: scores over the mean curvature of half the chi-square."""
    b, w, e = fit.slope, fit.w, fit.residual
    middle = float(w @ data.x / w.sum())
    slant = data.x - middle + 2 * w * e * (b * data.vx - data.vxy)
    a_a, a_b = float(w.mean()), float((w * slant).mean())
    b_b = float((w * slant**2 - w**2 * data.vx * e**2).mean())
    scores = np.stack((w * e, w * e * (fit.adjusted - middle)))
    if not a_a * b_b > a_b * a_b:
        raise ConvergenceError("no line: the chi-square has no minimum at the slope found; the stated uncertainties "
                               "are as large as the range of power: check them or record a wider range")
    at_middle, slope = np.linalg.solve(np.array([[a_a, a_b], [a_b, b_b]]), scores)
    return np.stack((slope, at_middle - middle * slope))


def _curvatures(data: Stated, b: float, w: FloatArray, e: FloatArray) -> tuple[float, float, float]:
    """Second derivatives of half the chi-square, per pair: by intercept, by both, by slope."""
    slant = data.x + 2 * w * e * (b * data.vx - data.vxy)
    return float(w.mean()), float((w * slant).mean()), float((w * slant**2 - w**2 * data.vx * e**2).mean())


def slope_scores(data: Stated, b: float) -> FloatArray:
    """Summands of the slope's equation at b and the intercept best for it, that intercept's error taken out."""
    fit = at_slope(data, b)
    a_a, a_b, _ = _curvatures(data, b, fit.w, fit.residual)
    result: FloatArray = fit.w * fit.residual * (fit.adjusted - a_b / a_a)
    return result


def intercept_scores(data: Stated, a: float, b: float) -> FloatArray:
    """Summands of the intercept's equation at a and the slope best for it, that slope's error taken out.

    The slope is found by Newton's steps from b; NaN where they lead to none.
    """
    for _ in range(50):
        w, e = data.weights(b), data.y - a - b * data.x
        scores = w * e * (data.x + w * e * (b * data.vx - data.vxy))
        _, a_b, b_b = _curvatures(data, b, w, e)
        if not b_b > 0:
            break
        step = float(scores.mean()) / b_b
        if abs(step) <= 1e-12 * abs(b):
            result: FloatArray = w * e - a_b / b_b * scores
            return result
        b += step
    return np.full(data.x.size, math.nan)


def inverted(item: Estimate, scores: Callable[[float], FloatArray], sampling: str, labels: Any) -> tuple[float, float]:
    """Nearest values on either side that a t test of the scores' mean rejects; infinite if it rejects none tried."""
    t = t_quantile(item.level, item.df)

    def rejected(value: float) -> bool:
        series = scores(value)
        found = spread(series, sampling, labels)
        mean = found.shift if sampling == "sessions" else float(series.mean())
        return bool(abs(mean) > t * found.standard_error)

    ends = []
    for side in (-1, 1):
        inner, outer = 0.0, 0.5 * side * t * item.standard_error
        for _ in range(STEPS):
            if outer == 0 or rejected(item.value + outer):
                break
            inner, outer = outer, 1.5 * outer
        else:
            ends.append(side * math.inf)
            continue
        for _ in range(HALVINGS):
            middle = (inner + outer) / 2
            inner, outer = (inner, middle) if rejected(item.value + middle) else (middle, outer)
        ends.append(item.value + outer)
    return ends[0], ends[1]
