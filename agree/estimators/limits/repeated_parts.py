"""Variance components of repeated pairs, by three methods: their sum is the variance of a single difference."""

from __future__ import annotations

import math
import warnings
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.errors import ConvergenceError
from agree.estimators.components import OneWay, Part, total_parts


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


def _fit(response: FloatArray, design: FloatArray, subject: NDArray[np.intp],
         random: FloatArray) -> tuple[float, float]:
    """Residual variance, and variance between subjects of the rows marked `random`, by REML."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    because = "did not settle"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a variance at its boundary, 0, is an answer
        for optimiser in ("bfgs", "powell"):  # the second needs no slope, which can be singular on the way
            try:
                fit = MixedLM(response, design, groups=subject, exog_re=random[:, None]).fit(method=[optimiser])
            except (np.linalg.LinAlgError, ValueError) as exc:
                because = f"failed: {exc}"
                continue
            if fit.converged:
                return float(fit.scale), float(fit.cov_re[0, 0])
    raise ConvergenceError(f"method='mixed' {because}; use method='unweighted'")


def _contrasts(values: FloatArray) -> FloatArray:
    """Helmert's m - 1 contrasts of m values: uncorrelated, and of the same variance."""
    k = np.arange(1.0, values.size)
    result: FloatArray = (np.cumsum(values)[:-1] - k * values[1:]) / np.sqrt(k * (k + 1))
    return result


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
    n = x.size
    unit = math.sqrt(d.within + d.between)  # the optimiser wants variances near 1
    x, y = x / unit, (y - d.mean) / unit
    response, design, random, df = y - x, np.ones((n, 1)), np.ones(n), d.df_within
    if true_value == "constant":
        sums = [(x + y)[subject == s] for s in range(d.sizes.size)]
        response = np.concatenate([response, *map(_contrasts, sums)])
        random = np.repeat([1.0, 0.0], [n, response.size - n])
        subject = np.concatenate((subject, np.repeat(np.arange(len(sums)), [v.size - 1 for v in sums])))
        design, df = random[:, None], 2 * df
    within, between = (unit**2 * variance for variance in _fit(response, design, subject, random))
    bias, influence = _by_subject(1 / (between + within / d.sizes), d)
    parts = Part(1.0, between + within / d.harmonic, d.df_between), Part(1 - 1 / d.harmonic, within, df)
    return Core(bias, influence, parts, between, within)
