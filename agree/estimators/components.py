"""One-way variance components of unequal groups, and intervals of sums of mean squares."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray


class OneWay(NamedTuple):
    """One-way analysis of variance; squares are in squared units of the values (scale these first).

    sizes, means : (g,) arrays, by group in the order of its number. `within`, `between` : mean squares with n - g
    and g - 1 degrees of freedom; `within` is NaN without repeats. `of_means` : variance of the unweighted group
    means. `size` : (n - sum n_i^2/n)/(g - 1), the group size in the expectation of `between`. `harmonic` : harmonic
    mean of the sizes, its likeness for `of_means`.
    """

    sizes: FloatArray
    means: FloatArray
    mean: float
    within: float
    between: float
    of_means: float
    df_within: int
    df_between: int
    size: float
    harmonic: float

    @property
    def between_variance(self) -> float:
        """Variance between groups by the method of moments, not below 0."""
        return max(0.0, (self.between - self.within) / self.size)


class Part(NamedTuple):
    """One term of a sum: coefficient, mean square, degrees of freedom."""

    coefficient: float
    square: float
    df: float


def one_way(values: FloatArray, group: NDArray[Any]) -> OneWay:
    """Analyse (n,) values of at least 2 groups, `group` their labels.

    References
    ----------
    Searle SR, Casella G, McCulloch CE (1992) Variance Components, section 3.6 (citation from memory).
    """
    index = np.unique(group, return_inverse=True)[1]
    n, centre = values.size, float(values.mean())
    sizes = np.bincount(index).astype(float)
    count = sizes.size
    centred = values - centre
    means = np.bincount(index, weights=centred) / sizes
    residual = centred - means[index]
    # Second pass: what rounding left in the means is taken out, so that certified figures hold.
    shift = np.bincount(index, weights=residual) / sizes
    means, residual = means + shift, residual - shift[index]
    grand = float(sizes @ means) / n
    within = float(residual @ residual) / (n - count) if n > count else math.nan
    spread = means - means.mean()
    return OneWay(sizes=sizes, means=means + centre, mean=grand + centre, within=within,
                  between=float(sizes @ np.square(means - grand)) / (count - 1),
                  of_means=float(spread @ spread) / (count - 1), df_within=n - count, df_between=count - 1,
                  size=float(n - sizes @ sizes / n) / (count - 1), harmonic=count / float((1 / sizes).sum()))


def square_limits(square: float, df: float, level: float) -> tuple[float, float]:
    """Chi-square limits of the expectation of a mean square of normal readings."""
    tail = (1 - level) / 2
    return square * df / float(special.chdtri(df, tail)), square * df / float(special.chdtri(df, 1 - tail))


def combined(parts: Sequence[tuple[float, float, float]]) -> tuple[float, float, float]:
    r"""Value and limits of a sum of independent estimates, each with its value and its own limits.

    Each limit lies as far from the sum as the root sum of squares of the parts' own distances (squares and adding;
    "method of variance estimates recovery"): with estimates e_i and limits l_i, u_i

    .. math:: L = \sum e_i - \sqrt{\sum (e_i - l_i)^2} .

    References
    ----------
    Newcombe RG (1998) Stat Med 17:873, method 10; Zou GY, Donner A (2008) Stat Med 27:1693 (citations from memory).
    """
    value, down, up = 0.0, 0.0, 0.0
    for own, low, high in parts:
        value, down, up = value + own, math.hypot(down, own - low), math.hypot(up, high - own)
    return value, value - down, value + up


def mover(parts: Sequence[Part], level: float) -> tuple[float, float, float]:
    r"""Value and limits of a sum of independent mean squares, sum c_i S_i, as `combined` (modified large sample).

    The limits of a part are the chi-square ones of its mean square; for a negative c_i the two change places.

    References
    ----------
    Graybill FA, Wang CM (1980) JASA 75:869; Zou GY (2013) Stat Methods Med Res 22:630 (citations from memory).
    """
    def own(part: Part) -> tuple[float, float, float]:
        low, high = sorted(part.coefficient * limit for limit in square_limits(part.square, part.df, level))
        return part.coefficient * part.square, low, high

    return combined([own(part) for part in parts])


def total_parts(a: OneWay) -> tuple[Part, Part]:
    """Parts of the total variance, between + within, from the unweighted group means.

    Exact for equal groups; for unequal ones the unweighted means keep `of_means` nearly chi-square (Thomas JD,
    Hultquist RA (1978) Ann Stat 6:582, citation from memory).
    """
    return Part(1.0, a.of_means, a.df_between), Part(1 - 1 / a.harmonic, a.within, a.df_within)


def between_parts(a: OneWay) -> tuple[Part, Part]:
    """Parts of the variance between groups, from the unweighted group means."""
    return Part(1.0, a.of_means, a.df_between), Part(-1 / a.harmonic, a.within, a.df_within)
