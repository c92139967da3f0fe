"""Variance components of repeated pairs, by three methods: their sum is the variance of a single difference."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from agree.core.checks import FloatArray
from agree.estimators.components import OneWay, Part, one_way, total_parts


class Core(NamedTuple):
    """Bias and its influences by subject (mean 0), and the parts whose sum is the variance of a single difference."""

    bias: float
    influence: FloatArray
    parts: tuple[Part, ...]
    between: float
    within: float


def _by_subject(weights: FloatArray, a: OneWay) -> tuple[float, FloatArray]:
    """Weighted mean of the subjects' mean differences, and the influence of each subject."""
    share = weights / weights.sum()
    bias = float(share @ a.means)
    return bias, share * weights.size * (a.means - bias)


def moments(d: OneWay, x: OneWay, y: OneWay, true_value: str) -> Core:
    """Components by mean squares: 2007 (varying) and 1999, sections 5.2 and 5.3 (constant)."""
    if true_value == "varying":
        bias, influence = _by_subject(d.sizes, d)  # over all pairs, as published
        varying = Part(1 / d.size, d.between, d.df_between), Part(1 - 1 / d.size, d.within, d.df_within)
        return Core(bias, influence, varying, d.between_variance, d.within)
    bias, influence = _by_subject(np.ones(d.sizes.size), d)
    away = 1 - 1 / d.harmonic
    parts = (Part(1.0, d.of_means, d.df_between), *(Part(away, a.within, a.df_within) for a in (x, y)))
    noise = x.within + y.within
    return Core(bias, influence, parts, max(0.0, d.of_means - noise / d.harmonic), noise)


def reml(sizes: FloatArray, means: FloatArray, within: float, more: int) -> tuple[float, float]:
    r"""Variance within and between groups by restricted maximum likelihood, from one dimension.

    With :math:`\lambda` = between/within and :math:`w_i = m_i/(1 + \lambda m_i)`, the restricted log likelihood is, but
    for a constant, :math:`-(N \log R + \sum \log(1 + \lambda m_i) + \log \sum w_i)/2` with
    :math:`R = Q + \sum w_i (d_i - \bar d_w)^2`, Q the sum of squares within and N the number of contrasts.

    Parameters
    ----------
    sizes, means : (g,) arrays
        Numbers and means of the groups.
    within : float
        Sum of squares within groups, and of further contrasts that have the variance within.
    more : int
        Degrees of freedom of `within`.

    References
    ----------
    Patterson HD, Thompson R (1971) Biometrika 58:545; Searle, Casella & McCulloch (1992) (citations from memory).
    """
    count = more + sizes.size - 1

    def squares(ratio: float) -> tuple[float, FloatArray]:
        weight = sizes / (1 + ratio * sizes)
        away = means - weight @ means / weight.sum()
        return within + float(weight @ (away * away)), weight

    def loss(log_ratio: float) -> float:
        ratio = math.exp(log_ratio)
        total, weight = squares(ratio)
        return count * math.log(total) + float(np.log1p(ratio * sizes).sum()) + math.log(float(weight.sum()))

    grid = np.linspace(-14.0, 14.0, 57)
    best = grid[int(np.argmin([loss(v) for v in grid]))]
    found = optimize.minimize_scalar(loss, bounds=(best - 0.5, best + 0.5), method="bounded", options={"xatol": 1e-9})
    none = count * math.log(squares(0.0)[0]) + math.log(float(sizes.sum()))
    ratio = 0.0 if none <= float(found.fun) else math.exp(float(found.x))
    scale = squares(ratio)[0] / count
    return scale, ratio * scale


def unweighted(d: OneWay, x: OneWay, y: OneWay, true_value: str) -> Core:
    """Components from the unweighted means of subjects, which count alike; by moments if numbers are equal."""
    if true_value == "constant":
        return moments(d, x, y, true_value)
    bias, influence = _by_subject(np.ones(d.sizes.size), d)
    between = max(0.0, d.of_means - d.within / d.harmonic)
    return Core(bias, influence, total_parts(d), between, d.within)


def mixed(x: FloatArray, y: FloatArray, subject: NDArray[np.intp], d: OneWay, true_value: str) -> Core:
    """Components by a mixed model of the differences; a constant true value adds what the sums tell of the scatter.

    With equal scatter the sum and the difference of a pair have the same variance within a subject and are
    independent; of a subject's m sums only the m - 1 contrasts that are free of its level are told to the model.
    """
    squares, df = d.within * d.df_within, d.df_within
    if true_value == "constant":
        # Sums about their subject's mean have the variance within of the differences.
        squares, df = squares + one_way(x + y, subject).within * df, 2 * df
    within, between = reml(d.sizes, d.means - d.mean, squares, df)
    bias, influence = _by_subject(1 / (between + within / d.sizes), d)
    parts = Part(1.0, between + within / d.harmonic, d.df_between), Part(1 - 1 / d.harmonic, within, df)
    return Core(bias, influence, parts, between, within)
