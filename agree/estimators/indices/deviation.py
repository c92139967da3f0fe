"""How far single readings lie: the total deviation index, and the share of readings within a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy, Sampling, Scale
from agree.core.interval.engine import warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.indices.shares import any_index, any_share, normal_index, normal_share
from agree.estimators.readings import warn_of_alike
from agree.estimators.rounding import at_least, rounding_of_error
from agree.estimators.scales import errors_on_scale
from agree.estimators.shape import NORMAL_ONLY, warn_of_shape

DISTRIBUTIONS = ("normal", "any")


@made_by("deviation_index", also=("CoverageProbability",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeviationIndex(Result):
    """The distance from the reference within which a stated share of single readings lies.

    Attributes
    ----------
    index : Estimate
        Distance, in the unit of the readings or in per cent.
    coverage : float
        The share.
    scale, distribution, sampling : str
        As passed in.
    n : int
        Number of pairs.
    caution : str
        What the index is not.

    Examples
    --------
    >>> from agree import deviation_index
    >>> found = deviation_index([200, 250, 300, 220, 180], [198, 251, 294, 217, 181], distribution="any")
    >>> found.index.value, found.index.high
    (6.0, inf)
    """

    index: Estimate
    coverage: float
    scale: str
    distribution: str
    n: int
    sampling: str
    caution: str = field(default="Bias and scatter of single readings together: it does not tell which of them, nor "
                                 "where in the range, and is no statement on an average over the ride.")


@made_by("coverage_probability", also=("DeviationIndex",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoverageProbability(Result):
    """Share of single readings that lie within a limit of the reference.

    Attributes
    ----------
    probability : Estimate
        The share, in [0, 1].
    limit : float
        The limit, in the unit of the readings or in per cent.
    scale, distribution, sampling : str
        As passed in.
    n : int
        Number of pairs.
    caution : str
        What the index is not.

    Examples
    --------
    >>> from agree import coverage_probability
    >>> found = coverage_probability([200, 250, 300, 220], [198, 251, 294, 217], limit=4, distribution="any")
    >>> found.probability.value
    0.75
    """

    probability: Estimate
    limit: float
    scale: str
    distribution: str
    n: int
    sampling: str
    caution: str = field(default="A share of single readings at the powers ridden: it is not the probability that a "
                                 "claim holds, and readings averaged over longer times have another share.")


def _errors(reference: ArrayLike, device: ArrayLike, scale: str, distribution: str, level: float, sampling: str,
            session: ArrayLike | None, nan_policy: str) -> tuple[FloatArray, float, dict[str, Any]]:
    """Errors, the standard error that rounding alone leaves in their mean, and the options of an interval."""
    checks.choice(scale, "scale", ("difference", "percent"))
    checks.choice(distribution, "distribution", DISTRIBUTIONS)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    error = errors_on_scale(x, y, scale)
    warn_of_alike(error, sampling, stacklevel=4)
    if distribution == "normal":
        warn_of_shape(error, sampling, NORMAL_ONLY + "ask for distribution='any'", stacklevel=4)
    return error, rounding_of_error(x, y, scale, labels), {"level": checks.fraction(level, "level"),
                                                           "sampling": sampling, "session": labels}


@shared
def deviation_index(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    coverage: float = 0.9,
    scale: Scale = "difference",
    distribution: Literal["normal", "any"] = "normal",
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> DeviationIndex:
    r"""Total deviation index: the distance from the reference that holds a share of single readings.

    Use it for one number on single readings, bias included. Not for a claim on the average. Its upper limit at level
    0.9 is a bound with 95 % confidence.

    Parameters
    ----------
    {pairs}
    coverage : float
        Share of readings within the index, in (0, 1).
    {scale}
    distribution : {"normal", "any"}
        Errors taken as normal, or a quantile of their sizes, for errors of any shape.
    {level, sampling, session, nan_policy}

    Returns
    -------
    DeviationIndex
        ``.index`` (Estimate), ``.coverage``, ``.n``, ``.caution``.

    Raises
    ------
    InputError
        Bad options, NaN or infinite readings, zero reference with ``percent``.
    {few}

    Warns
    -----
    {drift, alike, shape}

    See Also
    --------
    coverage_probability : The share that lies within a given limit.
    tolerance_limits : Both limits, with confidence.

    Notes
    -----
    ``normal``: the root of Phi((k - m)/s) - Phi((-k - m)/s) = coverage, with mean m and SD s of the errors. Its
    interval for independent pairs and sessions comes from equally likely pairs of mean and SD (generalised pivotal
    quantities, Weerahandi 1993: from memory); serial, from the influence of log k, by implicit differentiation.
    Readings rounded to a common step leave at least what rounding leaves in a mean error.
    ``any``: the order statistic of rank ceil(n coverage) of the absolute errors, with binomial limits; the upper one is
    infinite where there are too few pairs to bound it.

    Where the mean may be 0 the low end is no higher than the exact one for mean 0, z_p times the least SD about 0. So
    ``normal`` errs in about 2.5 % of samples of 8 to 30 normal errors on either side, or less. It does not cover where
    errors have heavy tails or are skewed (benchmarks/coverage_indices.py --few and heavy_tails.py): ask for ``any``
    there.

    References
    ----------
    Lin LI-K (2000) Stat Med 19:255-270 (citation from memory); he approximates k by z sqrt(m^2 + s^2).

    Examples
    --------
    >>> from agree import deviation_index
    >>> result = deviation_index([200, 250, 300, 220, 180], [198, 251, 294, 217, 181])
    >>> print(result.index, "W")
    5.7 [3.3, 15.8] W
    """
    sampling = checks.sampling_of(sampling, session)
    error, floor, options = _errors(reference, device, scale, distribution, level, sampling, session, nan_policy)
    make = normal_index if distribution == "normal" else any_index
    item = make(error, checks.fraction(coverage, "coverage"), options)
    if distribution == "normal":
        item = at_least(item, floor, item.df if math.isfinite(item.df) else error.size - 1.0)
        item = replace(item, low=max(item.low, 0.0))
    warn_of_drift(item)
    return DeviationIndex(index=item, coverage=float(coverage), scale=scale, distribution=distribution, n=error.size,
                          sampling=sampling)


@shared
def coverage_probability(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    limit: float,
    scale: Scale = "difference",
    distribution: Literal["normal", "any"] = "normal",
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> CoverageProbability:
    r"""Share of single readings within a limit of the reference.

    Use it where single readings matter, such as holding a target power. Not the probability that a claim holds.

    Parameters
    ----------
    {pairs}
    limit : float
        Largest error allowed either way, > 0, in the unit of the readings or in per cent.
    {scale}
    distribution : {"normal", "any"}
        Errors taken as normal, or counted.
    {level, sampling, session, nan_policy}

    Returns
    -------
    CoverageProbability
        ``.probability`` (Estimate), ``.limit``, ``.n``, ``.caution``.

    Raises
    ------
    InputError
        Bad options, NaN or infinite readings, zero reference with ``percent``.
    {few}

    Warns
    -----
    {drift, alike, shape}

    See Also
    --------
    deviation_index : The limit that a given share lies within.
    check_claim : Judge the share of readings within a claim.

    Notes
    -----
    ``normal``: Phi((L - m)/s) - Phi((-L - m)/s); interval from equally likely pairs of mean and SD (its high end no
    lower than the exact one for mean 0, where the mean may be that), or, serial, by influence on the logit scale.
    ``any``: the share counted, with binomial limits (Clopper & Pearson 1934) for the effective number of pairs (Korn &
    Graubard 1998). Equal errors have a share of 0 or 1, show no scatter and are counted, whatever was asked.

    ``normal`` warns of skewed and heavy-tailed errors alone. Errors with light tails or two peaks (uniform; -2 and 2)
    are not warned of: what it misses there lies on the cautious side, a share that is called lower than it is.

    References
    ----------
    Lin L, Hedayat AS, Sinha B, Yang M (2002) JASA 97:257-270 (citation from memory).

    Examples
    --------
    >>> from agree import coverage_probability
    >>> result = coverage_probability([200, 250, 300, 220, 180], [198, 251, 294, 217, 181], limit=5)
    >>> print(result.probability)
    0.85 [0.37, 0.99]
    """
    sampling = checks.sampling_of(sampling, session)
    error, _, options = _errors(reference, device, scale, distribution, level, sampling, session, nan_policy)
    make = normal_share if distribution == "normal" else any_share
    item = make(error, checks.positive(limit, "limit"), options)
    warn_of_drift(item)
    return CoverageProbability(probability=item, limit=float(limit), scale=scale, distribution=distribution,
                               n=error.size, sampling=sampling)
