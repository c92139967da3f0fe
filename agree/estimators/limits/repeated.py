"""Limits of agreement from several pairs per subject or session, in equal or unequal numbers."""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy
from agree.core.engine import estimate
from agree.core.errors import ConvergenceError, SampleSizeError
from agree.core.estimate import Estimate
from agree.core.result import Result
from agree.estimators.components import OneWay, Part, mover, one_way
from agree.estimators.scales import errors_on_scale, exponential

SCALES = ("difference", "log")


class Core(NamedTuple):
    """Bias and its influences by subject (mean 0), and the parts whose sum is the variance of a single difference."""

    bias: float
    influence: FloatArray
    parts: tuple[Part, ...]
    between: float
    within: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RepeatedLimits(Result):
    """Bias and limits of agreement for a single pair of readings, from repeated pairs.

    Attributes
    ----------
    bias, lower, upper : Estimate
        In the units of the data, or ratios (``scale="log"``).
    sd : Estimate
        Standard deviation of a single difference (of log ratios), between and within subjects together.
    sd_between, sd_within : float
        Its parts: between subjects, and within a subject.
    within_reference, within_device : float
        Standard deviation of each method's readings within a subject: repeatability, if the true value is constant.
    n, subjects : int
        Numbers of pairs and subjects.
    true_value, method, scale : str
        As asked.
    coverage : float
        Share of differences between the limits if they are normal.

    Examples
    --------
    >>> from agree import repeated_limits
    >>> repeated_limits([100, 101, 200, 202], [103, 101, 199, 203], ["A", "A", "B", "B"]).subjects
    2
    """

    bias: Estimate
    lower: Estimate
    upper: Estimate
    sd: Estimate
    sd_between: float
    sd_within: float
    within_reference: float
    within_device: float
    n: int
    subjects: int
    true_value: str
    method: str
    scale: str
    coverage: float


def _by_subject(weights: FloatArray, a: OneWay) -> tuple[float, FloatArray]:
    """Weighted mean of the subjects' mean differences, and the influence of each subject."""
    share = weights / weights.sum()
    bias = float(share @ a.means)
    return bias, share * weights.size * (a.means - bias)


def _moments(d: OneWay, x: OneWay, y: OneWay, true_value: str) -> Core:
    """Components by mean squares: 2007 (varying) and 1999, sections 5.2 and 5.3 (constant)."""
    if true_value == "varying":
        bias, influence = _by_subject(d.sizes, d)
        varying = Part(1 / d.size, d.between, d.df_between), Part(1 - 1 / d.size, d.within, d.df_within)
        return Core(bias, influence, varying, d.between_variance, d.within)
    bias, influence = _by_subject(np.ones(d.sizes.size), d)
    away = 1 - 1 / d.harmonic
    parts = (Part(1.0, d.of_means, d.df_between), *(Part(away, a.within, a.df_within) for a in (x, y)))
    noise = x.within + y.within
    return Core(bias, influence, parts, max(0.0, d.of_means - noise / d.harmonic), noise)


def _fit(response: FloatArray, design: FloatArray, subject: NDArray[np.intp],
         random: FloatArray) -> tuple[float, float]:
    """Residual variance, and variance between subjects of the rows marked `random`, by REML."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    because = "did not settle"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a variance at its boundary, 0, is an answer
        for optimiser in ("bfgs", "powell"):  # the second needs no slope, which can be singular on the way
            try:
                fit = MixedLM(response, design, groups=subject, exog_re=random[:, None]).fit(method=[optimiser])
            except (np.linalg.LinAlgError, ValueError) as exc:
                because = f"failed: {exc}"
                continue
            if fit.converged:
                return float(fit.scale), float(fit.cov_re[0, 0])
    raise ConvergenceError(f"method='mixed' {because}; use method='moments'")


def _contrasts(values: FloatArray) -> FloatArray:
    """Helmert's m - 1 contrasts of m values: uncorrelated, and of the same variance."""
    k = np.arange(1.0, values.size)
    result: FloatArray = (np.cumsum(values)[:-1] - k * values[1:]) / np.sqrt(k * (k + 1))
    return result


def _mixed(x: FloatArray, y: FloatArray, subject: NDArray[np.intp], d: OneWay, true_value: str) -> Core:
    """Components by a mixed model of the differences; a constant true value adds what the sums tell of the scatter.

    With equal scatter the sum and the difference of a pair have the same variance within a subject and are
    independent; of a subject's m sums only the m - 1 contrasts that are free of its level are told to the model.
    """
    n = x.size
    unit = math.sqrt(d.within + d.between)  # the optimiser wants variances near 1
    x, y = x / unit, (y - d.mean) / unit
    response, design, random, df = y - x, np.ones((n, 1)), np.ones(n), d.df_within
    if true_value == "constant":
        sums = [(x + y)[subject == s] for s in range(d.sizes.size)]
        response = np.concatenate([response, *map(_contrasts, sums)])
        random = np.repeat([1.0, 0.0], [n, response.size - n])
        subject = np.concatenate((subject, np.repeat(np.arange(len(sums)), [v.size - 1 for v in sums])))
        design, df = random[:, None], 2 * df
    within, between = (unit**2 * variance for variance in _fit(response, design, subject, random))
    bias, influence = _by_subject(1 / (between + within / d.sizes), d)
    parts = Part(1.0, between + within / d.harmonic, d.df_between), Part(1 - 1 / d.harmonic, within, df)
    return Core(bias, influence, parts, between, within)


def variance_and_limits(bias: Estimate, parts: Sequence[Part], z: float, level: float) -> tuple[Estimate, ...]:
    """SD of a single difference, lower and upper limit: bias -+ z sd with MOVER intervals (Zou 2013)."""
    variance, low, high = mover(parts, level)
    sd, sd_low, sd_high = (math.sqrt(max(v, 0.0)) for v in (variance, low, high))
    method = "MOVER"
    result = [Estimate(value=sd, low=sd_low, high=sd_high, level=level, method=method)]
    down, up = z * (sd - sd_low), z * (sd_high - sd)
    below, above = bias.value - bias.low, bias.high - bias.value
    for value, less, more in ((bias.value - z * sd, up, down), (bias.value + z * sd, down, up)):
        result.append(Estimate(value=value, low=value - math.hypot(below, less), high=value + math.hypot(above, more),
                               level=level, method=method))
    return tuple(result)


def _readings(reference: ArrayLike, device: ArrayLike, subject: ArrayLike, nan_policy: str,
              scale: str) -> tuple[FloatArray, FloatArray, NDArray[np.intp]]:
    """Checked readings on their scale, and subjects numbered from 0."""
    checks.columns(reference, device, nan_policy=nan_policy)  # its messages name the two columns alone
    labels = checks.codes(subject, np.size(reference), "subject").astype(float)
    (x, y, kept), _ = checks.table((reference, device, labels), ("reference", "device", "subject"),
                                   nan_policy=nan_policy)
    members = np.unique(kept, return_inverse=True)[1]
    count = int(members.max()) + 1
    if count < 2:
        raise SampleSizeError("`subject` must name at least 2 subjects; got 1: use limits_of_agreement with "
                              "sampling='serial' and speak of this one only")
    if count == x.size:
        raise SampleSizeError("no `subject` has 2 pairs, so that nothing is repeated; use limits_of_agreement")
    if scale == "log":
        errors_on_scale(x, y, scale)  # refuses readings without a logarithm
        x, y = np.log(x), np.log(y)
    return x, y, members


def repeated_limits(
    reference: ArrayLike,
    device: ArrayLike,
    subject: ArrayLike,
    *,
    true_value: str = "constant",
    method: str = "moments",
    scale: Literal["difference", "log"] = "difference",
    coverage: float = 0.95,
    level: float = 0.95,
    nan_policy: NanPolicy = "raise",
) -> RepeatedLimits:
    r"""Bias and limits of agreement for single readings, from several pairs per subject (or session).

    Use it when pairs come in groups that share an error: riders, rides, mountings of a pedal. Limits of all pairs as
    if independent are too narrow, and those of group means miss the noise of single readings. Not for neighbouring
    seconds of one ride: within a subject errors are taken as independent.

    Parameters
    ----------
    reference, device : (n,) array_like
        Paired readings in one unit, n >= 3.
    subject : (n,) array_like
        Label of the subject or session of each pair; at least 2, at least one of them with 2 pairs.
    true_value : {"constant", "varying"}
        Whether what is measured stays the same within a subject. ``constant``: pairing within a subject has no
        meaning, and each method's own scatter counts. ``varying``: only the differences count.
    method : {"moments", "mixed"}
        Mean squares; or restricted maximum likelihood, better if numbers are very unequal (with ``constant`` it takes
        the two methods' scatter within a subject as equal).
    scale : {"difference", "log"}
        Errors device - reference; or log ratios, for which bias and limits are given as ratios.
    coverage : float
        Share of the differences to lie between the limits, in (0, 1).
    level : float
        Confidence level, in (0, 1).
    nan_policy : {"raise", "omit"}
        What to do with NaN: an error, or leave out the pair.

    Returns
    -------
    RepeatedLimits
        ``.bias``, ``.lower``, ``.upper``, ``.sd`` (Estimate), ``.sd_between``, ``.sd_within``.

    Raises
    ------
    InputError
        Bad options or readings, or labels that do not fit.
    SampleSizeError
        Fewer than 3 pairs or 2 subjects, or no subject with 2 pairs.
    ConvergenceError
        A mixed model that does not settle.

    Notes
    -----
    Varying: one-way analysis of the differences, variance = MSB/n0 + (1 - 1/n0) MSW with
    n0 = (N - sum m_i^2/N)/(S - 1), that is between + within (unless MSB < MSW, where it is less than MSW); bias over
    all pairs. Constant: variance of the S differences of means + (1 - mean of 1/m_i) (s_x^2 + s_y^2), bias their
    unweighted mean. The bias' interval is the engine's between subjects, that of the variance a sum of independent
    mean squares (MOVER), that of a limit both together:

    .. math:: L = \bar d + z s - \sqrt{(\bar d - l_d)^2 + z^2 (s - l_s)^2} .

    References
    ----------
    Bland JM, Altman DG (1999) Stat Methods Med Res 8:135-160, section 5; (2007) J Biopharm Stat 17:571-582; Zou GY
    (2013) Stat Methods Med Res 22:630 (citation from memory).

    Examples
    --------
    >>> from agree import repeated_limits
    >>> result = repeated_limits([100, 101, 200, 202, 300, 298], [103, 101, 199, 203, 304, 303], list("aabbcc"))
    >>> print(f"{result.bias.value:.2f} W, SD {result.sd.value:.2f} W from {result.subjects} subjects")
    2.00 W, SD 2.78 W from 3 subjects
    """
    for name, value, allowed in (("true_value", true_value, ("constant", "varying")),
                                 ("method", method, ("moments", "mixed")), ("scale", scale, SCALES)):
        checks.choice(value, name, allowed)
    checks.fraction(level, "level")
    z = float(special.ndtri((1 + checks.fraction(coverage, "coverage")) / 2))
    x, y, members = _readings(reference, device, subject, nan_policy, scale)
    unit = float(np.abs(y - x).max()) or 1.0
    means = np.bincount(members, weights=x / unit) / np.bincount(members)
    # Readings about their subject's mean reference: the model knows nothing of the level, and keeps its digits.
    x, y = x / unit - means[members], y / unit - means[members]
    d, own_x, own_y = (one_way(values, members) for values in (y - x, x, y))
    if method == "moments" or d.between + d.within == 0:
        core = _moments(d, own_x, own_y, true_value)
    else:
        core = _mixed(x, y, members, d, true_value)
    bias = estimate(core.bias, core.influence, level=level, sampling="independent")
    bias = replace(bias, method="t, between subjects")
    bias, sd, lower, upper = (item.scaled(unit) for item in (bias, *variance_and_limits(bias, core.parts, z, level)))
    if scale == "log":
        bias, lower, upper = map(exponential, (bias, lower, upper))
    return RepeatedLimits(bias=bias, lower=lower, upper=upper, sd=sd, sd_between=unit * math.sqrt(core.between),
                          sd_within=unit * math.sqrt(core.within), within_reference=unit * math.sqrt(own_x.within),
                          within_device=unit * math.sqrt(own_y.within), n=x.size, subjects=d.sizes.size,
                          true_value=true_value, method=method, scale=scale, coverage=coverage)
