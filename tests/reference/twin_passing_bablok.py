"""Passing & Bablok's line as the 1983 paper tells it: list all slopes, sort them, count.

Slow (all pairs) and obvious; shares no code with the package.
"""

import math

import numpy as np
from scipy.stats import norm


def all_slopes(x, y):
    """Slopes of all pairs, ascending, without those of -1 and of identical readings.

    A vertical pair counts +infinity: at the end of the shifted order it makes no difference from -infinity.
    """
    rows = []
    for i in range(len(x) - 1):
        dx, dy = x[i + 1:] - x[i], y[i + 1:] - y[i]
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = dy / dx
        slope[(dx == 0) & (dy != 0)] = math.inf
        rows.append(slope[((dx != 0) | (dy != 0)) & (slope != -1)])
    return np.sort(np.concatenate(rows))


def line(x, y, level=0.95):
    """Slope, its limits, intercept, its limits, number of slopes; limits infinite where unbounded."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    slopes = all_slopes(x, y)
    n, total = len(x), len(slopes)
    shift = int((slopes < -1).sum())

    def ranked(k):  # 1-based rank in the order that starts just above -1
        return float(slopes[(k - 1 + shift) % total])

    if total % 2:
        slope = ranked((total + 1) // 2)
    else:
        low, high = ranked(total // 2), ranked(total // 2 + 1)
        slope = low if low == high else (low + high) / 2
    c = norm.ppf((1 + level) / 2) * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    m1 = round((total - c) / 2)
    low, high = (ranked(m1), ranked(total - m1 + 1)) if m1 >= 1 else (-math.inf, math.inf)
    if low > high:
        low, high = -math.inf, math.inf

    def intercept(b):
        return float(np.median(y - b * x)) if math.isfinite(b) else -b

    return slope, low, high, intercept(slope), intercept(high), intercept(low), total
