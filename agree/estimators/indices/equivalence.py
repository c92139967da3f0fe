"""Equivalence: two one-sided tests that a mean error lies inside a margin set beforehand."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy, Sampling
from agree.core.errors import InputError
from agree.core.interval.engine import estimate, spread, t_quantile, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import pair_weights
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.fieller import fieller
from agree.estimators.readings import resolution, warn_of_alike
from agree.estimators.rounding import WORDS, at_least, rounding_of_error, rounding_of_mean
from agree.estimators.scales import errors_on_scale, exponential

SCALES = ("difference", "percent", "ratio", "log")


@made_by("equivalence", also=("ClaimCheck",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Equivalence(Result):
    """Outcome of two one-sided tests.

    Attributes
    ----------
    estimate : Estimate
        Mean difference, mean per cent, or ratio device/reference, with its interval of level 2 `level` - 1: 90 % for
        `level` 0.95.
    margin : (float, float)
        Lowest and highest value that count as equivalent, on the scale of `estimate`.
    p_low, p_high : float
        One-sided p values of the two hypotheses refuted: the value is below the margin; it is above.
    p : float
        The larger of the two.
    equivalent : bool
        Whether the interval lies inside the margin, which is when `p` is at most 1 - `level`. False means not shown:
        to show a device *not* equivalent takes an interval wholly outside.
    level : float
        Confidence of each one-sided test.
    n : int
        Number of pairs.
    scale, sampling : str
        As passed in.

    Examples
    --------
    >>> from agree import equivalence
    >>> equivalence([200, 250, 300, 220], [201, 250, 302, 219], margin=3).margin
    (-3.0, 3.0)
    """

    estimate: Estimate
    margin: tuple[float, float]
    p_low: float
    p_high: float
    p: float
    equivalent: bool
    level: float
    n: int
    scale: str
    sampling: str


def _margin(margin: Any, scale: str) -> tuple[float, float]:
    """Both ends of the margin on the scale of the estimate."""
    ratio = scale in ("ratio", "log")
    if isinstance(margin, int | float | np.number):
        m = checks.positive(float(margin), "margin")
        if ratio:
            return (1 - m if scale == "ratio" else 1 / (1 + m)), 1 + m
        return -m, m
    ends = checks.vector(margin, "margin")
    least = 0.0 if scale == "log" else -math.inf
    if ends.size != 2 or not least < ends[0] < ends[1] < math.inf:
        example = "0.015 or (0.98, 1.02)" if ratio else "1.5 or (-1, 2)"
        raise InputError(f"`margin` must be one positive number or a low and a high end, such as {example}; got "
                         f"{ends.tolist()}", option="margin")
    return float(ends[0]), float(ends[1])


def _p(summands: FloatArray, sure: bool, sampling: str, session: Any, floor: float) -> float:
    """One-sided p value of mean(summands) <= 0; where nothing varies, the mean decides by itself."""
    result = spread(summands, sampling, session, cautious=True)
    mean = result.shift if sampling == "sessions" else float(summands.mean())
    error = floor if sure else max(result.standard_error, floor)
    if error == 0:
        return 0.0 if mean >= 0 else 1.0
    return float(special.stdtr(result.df, -mean / error))


def _ratio_at_least(item: Estimate, floor: float, a: float, b: float) -> Estimate:
    """As `at_least` for a ratio b/a of means with this floor each: kept is |b - v a| <= t floor sqrt(1 + v^2)."""
    k = (t_quantile(item.level, item.df) * floor) ** 2
    if floor == 0 or not a * a > k:
        return item if floor == 0 else replace(item, low=-math.inf, high=math.inf)
    half = math.sqrt(k * max(a * a + b * b - k, 0.0)) / (a * a - k)
    middle = a * b / (a * a - k)
    low, high = min(item.low, middle - half), max(item.high, middle + half)
    if (low, high) == (item.low, item.high):
        return item
    return replace(item, low=low, high=high, method=item.method + WORDS)


@shared
def equivalence(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    margin: ArrayLike,
    scale: Literal["difference", "percent", "ratio", "log"] = "difference",
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> Equivalence:
    r"""Two one-sided tests that the mean error lies inside a margin.

    Use it to show that a device agrees with the reference on average, with a margin fixed before the data are seen. It
    says nothing about single readings, and a failure to show equivalence does not prove a fault. For a maker's claim,
    with the reference's own uncertainty, use `check_claim`.

    Parameters
    ----------
    {pairs}
    margin : float or (float, float)
        Largest error that does not matter: m, or a low and a high end. ``difference``: -+m in the units of the data;
        ``percent``: -+m per cent; ``ratio``: 1 - m to 1 + m; ``log``: 1/(1 + m) to 1 + m (0.25 gives 0.80 to 1.25).
    scale : {"difference", "percent", "ratio", "log"}
        Mean difference; mean of per cent errors of each pair; ratio of the means device/reference; or geometric mean of
        the ratios of each pair.
    level : float
        Confidence of each one-sided test, in (0.5, 1); the interval shown has level 2 `level` - 1.
    {sampling, session, nan_policy}

    Returns
    -------
    Equivalence
        ``.estimate`` (Estimate), ``.p_low``, ``.p_high``, ``.p``, ``.equivalent``.

    Raises
    ------
    InputError
        Bad options or readings, zero reference with ``percent``, zero mean with ``ratio``, non-positive with ``log``.
    {few}

    Warns
    -----
    {drift, alike}

    See Also
    --------
    check_claim : Judge a claim, the reference's uncertainty included.
    limits_of_agreement : How far one reading may be off.

    Notes
    -----
    With estimate e, its standard error and the margin (L, U), p_low = P(T > (e - L)/se) and p_high = P(T < (e - U)/se).
    For the ratio of means the tests are of mean(device - L reference) and mean(device - U reference), whose limits are
    Fieller's.

    Readings rounded to whole units, tenths and so on (a power of ten that all share) leave a standard error of at least
    step/sqrt(6 n), however they scatter: three equal errors of whole watts prove nothing. Errors that are all equal in
    unrounded readings give p 0 or 1. As for a verdict, serial standard errors allow for errors that are slow against
    the recording.

    References
    ----------
    Schuirmann DJ (1987) J Pharmacokinet Biopharm 15:657; Fieller EC (1954) J R Stat Soc B 16:175 (citations from
    memory); Dixon PM et al. (2018) Med Sci Sports Exerc 50:837.

    Examples
    --------
    >>> from agree import equivalence
    >>> result = equivalence([200, 250, 300, 220, 180], [201, 250, 302, 219, 181], margin=3)
    >>> f"{result.estimate.value:.2f} W, p {result.p:.4f}", result.equivalent
    ('0.60 W, p 0.0046', True)
    """
    checks.choice(scale, "scale", SCALES)
    ends = _margin(margin, scale)
    if not checks.fraction(level, "level") > 0.5:
        raise InputError(f"`level` must be above 0.5 for one-sided tests, such as 0.95; got {level!r}", option="level")
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    options: dict[str, Any] = {"level": round(2 * level - 1, 12), "sampling": sampling, "session": labels,
                               "cautious": True}
    if scale == "ratio":
        if x.sum() == 0:
            raise InputError("scale='ratio' needs a `reference` whose mean is not 0; set coasting aside or use "
                             "scale='difference'")
        unit = math.copysign(max(np.abs(x).max(), np.abs(y).max()), x.sum())
        share = np.ones(x.size) if labels is None else pair_weights(labels)  # of a pair in the mean, with mean 1
        step, x, y = resolution(x, y) / abs(unit), x / unit, y / unit
        floor = rounding_of_mean(step, share)
        item = _ratio_at_least(fieller(y, x, **options), floor, float(share @ x) / x.size, float(share @ y) / x.size)
        warn_of_alike(y - item.value * x, sampling, along=x)
        below, above = y - ends[0] * x, ends[1] * x - y
        floors = [floor * math.hypot(1, end) for end in ends]
    else:
        error = errors_on_scale(x, y, scale)
        warn_of_alike(error, sampling)
        floors = [rounding_of_error(x, y, scale, labels)] * 2
        item = at_least(estimate(float(error.mean()), error - error.mean(), **options), floors[0])
        low, high = map(math.log, ends) if scale == "log" else ends
        below, above = error - low, high - error
    sure = not item.standard_error > 1e-12 * abs(item.value)
    p_low, p_high = (_p(summands, sure, sampling, labels, floor)
                    for summands, floor in zip((below, above), floors, strict=True))
    warn_of_drift(item)
    if scale == "log":
        item = exponential(item)
    return Equivalence(estimate=item, margin=ends, p_low=p_low, p_high=p_high, p=max(p_low, p_high),
                       equivalent=bool(ends[0] <= item.low and item.high <= ends[1]), level=float(level), n=x.size,
                       scale=scale, sampling=sampling)
