"""Repeatability and reproducibility: how far repeats differ within a group, and across groups."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from agree.core import checks
from agree.core.choices import NanPolicy, Scale
from agree.core.errors import SampleSizeError
from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.components import OneWay, Part, between_parts, mover, one_way, square_limits, total_parts
from agree.estimators.indices.typical_error import SCALES, as_percent, logarithms
from agree.estimators.scales import transformed


@made_by("precision", also=("TypicalError",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Precision(Result):
    """Standard deviations within and between groups, with the analysis of variance behind them.

    Attributes
    ----------
    repeatability_sd : Estimate
        Within a group, s_r: within-subject SD if groups are subjects; in the unit of the readings or in per cent.
    between_sd : Estimate
        Between the true means of groups, s_L; 0 if the estimate of its square is negative.
    reproducibility_sd : Estimate
        Of single readings in different groups, s_R.
    repeatability_limit : Estimate
        Difference that two readings of one group exceed in a share 1 - coverage of cases, z sqrt(2) s_r.
    mean : Estimate
        Mean of all readings (geometric in per cent), its interval from the spread between groups.
    sd_of_means : float
        SD of the group means; of logarithms in per cent, as the two below.
    within_square, between_square : float
        Mean squares.
    f, p_value : float
        Ratio of the mean squares, and the probability of a larger one if groups do not differ.
    groups, n : int
        Number of groups with readings, and of readings.
    coverage : float
        As passed in.
    scale : str
        As passed in.
    caution : str
        What the index is not.

    Examples
    --------
    >>> from agree import precision
    >>> found = precision([100, 102, 200, 198], list("aabb"))
    >>> round(found.repeatability_sd.value, 3)
    1.414
    """

    repeatability_sd: Estimate
    between_sd: Estimate
    reproducibility_sd: Estimate
    repeatability_limit: Estimate
    mean: Estimate
    sd_of_means: float
    within_square: float
    between_square: float
    f: float
    p_value: float
    groups: int
    n: int
    coverage: float
    scale: str
    caution: str = field(default="Scatter, not accuracy: no reference is in it, so a bias common to all groups stays "
                                 "unseen; it does not say that a claim holds.")


def _root(value: float, parts: Sequence[Part], level: float, method: str) -> Estimate:
    """Square root of a component with the limits of its parts, widened where these leave out the estimate."""
    _, low, high = mover(parts, level)
    return Estimate(value=math.sqrt(value), low=math.sqrt(max(0.0, min(low, value))),
                    high=math.sqrt(max(high, value)), level=level, method=method)


def _deviations(a: OneWay, level: float) -> tuple[Estimate, Estimate, Estimate]:
    low, high = square_limits(a.within, a.df_within, level)
    within = Estimate(value=math.sqrt(a.within), low=math.sqrt(low), high=math.sqrt(high), level=level,
                      method="exact for normal errors, chi-square", df=float(a.df_within))
    between = _root(a.between_variance, between_parts(a), level, "modified large sample, normal errors")
    total = _root(a.within + a.between_variance, total_parts(a), level, "modified large sample, normal errors")
    return within, between, total


@shared
def precision(
    values: ArrayLike,
    group: ArrayLike,
    *,
    scale: Scale = "difference",
    coverage: float = 0.95,
    level: float = 0.95,
    nan_policy: NanPolicy = "raise",
) -> Precision:
    r"""Repeatability and reproducibility from repeats in groups: laboratories, days, devices, sessions or subjects.

    Use it for repeats of one quantity under the same conditions. Not for seconds of a ride, which are not repeats, and
    whose neighbours resemble each other: average each block first.

    Parameters
    ----------
    values : (n,) array_like
        Readings, in one unit.
    group : (n,) array_like
        Label of the group of each; at least 2 groups, at least one with 2 readings; numbers may differ.
    scale : {"difference", "percent"}
        In the unit of the readings, or as coefficients of variation in per cent, 100 (exp(s) - 1) with s the SD
        of logarithms.
    coverage : float
        For the repeatability limit, in (0, 1).
    {level}
    nan_policy : {"raise", "omit"}
        What to do with NaN: an error, or leave out the reading.

    Returns
    -------
    Precision
        ``.repeatability_sd``, ``.between_sd``, ``.reproducibility_sd``, ``.repeatability_limit``, ``.mean``
        (Estimate); ``.f``, ``.p_value``, the mean squares, ``.groups``, ``.n``, ``.caution``.

    Raises
    ------
    InputError
        Bad options, labels or readings, or readings of zero or less with ``percent``.
    SampleSizeError
        Fewer than 3 readings or 2 groups, or no group with repeats.

    See Also
    --------
    intraclass : Share of the variance between subjects.
    typical_error : Two trials of one device.

    Notes
    -----
    With the mean squares W within and B between g groups of sizes n_i, the method of moments gives

    .. math:: s_r^2 = W, \quad s_L^2 = (B - W)/\bar n, \quad s_R^2 = s_r^2 + s_L^2, \quad
              \bar n = \frac{1}{g - 1} \Bigl(n - \frac{\sum n_i^2}{n}\Bigr) .

    Intervals take groups and readings as independent and normal: exact chi-square for s_r; for s_L and s_R the
    modified large-sample limits of V + c W, with V the variance of the unweighted group means, c = -1/h and
    1 - 1/h, h the harmonic mean of the sizes. Equal readings give 0, f is then NaN.

    Errors that are not normal are covered less, at 95 %: with t of 3 degrees of freedom s_r in 65 %, s_L in 85 %
    and s_R in 74 %; with 5 % of errors five times as large in 54, 82 and 67 % (benchmarks/heavy_tails.py, error 3).

    References
    ----------
    ISO 5725-2:1994, 7.4; Bland JM, Altman DG (1996) BMJ 312:1654 and 313:744; Graybill FA, Wang CM (1980) JASA
    75:869; Zou GY (2013) Stat Methods Med Res 22:630 (citations from memory).

    Examples
    --------
    >>> from agree import precision
    >>> result = precision([201, 203, 202, 206, 207, 205, 199, 198], [1, 1, 1, 2, 2, 2, 3, 3])
    >>> print(result.repeatability_sd, "W within,", result.reproducibility_sd, "W in all")
    0.95 [0.59, 2.33] W within, 4 [2, 24] W in all
    """
    checks.choice(scale, "scale", SCALES)
    checks.fraction(level, "level")
    z = float(special.ndtri((1 + checks.fraction(coverage, "coverage")) / 2))
    column = checks.vector(values, "values")
    labels = checks.codes(group, column.size, "group", "reading")
    keep = checks.present(column, "values", nan_policy)
    column, labels = column[keep], labels[keep]
    groups = np.unique(labels).size
    if column.size < 3 or groups < 2 or groups == column.size:
        raise SampleSizeError("at least 2 groups, one of them with 2 readings, are needed; got "
                              f"{column.size} readings in {groups} groups")
    if scale == "percent":
        column = logarithms(column, "values")
    start = float(column[0])
    unit = float(np.abs(column - start).max()) or 1.0
    a = one_way((column - start) / unit, labels)
    within, between, total = (item.scaled(unit) for item in _deviations(a, level))
    limit = within.scaled(z * math.sqrt(2))
    centre = start + unit * a.mean
    # The published mean is that of all readings: groups count by their size.
    mean = estimate(centre, column - centre, level=level, sampling="sessions", session=labels, half_weight_n=math.inf)
    if scale == "percent":
        within, between, total, limit = map(as_percent, (within, between, total, limit))
        mean = transformed(mean, math.exp)
    f = a.between / a.within if a.within else math.inf if a.between else math.nan
    return Precision(
        repeatability_sd=within, between_sd=between, reproducibility_sd=total, repeatability_limit=limit, mean=mean,
        sd_of_means=math.sqrt(a.of_means) * unit, within_square=a.within * unit * unit,
        between_square=a.between * unit * unit, f=f, p_value=float(special.fdtrc(a.df_between, a.df_within, f)),
        groups=groups, n=column.size, coverage=float(coverage), scale=scale)
