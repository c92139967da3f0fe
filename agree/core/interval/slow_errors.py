"""Variance of a mean where errors may be slow: how much of it the slowest cosines cannot show is weighed in."""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import product
from typing import NamedTuple

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.bracketed_root import bracketed_root

# Set on benchmarks/slow_errors.py: errors correlated over 300 s of an hour are covered in 96 %, with 8 % more width on
# errors of 5 s than the largest mean square of the first 2 to 8 cosines had, which covered 90 %.
COEFFICIENTS = 24
TIMES = (0.01, 0.03, 0.06, 0.12, 0.25, 0.5)           # correlation times tried, in shares of the recording
SLOWER = (1.0, 2.0)                                   # and those tried before a short recording is said to hold
RATIOS = (1.0, 4.0, 16.0, 64.0, 256.0, math.inf)      # slow over even power at the lowest frequency
EVEN = 0.4                                            # probability, before the data, of no slow errors
ROUNDING = 1e-12                                      # of the coefficients: what is left of rounding alone
TINY = 1e-300
LEVEL = 0.95                                          # at which the variance gives the interval of the mixture


class Spectra(NamedTuple):
    """Spectra tried: their values at the cosines (k, count) and at 0 (k,), and the log weight of each."""

    shapes: FloatArray
    at_zero: FloatArray
    log_weight: FloatArray


@lru_cache(maxsize=32)
def _spectra(count: int, slower: bool = False) -> Spectra:
    cosine = np.arange(1, count + 1)
    shapes, at_zero = [np.ones(count)], [1.0]
    for ratio, time in product(RATIOS, TIMES + SLOWER * slower):
        slow = 1 / (1 + (np.pi * cosine * time) ** 2)
        shapes.append(slow if math.isinf(ratio) else 1 + ratio * slow)
        at_zero.append(1.0 if math.isinf(ratio) else 1 + ratio)
    prior = np.r_[EVEN, np.full(len(shapes) - 1, (1 - EVEN) / (len(shapes) - 1))]
    table = np.stack(shapes)
    return Spectra(table, np.array(at_zero), np.log(prior) - np.log(table).sum(axis=1) / 2)


def slow_variance(coefficients: FloatArray, df: int, fixed: FloatArray | None = None, *,
                  slower: bool = False) -> float:
    r"""Variance, times n, of the mean of n errors, such that t with `df` degrees of freedom gives its interval.

    The first cosine coefficients of the errors, (count,), are taken for normal with variance in proportion to the
    spectrum at their frequency, which is even or has a slow part, :math:`1 + r/(1 + (\pi j \tau)^2)`, or the slow part
    alone; r and the time tau run over a grid. Given the spectrum the mean has a t distribution with `count` degrees of
    freedom and the variance at frequency 0 extrapolated; spectra are weighed by their likelihood (the scale integrated
    out), and the half-width is that of the mixture at level 0.95.

    Parameters
    ----------
    coefficients : (count,) array
        Of the errors.
    df : int
        Degrees of freedom of the t that the variance is used with.
    fixed : (count,) array, optional
        Coefficients of a series that is as it is, such as the power ridden: what the errors have in proportion to it
        is no chance. Its factor is integrated out under each spectrum (least squares with the spectrum's weights), for
        one degree of freedom.
    slower : bool
        Try errors correlated over one and two lengths of the recording too: half as wide again on quick errors.

    References
    ----------
    The idea, after Mueller UK (2014) J Bus Econ Stat 32:311, to set the interval for errors that are slow against the
    recording too; the grid and its weights are this package's own (citation from memory).
    """
    count = coefficients.size - (fixed is not None)
    rest = coefficients if fixed is None else without(coefficients, fixed)
    size = float(np.abs(rest).max())
    if size <= ROUNDING * float(np.abs(coefficients).max()):
        return 0.0
    table = _spectra(coefficients.size, slower)
    rest = rest / size
    inverse = (1 / table.shapes).T
    squares = np.square(rest) @ inverse
    log_weight = table.log_weight
    if fixed is not None:
        along = np.square(fixed) @ inverse
        squares = np.maximum(squares - np.square((rest * fixed) @ inverse) / along, TINY)
        log_weight = log_weight - np.log(along) / 2
    log_weight = log_weight - count / 2 * np.log(squares)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    scale = np.sqrt(squares / count * table.at_zero)
    t = float(special.stdtrit(count, (1 + LEVEL) / 2))

    def missing(half: float) -> float:
        return float(weight @ special.stdtr(count, half / scale)) - (1 + LEVEL) / 2

    ends = t * float(scale.min()), t * float(scale.max())
    half = ends[1] if ends[0] == ends[1] else bracketed_root(missing, *ends, rtol=1e-12)
    return (half * size / float(special.stdtrit(df, (1 + LEVEL) / 2))) ** 2


def without(coefficients: FloatArray, fixed: FloatArray) -> FloatArray:
    """Coefficients less what of them is in proportion to those of a fixed series."""
    rest: FloatArray = coefficients - fixed * (float(fixed @ coefficients) / float(fixed @ fixed))
    return rest
