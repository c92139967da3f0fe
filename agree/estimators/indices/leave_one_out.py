"""Correlations over few sessions or subjects: intervals from leaving each of them out."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import numbered

SMALL = 1e-12  # of a variance: rounding
Measure = Callable[[FloatArray], FloatArray]  # means of the columns, (..., k), to Fisher's z


def session_means(columns: tuple[FloatArray, ...], session: NDArray[Any]) -> FloatArray:
    """Mean of each column in each session, (sessions, k)."""
    index, sizes = numbered(session)
    result: FloatArray = np.stack([np.bincount(index, weights=column) / sizes for column in columns], axis=1)
    return result


def _half_log(high: FloatArray, low: FloatArray) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        result: FloatArray = np.log(high / low) / 2
    return result


def agreement(means: FloatArray) -> FloatArray:
    """Fisher's z of the concordance from the means of s, s^2, e and e^2: s the sum of both readings, e the error.

    (P - Q)/(P + Q) with P = var(s) + mean(e)^2 and Q = mean(e^2).
    """
    s, s2, e, e2 = np.moveaxis(means, -1, 0)
    return _half_log(s2 - s**2 + e**2, e2)


def correlation(means: FloatArray) -> FloatArray:
    """Fisher's z of the correlation from the means of u, w, u^2, w^2 and u w: u and w sum and difference of scores.

    With V and C their variances and covariance, D^2 = (Vu + Vw)^2 - 4 C^2: (D + Vu - Vw)/(D - Vu + Vw), each without a
    difference of nearly equal sums. NaN where a score does not vary.
    """
    u, w, u2, w2, uw = np.moveaxis(means, -1, 0)
    vu, vw, c = u2 - u**2, w2 - w**2, uw - u * w
    varies = vu + vw - 2 * np.abs(c) > SMALL * (vu + vw)  # four times the smaller variance of the scores
    d = np.sqrt(np.where(varies, (vu + vw) ** 2 - 4 * c**2, np.nan))
    near, far = (2 * vu * vw + (v**2 - 4 * c**2) for v in (vw, vu))
    with np.errstate(divide="ignore", invalid="ignore"):
        low, high = vw + near / (d + vu), vu + far / (d + vw)
    return _half_log(high, low)


def without_each(item: Estimate, means: FloatArray, measure: Measure) -> Estimate:
    r"""Return the correlation `item` with the interval that comes of leaving each of S sessions out.

    With z(-k) Fisher's z without session k and m their mean, the interval is

    .. math:: S z - (S - 1) m \mp t_\nu \sqrt{\tfrac{S - 1}{S} \sum (z_{(-k)} - m)^2},

    stretched to z if need be; the degrees of freedom are S - 2, or fewer (not below 1.5, or 1 of 3 sessions) where few
    of the z(-k) make up most of the sum: 2 S/(kurtosis - 1). Two sessions bound nothing, nor do those without one of
    which a column does not vary. Readings that agree, or oppose, in every digit keep their interval.

    References
    ----------
    Efron B (1982) The Jackknife, the Bootstrap and Other Resampling Plans, chapters 2 and 3 (from memory). Degrees of
    freedom: this package's own, measured in benchmarks/repeated_measures.py.
    """
    if abs(item.value) == 1:
        return item
    count = means.shape[0]
    full = float(measure(means.mean(axis=0)))
    left = measure((means.sum(axis=0) - means) / max(count - 1, 1))
    if not (math.isfinite(full) and np.isfinite(left).all() and count > 2):
        return Estimate(value=item.value, low=-1.0, high=1.0, level=item.level, df=item.df,
                        method="too few sessions to bound a correlation")
    centre = float(left.mean())
    square = np.square(left - centre)
    error = math.sqrt((count - 1) / count * float(square.sum()))
    kurtosis = count * float(square @ square) / max(float(square.sum()) ** 2, 1e-300)
    df = max(min(2 * count / max(kurtosis - 1, 0.2), count - 2.0), 1.5 if count > 3 else 1.0)
    middle, half = count * full - (count - 1) * centre, t_quantile(item.level, df) * error
    return Estimate(value=item.value, low=min(math.tanh(middle - half), item.value),
                    high=max(math.tanh(middle + half), item.value), level=item.level, df=df,
                    method=f"jackknife over {count} sessions, t, {df:.1f} df, Fisher's z")
