"""Far end of the interval of an outer quantile, where too few errors lie beyond it to bound it by order."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from scipy import special

from agree.core.checks import FloatArray

DRAWS, SEED = 20_000, 4099
LEAST = 8  # pairs: with fewer the largest value is next to the median
Quantile = Callable[[FloatArray], FloatArray]


def _lognormal(sigma: float) -> Quantile:
    return lambda u: np.exp(sigma * special.ndtri(u))


def _turned(quantile: Quantile) -> Quantile:
    return lambda u: -quantile(1 - u)


# Quantile functions of the shapes for which the far end is to hold; skewed ones both ways.
SHAPES: dict[str, Quantile] = {
    "uniform": lambda u: u,
    "normal": special.ndtri,
    "Laplace": lambda u: np.where(u < 0.5, np.log(2 * u), -np.log(2 - 2 * u)),
    "t, 5 df": lambda u: special.stdtrit(5, u),
    "t, 3 df": lambda u: special.stdtrit(3, u),
    "exponential": lambda u: -np.log1p(-u),
    "lognormal 0.5": _lognormal(0.5),
    "lognormal 1": _lognormal(1.0),
    "exponential, turned": _turned(lambda u: -np.log1p(-u)),
    "lognormal 1, turned": _turned(_lognormal(1.0)),
}


@lru_cache(maxsize=64)
def stretch(n: int, share: float, tail: float) -> float:
    """Least k such that max + k (max - median) of n values exceeds the quantile of `share` but for `tail`.

    The largest over SHAPES of the quantile of (q - max)/(max - median), from fixed draws of the two order statistics:
    U(n) is Beta(n, 1), and U(m) over U(n) is Beta(m, n - m).
    """
    rng = np.random.default_rng(SEED)
    middle = (n + 1) // 2
    top = rng.beta(n, 1, DRAWS)
    median = top * rng.beta(middle, n - middle, DRAWS)
    needed = 0.0
    for quantile in SHAPES.values():
        high = quantile(top)
        room = np.maximum(high - quantile(median), 1e-300)
        beyond = (float(quantile(np.array([share]))[0]) - high) / room
        needed = max(needed, float(np.quantile(beyond, 1 - tail)))
    return needed


def far_end(ordered: FloatArray, share: float, tail: float) -> float:
    """Upper end for the quantile of `share` of sorted independent values, for errors of any of the SHAPES; n >= 8."""
    n = ordered.size
    if n < LEAST:
        return math.inf
    top = float(ordered[-1])
    return top + stretch(n, share, tail) * (top - float(ordered[(n + 1) // 2 - 1]))

