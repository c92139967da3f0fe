"""Limits of agreement without a distribution: quantiles of the errors, with order-statistic intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.choices import LogScale, NanPolicy, Sampling
from agree.core.errors import InputError
from agree.core.interval.engine import warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.limits.far_tail import USUAL_TAILS, ends
from agree.estimators.limits.ordered import Ordered, effective_pairs, ordered
from agree.estimators.readings import warn_of_alike
from agree.estimators.rounding import coarse_step_of_errors
from agree.estimators.scales import errors_on_scale, exponential


@made_by("quantile_limits", also=("LimitsOfAgreement",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class QuantileLimits(Result):
    """Median and outer quantiles of the errors, each with its interval.

    Attributes
    ----------
    median, lower, upper : Estimate
        In the units of the data, per cent, or ratios (``scale="log"``); a limit is infinite where too few errors lie
        beyond to bound it.
    n : int
        Number of pairs.
    effective_n : float
        Number of independent pairs with as much information on the outer quantiles; n for independent pairs.
    scale, sampling : str
        As passed in.
    coverage : float
        Share of the errors between `lower` and `upper`.

    Examples
    --------
    >>> from agree import quantile_limits
    >>> quantile_limits([100, 200, 300, 400], [101, 199, 303, 396]).median.value
    0.0
    """

    median: Estimate
    lower: Estimate
    upper: Estimate
    n: int
    effective_n: float
    scale: str
    coverage: float
    sampling: str


def _interval(errors: Ordered, share: float, effective: float, level: float, method: str, drift: bool,
              usual: bool, step: float) -> Estimate:
    value = errors.quantile(share)
    low, high, reached = ends(errors, share, effective, (1 - level) / 2, USUAL_TAILS if usual else None, step)
    method += "; far end for usual shapes" if reached else ""
    return Estimate(value=value, low=min(low, value), high=max(high, value), level=level, method=method, drift=drift)


@shared
def quantile_limits(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    scale: LogScale = "difference",
    coverage: float = 0.95,
    level: float = 0.95,
    tails: Literal["any", "usual"] = "any",
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> QuantileLimits:
    r"""Limits of agreement for errors of any distribution: their outer quantiles.

    Use it when errors are skewed or have wild readings; it needs many: with fewer than 146 independent pairs the
    interval of an outer limit has no end on its far side (coverage 0.95, level 0.95; 119 at level 0.9), unless `tails`
    says what errors may be.

    Parameters
    ----------
    {pairs, log_scale, coverage, level}
    tails : {"any", "usual"}
        What lies beyond the outermost errors where they are too few to bound an outer quantile. ``any``: nothing is
        known, the limit is infinite. ``usual``, independent pairs: an end that holds for uniform, normal, Laplace, t (3
        and 5 df), exponential and lognormal (sigma up to 1) errors, either way round, as far from the largest error as
        the worst of them needs.
    {sampling, session, nan_policy}

    Returns
    -------
    QuantileLimits
        ``.median``, ``.lower``, ``.upper`` (Estimate), ``.effective_n``.

    Raises
    ------
    InputError
        Bad options or readings, as limits_of_agreement.
    {few}

    Warns
    -----
    {drift, alike}

    See Also
    --------
    limits_of_agreement : bias -+ z s, with intervals that hold these quantiles for common shapes.
    look_at_errors : Which limits to use.

    Notes
    -----
    The quantile of share p is interpolated at rank (n + 1/3) p + 1/3 (definition 8 of Hyndman & Fan 1996), nearly
    median-unbiased for any distribution. Independent pairs: the limits are order statistics by the binomial
    distribution, which hold at least `level`, ties included. Dependent pairs: the same with the effective number
    of pairs from the engine's variance of the share beyond the quantile.

    References
    ----------
    Hahn GJ, Meeker WQ (1991) Statistical Intervals, section 5.2; Hyndman RJ, Fan Y (1996) Am Stat 50:361; Korn EL,
    Graubard BI (1998) Surv Methodol 24:193 (citations from memory).

    Examples
    --------
    >>> from agree import quantile_limits
    >>> result = quantile_limits(range(100, 300), [100 + k + 3 * k % 7 for k in range(200)])
    >>> print(result.lower.value, result.upper.value, result.upper.low, result.upper.high)
    0.0 6.0 6.0 6.0
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    checks.fraction(level, "level")
    tail = (1 - checks.fraction(coverage, "coverage")) / 2
    usual = checks.choice(tails, "tails", ("any", "usual")) == "usual"
    if usual and sampling != "independent":
        raise InputError(f"tails='usual' is for independent pairs; leave `tails` out with sampling={sampling!r}")
    d = errors_on_scale(x, y, scale)
    warn_of_alike(d, sampling)
    errors, step = ordered(d, labels), coarse_step_of_errors(x, y, d, scale) if usual else 0.0
    low, middle, high = (errors.quantile(share) for share in (tail, 0.5, 1 - tail))
    if sampling == "independent":
        sizes, drifts, method = [float(d.size)] * 3, [False] * 3, "order statistics, binomial"
    else:
        marks = ((d <= low), (d <= middle), (d >= high))
        found = [effective_pairs(mark.astype(float), level, sampling, labels) for mark in marks]
        sizes, drifts = [size for size, _ in found], [drift for _, drift in found]
        # Few errors lie in a tail: of the two, the less lucky number is taken for both.
        sizes[0] = sizes[2] = min(sizes[0], sizes[2])
        method = "order statistics, {:.1f} effective of " + f"{d.size} pairs ({sampling})"
    lower, median, upper = (_interval(errors, share, size, level, method.format(size), drift, usual, step)
                            for share, size, drift in zip((tail, 0.5, 1 - tail), sizes, drifts, strict=True))
    warn_of_drift(lower, median, upper)
    if scale == "log":
        lower, median, upper = map(exponential, (lower, median, upper))
    return QuantileLimits(median=median, lower=lower, upper=upper, n=d.size, effective_n=sizes[0], scale=scale,
                          coverage=coverage, sampling=sampling)
