"""Limits of agreement: bias, and the range that holds a stated share of the differences."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import LogScale, NanPolicy, Sampling
from agree.core.errors import SampleSizeError
from agree.core.interval.engine import estimate, t_quantile, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.results.drawn import Drawn
from agree.core.shared_docs import made_by, shared
from agree.estimators.limits.far_tail import LEAST, limit_by_order
from agree.estimators.limits.ordered import ordered, refused
from agree.estimators.pivots import PIVOTAL, pivots_of_errors
from agree.estimators.readings import warn_of_alike
from agree.estimators.rounding import at_least, coarse_step_of_errors, rounding_of_error
from agree.estimators.scales import errors_on_scale, exponential
from agree.estimators.shape import NORMAL_ONLY, SKEW_COSTS, warn_of_dependent_shape, warn_of_shape

NOT_QUANTILES = "and bias -+ z SD is no quantile of such errors; the intervals {hold}. For the quantiles, ask {ask}"
NORMAL = ", normal errors"
BY_ORDER = NOT_QUANTILES.format(hold="hold the quantiles whatever the shape", ask="quantile_limits")
BY_SHAPE = NOT_QUANTILES.format(hold="hold the quantiles of shapes up to exponential and t, 3 df, and of wilder ones "
                                     "less often", ask="quantile_limits(tails='usual')")


@made_by("limits_of_agreement", also=("ToleranceLimits", "QuantileLimits"))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LimitsOfAgreement(Drawn):
    """Bias and limits of agreement, each with its interval.

    Attributes
    ----------
    bias, lower, upper : Estimate
        In the units of the data, per cent, or ratios (``scale="log"``).
    sd : float
        Standard deviation of the differences, divisor n - 1 (over sessions: see the function's Notes); of log ratios
        if ``scale="log"``.
    n : int
        Number of pairs.
    scale, sampling : str
        As passed in.
    coverage : float
        Share of differences between the limits if they are normal.
    reference, device : (n,) array or None
        The pairs, for `plot`; they are not part of `to_dict`.

    Examples
    --------
    >>> from agree import limits_of_agreement
    >>> result = limits_of_agreement([200, 250, 300], [202, 250, 304])
    >>> result.bias.value, result.sd
    (2.0, 2.0)
    """

    bias: Estimate
    lower: Estimate
    upper: Estimate
    sd: float
    n: int
    scale: str
    coverage: float
    sampling: str
    reference: FloatArray | None = field(default=None, repr=False)
    device: FloatArray | None = field(default=None, repr=False)


def exact_limit(mean: float, sd: float, n: int, z: float, level: float) -> Estimate:
    """Exact interval of mean + z sigma from the noncentral t distribution.

    sqrt(n) (mean + z sigma - xbar) / s is, but for its sign, noncentral t with n - 1 degrees of freedom and
    noncentrality z sqrt(n) (Hahn & Meeker 1991, section 4.4; Carkeet 2015, Optom Vis Sci 92:e71: citations
    from memory).
    """
    df, noncentrality, alpha = n - 1, abs(z) * math.sqrt(n), 1 - level
    near, far = (float(special.nctdtrit(df, noncentrality, p)) for p in (alpha / 2, 1 - alpha / 2))
    bounds = sorted(mean + (k if z > 0 else -k) * sd / math.sqrt(n) for k in (near, far))
    return Estimate(value=mean + z * sd, low=bounds[0], high=bounds[1], level=level,
                    method="exact for normal errors, noncentral t")


def _approximate_limit(mean: float, sd: float, n: int, z: float, level: float) -> Estimate:
    error = sd * math.sqrt((1 + z * z / 2) / n)
    half, value = t_quantile(level, n - 1) * error, mean + z * sd
    return Estimate(value=value, low=value - half, high=value + half, level=level, method="approximate, normal errors",
                    standard_error=error, df=n - 1)


def limit_influence(centred: FloatArray, sd: float, z: float) -> FloatArray:
    """Influence of each pair on mean + z sd: d - mean + z ((d - mean)^2 - sd^2)/(2 sd)."""
    if not sd > 0:
        return centred
    result: FloatArray = centred / sd  # in place from here on: a million pairs are slower to move than to reckon
    result *= centred
    result -= sd
    result *= z / 2
    result += centred
    return result


@shared
def limits_of_agreement(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    scale: LogScale = "difference",
    coverage: float = 0.95,
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    interval: Literal["exact", "robust", "approximate"] = "exact",
    nan_policy: NanPolicy = "raise",
) -> LimitsOfAgreement:
    r"""Bias and limits of agreement of paired readings.

    Use it to say how far a single reading of the device may lie from the reference. Not a test of a claim, and
    not for readings whose error grows with the level unless ``scale`` is ``"percent"`` or ``"log"``.

    Parameters
    ----------
    {pairs}
    scale : {"difference", "percent", "log"}
        Error of a pair: device - reference; 100 (device - reference)/reference; or the log ratio, for which
        bias and limits are given as ratios device/reference and `sd` on the log scale.
    coverage : float
        Share of the differences to lie between the limits, in (0, 1); 0.95 gives 1.96 standard deviations.
    {level, sampling, session}
    interval : {"exact", "robust", "approximate"}
        Independent pairs only. ``exact``: for normal errors alone, by the noncentral t distribution. ``robust``: holds
        the quantile of the errors for common shapes, normal or not, and is about twice as wide; 8 pairs or more.
        ``approximate``: for normal errors, with standard error s sqrt((1 + z^2/2)/n), the form of 1986 and 1999.
        Serial sampling uses the influence series; for sessions see Notes.
    {nan_policy}

    Returns
    -------
    LimitsOfAgreement
        ``.bias``, ``.lower``, ``.upper`` (Estimate), ``.sd``, ``.n``.

    Raises
    ------
    InputError
        Bad options, NaN or infinite readings, zero reference with ``percent``, non-positive with ``log``.
    {few}; fewer than 8 if ``interval`` is ``robust``.

    Warns
    -----
    {drift, alike, shape}
    AssumptionWarning
        Serial pairs, or sessions, that show the same; see Notes.

    See Also
    --------
    look_at_errors : Whether these limits may be used at all.
    tolerance_limits : Limits that hold their share with confidence.
    quantile_limits : Quantiles of the errors in place of bias -+ z s.

    Notes
    -----
    With d the errors and z the normal quantile of (1 + coverage)/2, the limits are dbar -+ z s. Their influence
    is (d_i - dbar) -+ z ((d_i - dbar)^2 - s^2)/(2 s). All-equal errors give s = 0 and limits equal to the bias.
    Readings that share a power of ten as their step are taken for rounded to it: intervals are no narrower than that
    of a mean whose standard error is step/sqrt(6 n).

    Of 3 to 7 pairs the exact interval covers the quantile on the long side of exponential errors in 67 to 79 % of
    samples, unseen: no so small sample shows its shape, and its method says so. Robust intervals: the end next to the
    bias is an order statistic by the binomial distribution, for errors of any shape. So is the end beyond from 146
    pairs on (coverage and level 0.95); with fewer it is median + k (top - median), top being the mean of the 3 largest
    errors and k large enough for uniform, normal, Laplace, t (3 df), exponential and lognormal (sigma 0.5) errors,
    either way round; never short of the outermost error, and a step beyond it where readings are rounded to more than
    half the errors' SD. Of 20, 40, 80 and 145 normal errors it lies 1.6, 1.4, 1.25 and 1.15 times as far from the bias
    as the exact end: what it costs not to know the shape. Exact ones lie wholly below the true quantile in 47, 62 and
    78 % of samples of 20, 40 and 80 exponential errors, and samples that show nothing are covered no better (docs:
    measured, limits). An interval that does not reach the limit itself, bias -+ z s, is stretched to it: then the limit
    is no quantile of the errors, and a warning says that they are not normal.

    ``sessions``: sessions have equal weight; s^2 = var(session means) + mean(variance within a session), and the
    limits' intervals are those of mean and s by generalised pivotal quantities, each part of s^2 with its own degrees
    of freedom. With 2 or 3 sessions they are wide, because the variance between so few is hardly known. Means of
    sessions are taken as normal: where these differ as much as the readings within, and are t (3 df), the limits of 3,
    6 and 12 sessions cover 93, 87 and 84 %; where they are exponential, the limit on the long side covers 85, 74 and
    72 % (300 runs, error 1.5 to 2.6). To hold for such means too it would have to lie 7.7, 2.6 and 1.9 times as far
    away, as the robust end of so few independent errors does.

    ``serial`` and ``sessions``: the interval is that of bias -+ z s, whatever the errors' shape; that 95 % of them lie
    between the limits rests on normal errors. Where these are exponential the interval on the side of the long tail
    holds the quantile in 77, 63 and 11 % of samples of 5, 20 and 100 sessions, the other in 72, 15 and 0 %, and of 300
    and 1800 serial pairs (correlation 0.8) in 64 and 11, and in 1 and 0 % (100 runs). A warning is given where errors
    about their session's mean, or the means of sessions, show it: for serial errors with the number of independent ones
    that tell as much (of normal ones with correlations of 0 to 0.99 at most 0.3 % are warned of). `quantile_limits`
    counts them.

    References
    ----------
    Bland JM, Altman DG (1986) Lancet 327:307-310; (1999) Stat Methods Med Res 8:135-160, section 2; Hahn GJ, Meeker WQ
    (1991) Statistical Intervals, sections 4.4 and 5.2 (from memory). The robust far end is this package's own.

    Examples
    --------
    >>> from agree import limits_of_agreement
    >>> result = limits_of_agreement([200, 250, 300, 220, 180], [198, 251, 294, 217, 181])
    >>> print(f"{result.bias.value:.2f} W, limits {result.lower.value:.1f} to {result.upper.value:.1f} W")
    -1.80 W, limits -7.6 to 4.0 W
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    checks.fraction(level, "level")
    checks.choice(interval, "interval", ("exact", "robust", "approximate"))
    if interval == "robust" and sampling == "independent" and x.size < LEAST:
        raise SampleSizeError(f"interval='robust' needs at least {LEAST} pairs; got {x.size}: leave `interval` out for "
                              "limits of normal errors, or record more pairs", option="interval")
    checks.fraction(coverage, "coverage")
    if sampling != "independent":
        warn_of_dependent_shape(errors_on_scale(x, y, scale), labels, True, NORMAL_ONLY + SKEW_COSTS, stacklevel=3)
    return limits_over(x, y, labels, scale=scale, coverage=coverage, level=level, sampling=sampling, interval=interval)


def limits_over(
    x: FloatArray, y: FloatArray, labels: NDArray[Any] | None, *, scale: LogScale = "difference",
    coverage: float = 0.95, level: float = 0.95, sampling: Sampling = "independent", interval: str = "exact",
    half_weight_n: float = 0.0,
) -> LimitsOfAgreement:
    """As `limits_of_agreement`, on checked columns, with sessions of the weights that `session_shares` gives."""
    z = float(special.ndtri((1 + coverage) / 2))
    d = errors_on_scale(x, y, scale)
    warn_of_alike(d, sampling, stacklevel=4)
    robust = interval == "robust"
    counted = refused(float(d.size), (1 - coverage) / 2, (1 - level) / 2) >= 0
    warn_of_shape(d, sampling, (BY_ORDER if counted else BY_SHAPE) if robust else NORMAL_ONLY + "ask interval='robust'",
                  stacklevel=4)
    n, mean = d.size, float(d.mean())
    centred = d - mean
    unit = float(np.abs(centred).max())  # guards the squares against overflow and underflow
    sd = unit * math.sqrt(float(np.square(centred / unit).sum()) / (n - 1)) if unit > 0 else 0.0
    bias = estimate(mean, centred, level=level, sampling=sampling, session=labels, half_weight_n=half_weight_n)
    if sampling == "independent" and robust:
        errors, tail, step = ordered(d, None), (1 - coverage) / 2, coarse_step_of_errors(x, y, d, scale)
        lower, upper = (limit_by_order(errors, mean + k * sd, share, level, step)
                        for k, share in ((-z, tail), (z, 1 - tail)))
    elif sampling == "independent":
        make: Callable[..., Estimate] = _approximate_limit if interval == "approximate" else exact_limit
        lower, upper = (make(mean, sd, n, sign * z, level) for sign in (-1, 1))
    elif labels is not None:
        both = pivots_of_errors(d, labels, half_weight_n)
        sd = both.sd
        lower, upper = (both.interval(both.mean + k * sd, both.means + k * both.sds, level, PIVOTAL + NORMAL)
                        for k in (-z, z))
    else:
        lower, upper = (replace(item, method=item.method + NORMAL) for item in (
            estimate(mean + k * sd, limit_influence(centred, sd, k), level=level, sampling=sampling) for k in (-z, z)))
    floor, df = rounding_of_error(x, y, scale, labels), bias.df
    bias, lower, upper = (at_least(item, floor, df) for item in (bias, lower, upper))
    warn_of_drift(bias, lower, upper, stacklevel=4)
    if scale == "log":
        bias, lower, upper = map(exponential, (bias, lower, upper))
    return LimitsOfAgreement(bias=bias, lower=lower, upper=upper, sd=sd, n=n, scale=scale, coverage=coverage,
                             sampling=sampling, reference=x, device=y)
