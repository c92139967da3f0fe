"""Far end of the interval of an outer quantile, where too few errors lie beyond it to bound it by order."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.estimators.limits.ordered import Ordered

DRAWS, SEED = 20_000, 4099
FAR = "; far end for shapes up to exponential and t, 3 df"
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
# Those among which skewness and tails are no more than those of exponential and t (3 df) errors; turned ones need less.


COMMON = ("uniform", "normal", "Laplace", "t, 3 df", "exponential", "lognormal 0.5")


class Far(NamedTuple):
    """For which of SHAPES a far end is to hold, and of how many of the largest values the mean is taken."""

    shapes: tuple[str, ...]
    largest: int


# Of 1 to 8 largest values the mean of 3 brought normal errors the nearest end at 20 to 145 pairs (within 2 %).
USUAL_TAILS, COMMON_TAILS = Far(tuple(SHAPES), 1), Far(COMMON, 3)


@lru_cache(maxsize=64)
def stretch(n: int, share: float, tail: float, far: Far = USUAL_TAILS) -> float:
    """Least k such that median + k (top - median) of n values exceeds the quantile of `share` but for `tail`.

    Top is the mean of the largest values. k is the largest over the shapes of the quantile of (q - median)/(top -
    median), from fixed draws of the order statistics: U(n) is Beta(n, 1), U(n - 1) over U(n) is Beta(n - 1, 1), and so
    on; U(m) over the least of those, U(n - j), is Beta(m, n - j - m).
    """
    rng = np.random.default_rng(SEED)
    middle = (n + 1) // 2
    tops = [rng.beta(n, 1, DRAWS)]
    for k in range(1, far.largest):
        tops.append(tops[-1] * rng.beta(n - k, 1, DRAWS))
    median = tops[-1] * rng.beta(middle, n - far.largest + 1 - middle, DRAWS)
    needed = 0.0
    for quantile in (SHAPES[name] for name in far.shapes):
        centre = quantile(median)
        room = np.maximum(sum(quantile(top) for top in tops) / far.largest - centre, 1e-300)
        beyond = (float(quantile(np.array([share]))[0]) - centre) / room
        needed = max(needed, float(np.quantile(beyond, 1 - tail)))
    return needed


def far_end(ordered: FloatArray, share: float, tail: float, far: Far = USUAL_TAILS, step: float = 0.0) -> float:
    """Upper end for the quantile of `share` of sorted independent values, for errors of any shape of `far`; n >= 8.

    It is never short of the largest value: one far from the others says of itself that such values are met, and in the
    mean of the largest ones it fades. Of values rounded to a `step` that is coarse beside their scatter it lies a step
    beyond the largest: most are equal, and the next one up may be as frequent as the quantile asks without being met.
    """
    n = ordered.size
    if n < LEAST:
        return math.inf
    centre, top = float(ordered[(n + 1) // 2 - 1]), ordered[-far.largest:]
    return max(centre + stretch(n, share, tail, far) * float((top - centre).mean()), float(ordered[-1]) + step)


def ends(errors: Ordered, share: float, effective: float, tail: float, far: Far | None,
         step: float = 0.0) -> tuple[float, float, bool]:
    """Interval of the quantile of `share`: order statistics, and where there is none a far end, which is then told."""
    low, high = errors.low(share, effective, tail), errors.high(share, effective, tail)
    reached = far is not None and (math.isinf(low) or math.isinf(high))
    if far is not None and math.isinf(low):
        low = -far_end(-errors.values[::-1], 1 - share, tail, far, step)
    if far is not None and math.isinf(high):
        high = far_end(errors.values, share, tail, far, step)
    return low, high, reached


def limit_by_order(errors: Ordered, value: float, share: float, level: float, step: float) -> Estimate:
    """Limit of agreement `value` of independent errors with the interval of their quantile of `share`."""
    low, high, reached = ends(errors, share, float(errors.values.size), (1 - level) / 2, COMMON_TAILS, step)
    return Estimate(value=value, low=min(low, value), high=max(high, value), level=level,
                    method="order statistics, binomial" + (FAR if reached else ""))
