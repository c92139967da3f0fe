"""Numbers behind the splitting of errors: summands of variances, their intervals, relative scales."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations
from typing import Any, NamedTuple

import numpy as np

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.interval.engine import METHODS, covariance, spread, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import mean_over
from agree.estimators.fieller import fieller
from agree.estimators.scales import SCALES

ROUNDING = 8 * np.finfo(float).eps


def on_scale(readings: FloatArray, names: Sequence[str], scale: str) -> FloatArray:
    """Return readings (k, n) whose differences are the errors: as given, in per cent of the mean of all, or logs."""
    checks.choice(scale, "scale", SCALES)
    if scale == "difference":
        return readings
    if scale == "log":
        for name, column in zip(names, readings, strict=True):
            if (column <= 0).any():
                raise InputError(f"scale='log' needs positive readings; `{name}` holds {(column <= 0).sum()} of zero "
                                 f"or less, first at index {np.flatnonzero(column <= 0)[0]}; set coasting aside or use "
                                 "scale='difference'")
        logs: FloatArray = np.log(readings)
        return logs
    level = readings.mean(axis=0)
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        shares: FloatArray = 100 * (readings / level)
    bad = ~np.isfinite(shares).all(axis=0)
    if bad.any():
        raise InputError(f"scale='percent' needs a mean of the devices that is not 0; got {bad.sum()} of 0, first at "
                         f"index {np.flatnonzero(bad)[0]}; set coasting aside or use scale='difference'")
    return shares


def products(values: FloatArray, session: Any = None) -> tuple[FloatArray, float, list[tuple[int, int]]]:
    """Summands (k, n) of the error variances in units of `unit`^2, `unit`, and the devices that differ by a constant.

    For each device the mean, over all two others, of the product of its centred differences from them. Differences of
    rounding size count as none. With `session` labels sessions have equal weight in the means taken off.
    """
    mean = mean_over(session)
    k, n = values.shape
    size = np.abs(values).max(initial=0.0)
    total, squares = np.zeros((k, n)), np.zeros((k, n))
    gaps = {}
    for i, j in combinations(range(k), 2):
        gap = values[i] - values[j]
        gap -= mean(gap)
        gap[np.abs(gap) <= ROUNDING * size] = 0
        gaps[i, j] = gap
    unit = max(float(np.abs(gap).max()) for gap in gaps.values()) or 1.0
    for (i, j), gap in gaps.items():
        part = gap / unit
        total[i], total[j] = total[i] + part, total[j] - part
        squares[[i, j]] += part * part
    same = [pair for pair, gap in gaps.items() if not gap.any()]
    return (total * total - squares) / ((k - 1) * (k - 2)), unit, same


class Variances(NamedTuple):
    """Error variances (k,), their influence (k, n), and the least relative variance that normal errors leave them."""

    values: FloatArray
    phi: FloatArray
    floor: float


def error_variances(values: FloatArray, summands: FloatArray, unit: float, sampling: str, session: Any) -> Variances:
    """Means of the summands, made good for the means taken off: E (d - mean d)^2 = variance - var(mean d).

    The variance of the means is the engine's; for independent readings this is the divisor n - 1. Few readings or
    sessions too often show too little spread; normal errors of which a share w lies between `count` of them leave a
    variance estimate a relative variance of at least w^2/(count - 1).
    """
    k, n = summands.shape
    mean = mean_over(session)
    own = (values - values.mean(axis=0)) / unit
    own -= np.array([[mean(row)] for row in own])
    of_means = np.diag(covariance(own, sampling, session).matrix)
    total = sum(mean(row * row) for row in own)
    share = float(of_means.sum()) / (total + float(of_means.sum())) if summands.any() else 0.0
    if sampling == "independent":
        return Variances(summands.sum(axis=1) / (n - 1), summands * (n / (n - 1)), 1 / (n - 1))
    lost = (k * of_means - of_means.sum() / (k - 1)) / (k - 2)
    count = np.unique(session).size if sampling == "sessions" else 0
    means = np.array([mean(row) for row in summands])
    return Variances(means + np.where(summands.any(axis=1), lost, 0.0), summands / (1 - share),
                     (share * count) ** 2 / (count - 1) if count else 0.0)


def error_sd(index: int, found: Variances, *, level: float, sampling: str, session: Any,
             cautious: bool = False) -> Estimate:
    """Interval of an error SD on the scale that steadies the variance of a variance estimate.

    With normal errors the estimate of variance v has a variance in proportion to V(v) = 2 v^2 + s v + p, where s and p
    come of the other devices' errors. On the scale of the integral of V^(-1/2), which is log v for the noisiest device
    and v itself for the quietest, the engine's standard error is divided by sqrt(V); the limits are transformed back.
    With `cautious`, serial standard errors allow for errors too slow to show, as in the engine.
    """
    k = found.values.size
    others = np.maximum(np.delete(found.values, index), 0)
    s = 4 * others.sum() / (k - 1) ** 2
    p = 2 * (others.sum() ** 2 - (others * others).sum()) / ((k - 1) * (k - 2)) ** 2
    value = max(float(found.values[index]), 0.0)
    spread_of_v = 2 * value * value + s * value + p
    result = spread(found.phi[index], sampling, session, cautious=cautious)
    error, method = max(result.standard_error, math.sqrt(spread_of_v * found.floor)), METHODS[sampling]
    if found.floor:
        method += ", at least the spread of normal errors"
    half = t_quantile(level, result.df) * error
    low, high = value - half, value + half
    if spread_of_v > 0:
        u, gap = 2 * math.sqrt(2 * spread_of_v) + 4 * value + s, s * s - 8 * p
        factor = math.exp(min(math.sqrt(2 / spread_of_v) * half, 600.0))
        low, high = ((w - 2 * s + gap / w) / 8 for w in (max(u / factor, math.sqrt(max(gap, 0.0))), u * factor))
    sd = math.sqrt(value)
    low, high = (math.sqrt(max(end, 0.0)) for end in (low, high))
    return Estimate(value=sd, low=min(low, sd), high=max(high, sd), level=level, df=result.df, drift=result.drift,
                    standard_error=error / (2 * sd) if sd > 0 else math.nan,
                    method=method + ", on a scale of steady variance")


def relative_scale(first: FloatArray, second: FloatArray, others: FloatArray, **options: Any) -> Estimate:
    """Scale of `second` to `first`, the ratio of their covariances with the mean of the others.

    Limits are the scales v at which second - v first shows no slope on the others (Anderson & Rubin 1949, Ann Math
    Stat 20:46): the spread of a product is that of the residual from its own slope.
    """
    x, y, z = (column - column.mean() for column in (first, second, others))
    sizes = [float(np.abs(column).max()) or 1.0 for column in (x, y, z)]
    x, y, z = (column / size for column, size in zip((x, y, z), sizes, strict=True))
    xz, yz = x * z, y * z
    if not abs(xz.mean()) > ROUNDING * math.sqrt(float((x * x).mean() * (z * z).mean())):
        return Estimate(value=math.nan, low=-math.inf, high=math.inf, level=options["level"],
                        method="unknown: the readings do not vary together")
    square = z * z
    yz, xz = (product - product.mean() * (square / square.mean() - 1) for product in (yz, xz))
    return fieller(yz, xz, **options).scaled(sizes[1] / sizes[0])


def share_of_scale(first: FloatArray, second: FloatArray, item: Estimate) -> float:
    """Share of the variance of second - first that a scale other than 1 makes; 0 if its interval contains 1."""
    gap, level = second - first - (second - first).mean(), first - first.mean()
    size = float(np.abs(gap).max())
    if size == 0 or not (item.low > 1 or item.high < 1):
        return 0.0
    return float(np.square((item.value - 1) * (level / size)).sum() / np.square(gap / size).sum())
