"""Tolerance limits: a range that holds a stated share of all errors, with stated confidence, both limits at once."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special
from scipy.optimize import brentq

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import LogScale, NanPolicy, Sampling
from agree.core.errors import InputError
from agree.core.interval.engine import METHODS, estimate, spread, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.pivots import PIVOTAL, Pivots, pivots_of_errors
from agree.estimators.readings import warn_of_alike
from agree.estimators.scales import errors_on_scale, exponential
from agree.estimators.shape import NORMAL_ONLY, warn_of_shape

NORMAL_REACH, NODES = 9.0, 120  # beyond 9 standard deviations the normal density leaves nothing to 1e-18
TWO_SIDED, ONE_SIDED = ("exact", "howe", "wald-wolfowitz"), ("exact", "approximate")


@made_by("tolerance_limits", also=("LimitsOfAgreement",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ToleranceLimits(Result):
    """Range that holds at least `content` of all errors with confidence `level`.

    Attributes
    ----------
    lower, upper : float
        Limits, in the units of the data, per cent, or ratios (``scale="log"``); with ``sides=1`` each holds alone.
    bias : Estimate
        Mean error with its own interval.
    factor : float
        k in bias -+ k sd (on the log scale if ``scale="log"``).
    sd : float
        Standard deviation of the errors, divisor n - 1.
    n : int
        Number of pairs.
    effective_n : float
        Independent pairs that would give the mean as well; n for independent pairs.
    content, level : float
        Share of the errors, and confidence.
    sides : int
        1 or 2.
    method, scale, sampling : str
        How the factor was found, as passed in.

    Examples
    --------
    >>> from agree import tolerance_limits
    >>> tolerance_limits([100, 200, 300, 400], [101, 199, 302, 398], sides=1).method
    'exact, normal errors'
    """

    lower: float
    upper: float
    bias: Estimate
    factor: float
    sd: float
    n: int
    effective_n: float
    content: float
    level: float
    sides: int
    method: str
    scale: str
    sampling: str


def half_width(content: float, offset: FloatArray) -> FloatArray:
    """Solve Phi(offset + r) - Phi(offset - r) = content for r, by Newton's method from a close lower bound."""
    away = np.abs(offset)
    r = np.maximum(special.ndtri((1 + content) / 2), away + special.ndtri(content))
    for _ in range(60):
        missing = special.ndtr(r - away) - special.ndtr(-r - away) - content
        slope = (np.exp(-0.5 * (r - away) ** 2) + np.exp(-0.5 * (r + away) ** 2)) / math.sqrt(2 * math.pi)
        step = missing / slope
        r = r - step
        if float(np.abs(step).max()) <= 1e-14 * float(r.max()):
            break
    result: FloatArray = r
    return result


def exact_confidence(n: int, content: float) -> Callable[[float], float]:
    """Confidence, as a function of k, that mean -+ k sd of n normal errors holds `content` of them.

    With the mean off by z/sqrt(n) sd, the limits hold `content` if k s >= r(z) sigma: 2 integral over z > 0 of
    phi(z) P(chi2_(n-1) >= (n - 1) r(z)^2/k^2), r^2 being a noncentral chi-square quantile, one degree of freedom
    and noncentrality z^2/n.
    """
    node, weight = np.polynomial.legendre.leggauss(NODES)
    z = NORMAL_REACH / 2 * (node + 1)
    square = (n - 1) * half_width(content, z / math.sqrt(n)) ** 2
    weight = NORMAL_REACH * weight * np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)
    return lambda k: float(weight @ special.chdtrc(n - 1, square / k**2))


def one_sided_approximation(n: int, content: float, level: float) -> tuple[float, float, float]:
    """a, b and k = (z_p + sqrt(z_p^2 - a b))/a, with z of content p and of the confidence (Natrella 1963)."""
    zp, zc = float(special.ndtri(content)), float(special.ndtri(level))
    a, b = 1 - zc * zc / (2 * (n - 1)), zp * zp - zc * zc / n
    if a <= 0 or zp * zp < a * b:
        raise InputError(f"method='approximate' has no factor for {n} pairs at this level; use method='exact'")
    return a, b, (zp + math.sqrt(zp * zp - a * b)) / a


def tolerance_factor(n: int, content: float, level: float, sides: int = 2, method: str = "exact") -> float:
    """Return k such that mean -+ k sd (or mean + k sd) of n independent normal errors is a tolerance limit, n >= 2."""
    if sides == 1:
        if method == "approximate":
            return one_sided_approximation(n, content, level)[2]
        root = math.sqrt(n)
        return float(special.nctdtrit(n - 1, float(special.ndtri(content)) * root, level)) / root
    stretch = math.sqrt((n - 1) / float(special.chdtri(n - 1, level)))
    if method == "howe":
        return float(special.ndtri((1 + content) / 2)) * math.sqrt(1 + 1 / n) * stretch
    near = float(half_width(content, np.array([1 / math.sqrt(n)]))[0]) * stretch
    if method == "wald-wolfowitz":
        return near
    confidence = exact_confidence(n, content)
    return float(brentq(lambda k: confidence(k) - level, near / 3, near * 3, xtol=1e-14 * near, rtol=1e-14))


def _largest_sd(d: FloatArray, level: float) -> tuple[float, float]:
    """Standard deviation of serial errors, and its upper limit with confidence `level`.

    A recording sees too little of a slow error, so that the variance is s^2 + E with E the engine's variance of the
    mean; chi-square with 2/(relative error)^2 degrees of freedom, less by (z/t)^2 for the engine's own few.
    """
    centred = d - d.mean()
    square = centred**2 / float(np.mean(centred**2))
    error, few = spread(square - 1, "serial")[:2]
    shrink = (float(special.ndtri(level)) / float(special.stdtrit(few, level))) ** 2
    df = min(d.size - 1.0, 2 * shrink / max(error, 1e-9) ** 2)
    sigma = math.hypot(float(d.std(ddof=1)), spread(centred, "serial").standard_error)
    return sigma, sigma * math.sqrt(df / float(special.chdtri(df, level)))


def _serial_factor(d: FloatArray, sd: float, content: float, level: float, sides: int) -> tuple[float, float]:
    """Factor k and effective number of pairs for serial errors, in Wald and Wolfowitz's form.

    Two-sided: the mean is taken to be off by its standard error. One-sided: the limits of mean and SD are put together
    by root sum of squares (MOVER).
    """
    mean = spread(d - d.mean(), "serial")
    sigma, largest = _largest_sd(d, level)
    effective = min(float(d.size), (sigma / max(mean.standard_error, 1e-9 * sigma)) ** 2)
    if sides == 2:
        off = np.array([1 / math.sqrt(effective)])
        return float(half_width(content, off)[0]) * largest / sd, effective
    z = float(special.ndtri(content))
    step = float(special.stdtrit(mean.df, level)) * mean.standard_error
    return (z * sigma + math.hypot(step, z * (largest - sigma))) / sd, effective


def _sessions_factor(both: Pivots, content: float, level: float, sides: int) -> float:
    """Factor k such that mean -+ k sd holds `content` at a share `level` of the pairs of mean and SD."""
    if sides == 2:
        off = (both.means - both.mean) / both.sds
        needed = both.sds * half_width(content, off)
    else:
        needed = both.means - both.mean + float(special.ndtri(content)) * both.sds
    return float(np.quantile(needed, level)) / both.sd


@shared
def tolerance_limits(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    content: float = 0.95,
    level: float = 0.95,
    sides: int = 2,
    scale: LogScale = "difference",
    method: str = "exact",
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> ToleranceLimits:
    r"""Limits that hold at least `content` of all errors, with confidence `level`: the interval of the pair of limits.

    Use it to promise a range: "95 % of readings lie within, and we are 95 % sure of that". Limits of agreement
    themselves hold less than their share about every second time. Rests on normal errors; if they are not, use
    quantile_limits.

    Parameters
    ----------
    {pairs}
    content : float
        Share of the errors to lie between the limits, in (0, 1).
    level : float
        Confidence, in (0, 1).
    sides : {2, 1}
        2: `content` between the limits. 1: `content` below the upper limit, or above the lower, each by itself.
    {log_scale}
    method : {"exact", "howe", "wald-wolfowitz", "approximate"}
        Independent pairs only. ``exact``: integral over the mean (two sides), noncentral t (one side).
        ``howe``, ``wald-wolfowitz``: approximations for two sides; ``approximate``: Natrella's for one side.
    sampling : {"independent", "serial", "sessions"}, optional
        How pairs depend on each other. Serial and session sampling have no exact factor: see Notes.
    {session, nan_policy}

    Returns
    -------
    ToleranceLimits
        ``.lower``, ``.upper``, ``.factor``, ``.bias`` (Estimate), ``.effective_n``.

    Raises
    ------
    InputError
        Bad options or readings, or a named approximation asked of dependent pairs.
    {few}

    Warns
    -----
    {drift, alike, shape}

    See Also
    --------
    limits_of_agreement : Limits without a statement of confidence.
    quantile_limits : Limits for errors of any shape.

    Notes
    -----
    Two sides, exact: k solves

    .. math:: 2 \int_0^\infty \varphi(z)\, P\{\chi^2_{n-1} \ge (n-1)\, \chi^2_{1,p}(z^2/n) / k^2\}\, dz = level .

    Serial, approximate: k s = r sigma_up, where Phi(e + r) - Phi(e - r) = content with e the standard error of the
    mean in sigmas, effective_n = 1/e^2 (Wald and Wolfowitz's form). sigma_up is the upper limit of sigma, from s^2 +
    (variance of the mean), chi-square with the degrees of freedom that the engine finds in the squares. Errors
    correlated over a good part of the recording are too few for this: measured coverage is in the documentation.

    Sessions: they have equal weight, s^2 = var(session means) + mean(variance within); the limits hold `content` at a
    share `level` of the pairs of mean and SD that generalised pivotal quantities give (Liao, Lin and Iyer 2005).

    References
    ----------
    ISO 16269-6:2014; Wald A, Wolfowitz J (1946) Ann Math Stat 17:208; Howe WG (1969) JASA 64:610; Liao CT, Lin TY,
    Iyer HK (2005) Technometrics 47:323; Natrella MG (1963)
    NBS Handbook 91; NIST/SEMATECH e-Handbook 7.2.6.3 (citations from memory).

    Examples
    --------
    >>> from agree import tolerance_limits
    >>> result = tolerance_limits([200, 250, 300, 220, 180], [198, 251, 294, 217, 181])
    >>> print(f"k = {result.factor:.3f}: {result.lower:.1f} to {result.upper:.1f} W")
    k = 5.077: -16.8 to 13.2 W
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    checks.fraction(content, "content")
    checks.fraction(level, "level")
    if isinstance(sides, bool) or sides not in (1, 2):
        raise InputError(f"`sides` must be 1 or 2; got {sides!r}", option="sides")
    checks.choice(method, "method", TWO_SIDED if sides == 2 else ONE_SIDED)
    if sampling != "independent" and method != "exact":
        raise InputError(f"method={method!r} is for independent pairs; leave `method` out with sampling={sampling!r}")
    d = errors_on_scale(x, y, scale)
    warn_of_alike(d, sampling)
    warn_of_shape(d, sampling, NORMAL_ONLY + "ask quantile_limits(tails='usual')")
    n, mean = d.size, float(d.mean())
    unit = float(np.abs(d - mean).max())
    sd = unit * math.sqrt(float(np.square((d - mean) / unit).sum()) / (n - 1)) if unit > 0 else 0.0
    bias = estimate(mean, d - mean, level=level, sampling=sampling, session=labels)
    effective = float(n)
    if sampling == "independent" or sd == 0:
        factor, words = tolerance_factor(n, content, level, sides, method), f"{method}, normal errors"
    elif labels is not None:
        both = pivots_of_errors(d, labels)
        factor, mean, sd, words = _sessions_factor(both, content, level, sides), both.mean, both.sd, PIVOTAL
        effective = min(float(n), (sd / max(bias.standard_error, 1e-9 * sd)) ** 2)
    else:
        factor, effective = _serial_factor((d - mean) / unit, sd / unit, content, level, sides)
        words = f"Wald-Wolfowitz form; {METHODS[sampling]}"
    warn_of_drift(bias)
    lower, upper = mean - factor * sd, mean + factor * sd
    if scale == "log":
        bias = exponential(bias)
        with np.errstate(over="ignore"):
            lower, upper = np.exp([lower, upper]).tolist()
    return ToleranceLimits(lower=lower, upper=upper, bias=bias, factor=factor, sd=sd, n=n, effective_n=effective,
                           content=content, level=level, sides=int(sides), method=words, scale=scale,
                           sampling=sampling)
