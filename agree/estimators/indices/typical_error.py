"""Typical error of two trials of the same device or rider."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy, Sampling, Scale
from agree.core.errors import InputError
from agree.core.interval.engine import estimate, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.components import square_limits
from agree.estimators.pivots import PIVOTAL, pivots_of_errors
from agree.estimators.readings import warn_of_alike
from agree.estimators.rounding import at_least, rounding_of_error
from agree.estimators.scales import transformed
from agree.estimators.shape import NORMAL_ONLY, warn_of_shape

SCALES = ("difference", "percent")


@made_by("typical_error", also=("Precision",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TypicalError(Result):
    """Error of a single trial, and the change between trials.

    Attributes
    ----------
    typical_error : Estimate
        SD of one trial about a subject's true value, in the unit of the readings or in per cent.
    smallest_detectable_change : Estimate
        Change between two single trials that the error alone exceeds in a share 1 - coverage of cases.
    change : Estimate
        Mean of second minus first trial.
    coverage : float
        As passed in.
    scale, sampling : str
        As passed in.
    n : int
        Number of pairs of trials.
    caution : str
        What the index is not.

    Examples
    --------
    >>> from agree import typical_error
    >>> typical_error([200, 250, 300, 220], [202, 250, 302, 222]).n
    4
    """

    typical_error: Estimate
    smallest_detectable_change: Estimate
    change: Estimate
    coverage: float
    scale: str
    n: int
    sampling: str
    caution: str = field(default="Repeatability, not accuracy: a device may repeat a wrong reading faithfully; and the "
                                 "subject's own change between the trials is in it.")


def as_percent(item: Estimate) -> Estimate:
    """From natural logarithms to per cent, 100 (exp(v) - 1)."""
    return transformed(item, lambda v: 100 * math.expm1(v) if v < 700 else math.inf)


def logarithms(values: FloatArray, name: str) -> FloatArray:
    """Natural logarithms of positive readings."""
    if not (values > 0).all():
        raise InputError(f"scale='percent' works through logarithms and needs positive readings; `{name}` holds "
                         f"{(values <= 0).sum()} of zero or less, first at index {np.flatnonzero(values <= 0)[0]}; set "
                         "them aside or use scale='difference'")
    result: FloatArray = np.log(values)
    return result


@shared
def typical_error(
    trial1: ArrayLike,
    trial2: ArrayLike,
    *,
    scale: Scale = "difference",
    coverage: float = 0.95,
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> TypicalError:
    r"""Typical error of two trials: the SD of their differences over the square root of 2.

    Use it for one device that measures the same efforts twice. Not for a device against a reference, whose errors
    differ: see `limits_of_agreement`. For more than two trials see `precision`.

    Parameters
    ----------
    trial1, trial2 : (n,) array_like
        Readings of the same n >= 3 subjects or efforts, in one unit; in order of time for serial sampling.
    scale : {"difference", "percent"}
        In the unit of the readings, or in per cent through logarithms, 100 (exp(s) - 1).
    coverage : float
        Share of changes by error alone below the smallest detectable change, in (0, 1).
    {level, sampling, session, nan_policy}

    Returns
    -------
    TypicalError
        ``.typical_error``, ``.smallest_detectable_change``, ``.change`` (Estimate), ``.n``, ``.caution``.

    Raises
    ------
    InputError
        Bad options or readings, or readings of zero or less with ``percent``.
    {few}

    Warns
    -----
    {drift, alike, shape}

    See Also
    --------
    precision : More than two repeats, in groups.
    intraclass : Repeatability against the spread of subjects.

    Notes
    -----
    With d the differences (of logarithms), typical error s_d/sqrt(2), smallest detectable change z s_d, z the normal
    quantile of (1 + coverage)/2. Independent pairs: exact chi-square interval of s_d; else that of log s_d from its
    influence ((d - dbar)^2/s_d^2 - 1)/2.

    Errors that are not normal are covered less, at 95 %: with t of 3 degrees of freedom in 68 %, with 5 % of errors
    five times as large in 59 % (30 pairs; benchmarks/heavy_tails.py, error 3).

    References
    ----------
    Hopkins WG (2000) Sports Med 30:1-15.

    Examples
    --------
    >>> from agree import typical_error
    >>> result = typical_error([62, 78, 81, 55, 66], [67, 76, 87, 55, 63])
    >>> print(result.typical_error, "of", result.change)
    2.9 [1.7, 8.3] of 1.2 [-3.9, 6.3]
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(trial1, trial2, session=session, sampling=sampling, nan_policy=nan_policy,
                                  names=("trial1", "trial2"))
    checks.choice(scale, "scale", SCALES)
    checks.fraction(level, "level")
    z = float(special.ndtri((1 + checks.fraction(coverage, "coverage")) / 2))
    if scale == "percent":
        x, y = logarithms(x, "trial1"), logarithms(y, "trial2")
    d = y - x
    warn_of_alike(d, sampling)
    warn_of_shape(d, sampling, NORMAL_ONLY + "that of the typical error is likely too narrow")
    n, mean = d.size, float(d.mean())
    centred = d - mean
    unit = float(np.abs(centred).max())
    change = estimate(mean, centred, level=level, sampling=sampling, session=labels)
    if labels is not None:
        both = pivots_of_errors(d, labels)
        sd = both.interval(both.sd, both.sds, level, PIVOTAL)
    elif unit == 0:
        sd = estimate(0.0, centred, level=level, sampling=sampling, session=labels)
    else:
        square = (centred / unit) ** 2
        variance = float(square.sum()) / (n - 1)
        if sampling == "independent":
            low, high = square_limits(variance, n - 1, level)
            sd = Estimate(value=math.sqrt(variance), low=math.sqrt(low), high=math.sqrt(high), level=level,
                          method="exact for normal errors, chi-square", df=n - 1.0).scaled(unit)
        else:
            logarithm = estimate(math.log(variance) / 2, (square / variance - 1) / 2, level=level, sampling=sampling,
                                 session=labels)
            logarithm = replace(logarithm, method=logarithm.method + ", normal errors")
            sd = transformed(logarithm, math.exp).scaled(unit)
    if scale == "difference":
        change = at_least(change, rounding_of_error(x, y, scale, labels))
    warn_of_drift(change, sd)
    error, detectable = sd.scaled(1 / math.sqrt(2)), sd.scaled(z)
    if scale == "percent":
        error, detectable, change = map(as_percent, (error, detectable, change))
    return TypicalError(typical_error=error, smallest_detectable_change=detectable, change=change,
                        coverage=float(coverage), scale=scale, n=n, sampling=sampling)
