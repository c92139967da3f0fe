"""Passing & Bablok's line: shifted median of all pairwise slopes."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from agree import _check
from agree._check import FloatArray
from agree.errors import InputError
from agree.estimators import _slopes
from agree.estimators.line import Line
from agree.interval import METHODS, Estimate, spread, t_quantile, warn_of_drift


def passing_bablok(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    level: float = 0.95,
    sampling: str = "independent",
    session: ArrayLike | None = None,
    nan_policy: str = "raise",
) -> Line:
    r"""Line through the shifted median of all pairwise slopes, robust to outliers in either axis.

    Use it when single wild readings must not decide the line, the two devices have errors of like size relative to
    the slope, and the true slope is near 1. O(n log n) time, O(n) memory; exact, ties included.

    Parameters
    ----------
    reference, device : (n,) array_like
        Paired readings in one unit, n >= 3; in order of time for serial sampling.
    level : float
        Confidence level, in (0, 1).
    sampling : {"independent", "serial", "sessions"}
        How pairs depend on each other.
    session : (n,) array_like, optional
        Session labels, for ``sampling="sessions"``.
    nan_policy : {"raise", "omit"}
        What to do with NaN: an error, or leave out the pair.

    Returns
    -------
    Line
        ``.slope``, ``.intercept`` (Estimate), ``.n_slopes``. Where the data are too few to bound the slope, its
        limits are infinite.

    Raises
    ------
    InputError
        Bad options or readings, or no pair of readings that has a slope.
    SampleSizeError
        Fewer than 3 pairs, or fewer than 2 sessions.

    Warns
    -----
    DriftWarning
        Serial sampling, when the slowest component dominates.

    Notes
    -----
    Pairs with slope -1 (equal reference + device), identical ones among them, are left out; N remain. The slope is
    the median of their slopes in the order that starts at -1; for even N the mean of the middle two. Limits are the
    slopes of rank M1 = round((N - C)/2) and N - M1 + 1. Independent pairs: C = z sqrt(n(n-1)(2n+5)/18), the 1983
    formula. Otherwise C = t n(n-1) se, with se the standard error of the mean per-point tau score (the influence
    series) between s = reference + device and device - slope * reference. The intercept is the median of
    device - slope * reference, its limits those at the slope's limits.

    References
    ----------
    Passing H, Bablok W (1983) J Clin Chem Clin Biochem 21:709-720. Sen PK (1968) JASA 63:1379-1389.

    Examples
    --------
    >>> from agree import passing_bablok
    >>> line = passing_bablok([100, 150, 200, 250, 300, 350], [103, 151, 208, 254, 312, 357])
    >>> f"{line.slope.value:.4f} [{line.slope.low:.4f}, {line.slope.high:.4f}] of {line.n_slopes} slopes"
    '1.0267 [0.9600, 1.0900] of 15 slopes'
    """
    x, y, labels = _check.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    _check.fraction(level, "level")
    p = _slopes.points(x, y)
    n, total = x.size, p.n_slopes
    if total == 0:
        raise InputError("no slope: every pair of readings is equal or has slope -1; record a wider range of power")
    sample = _slopes.sample(p)
    slope = _slopes.slope_of_rank(p, (total + 1) // 2, total // 2 + 1, sample)
    if not math.isfinite(slope):
        raise InputError("no line: the median slope is vertical; `reference` hardly varies, record a wider range")
    if sampling == "independent":
        half = t_quantile(level, math.inf) * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
        method, drift = "ranks of slopes, 1983", False
    else:
        result = spread(_slopes.tau_scores(p, (slope - 1) / (slope + 1)), sampling, labels)
        half = t_quantile(level, result.df) * n * (n - 1) * result.standard_error
        method, drift = f"ranks of slopes, {METHODS[sampling]}", result.drift
    rank = round((total - half) / 2)
    low, high = -math.inf, math.inf
    if rank >= 1:
        low, high = (_slopes.slope_of_rank(p, k, k, sample) for k in (rank, total - rank + 1))
    if low > high:  # the upper rank lies among slopes beyond -1, where the order has wrapped
        low, high = -math.inf, math.inf
    estimates = [Estimate(value=value, low=lower, high=upper, level=level, method=method, drift=drift)
                 for value, lower, upper in ((slope, low, high),
                                             (_shift(x, y, slope), _shift(x, y, high), _shift(x, y, low)))]
    warn_of_drift(*estimates)
    return Line(slope=estimates[0], intercept=estimates[1], n=n, kind="Passing-Bablok", sampling=sampling,
                n_slopes=total)


def _shift(x: FloatArray, y: FloatArray, slope: float) -> float:
    return float(np.median(y - slope * x)) if math.isfinite(slope) else -slope
