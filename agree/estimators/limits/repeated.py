"""Limits of agreement from several pairs per subject or session, in equal or unequal numbers."""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy
from agree.core.errors import AssumptionWarning, SampleSizeError
from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.core.thresholds import TOGETHER_P
from agree.estimators.components import Part, mover, one_way
from agree.estimators.limits.repeated_parts import mixed, moments, unweighted
from agree.estimators.rounding import at_least, rounding_of_error
from agree.estimators.scales import errors_on_scale, exponential
from agree.estimators.shape import NORMAL_ONLY, SKEW_COSTS, warn_of_dependent_shape

SCALES = ("difference", "log")
ARITHMETIC = 1e-15  # of the readings: errors that differ by less are equal


@made_by("repeated_limits", also=("LimitsOfAgreement",))
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
        As passed in.
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


def variance_and_limits(bias: Estimate, parts: Sequence[Part], z: float, level: float) -> tuple[Estimate, ...]:
    """SD of a single difference, lower and upper limit: bias -+ z sd with MOVER intervals (Zou 2013)."""
    variance, low, high = mover(parts, level)
    sd, sd_low, sd_high = (math.sqrt(max(v, 0.0)) for v in (variance, low, high))
    method = "MOVER, normal errors"
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
                              "sampling='serial' and speak of this one only", option="subject")
    if count == x.size:
        raise SampleSizeError("no `subject` has 2 pairs, so that nothing is repeated; use limits_of_agreement")
    if scale == "log":
        errors_on_scale(x, y, scale)  # refuses readings without a logarithm
        x, y = np.log(x), np.log(y)
    return x, y, members


def _rounding(x: FloatArray, y: FloatArray, members: NDArray[np.intp], scale: str) -> tuple[float, bool]:
    """Standard error that rounding leaves in the bias, and whether errors differ by the arithmetic alone."""
    error, size = y - x, max(float(np.abs(x).max()), float(np.abs(y).max()))
    one, two = (np.exp(x), np.exp(y)) if scale == "log" else (x, y)
    return rounding_of_error(one, two, scale, members), float(np.ptp(error)) <= ARITHMETIC * size


def _warn_of_varying(x: FloatArray, y: FloatArray, df: int) -> None:
    """Warn if readings about their subjects' means are correlated: then the true value moves within a subject."""
    square = float(x @ x) * float(y @ y)
    if df < 3 or not square > 0:
        return
    r = min(float(x @ y) / math.sqrt(square), 1.0)
    t = r * math.sqrt((df - 1) / max(1 - r * r, 1e-15))
    if 1 - float(special.stdtr(df - 1, t)) < TOGETHER_P:
        warnings.warn(f"`reference` and `device` rise and fall together within subjects (r = {r:.2f}): what is "
                      "measured varies there, and limits for a constant true value count that as error; use "
                      "true_value='varying'", AssumptionWarning, stacklevel=3)


@shared
def repeated_limits(
    reference: ArrayLike,
    device: ArrayLike,
    subject: ArrayLike,
    *,
    true_value: Literal["constant", "varying"] = "varying",
    method: Literal["unweighted", "moments", "mixed"] = "unweighted",
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
    true_value : {"varying", "constant"}
        Whether what is measured stays the same within a subject. ``varying``: only the differences of pairs count;
        right for every table in which the two readings of a pair were taken together, such as those of one trial.
        ``constant``: pairing within a subject has no meaning, and each method's own scatter counts.
    method : {"unweighted", "moments", "mixed"}
        ``unweighted``: subjects have equal weight. ``moments``: mean squares as published, bias over all pairs; the
        same if all subjects have equally many, and too narrow if not. ``mixed``: restricted maximum likelihood (with
        ``constant`` it takes the two methods' scatter within a subject as equal).
    scale : {"difference", "log"}
        Errors device - reference; or log ratios, for which bias and limits are given as ratios.
    coverage : float
        Share of the differences to lie between the limits, in (0, 1).
    {level, nan_policy}

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

    Warns
    -----
    AssumptionWarning
        ``constant``, where the two methods rise and fall together within subjects: what is measured varies there.
        Errors about their subject's mean, or subjects' mean errors, skewed or heavy-tailed beyond chance (p < 0.001).

    See Also
    --------
    limits_of_agreement : One pair for each subject.
    precision : Repeats of one device.

    Notes
    -----
    Varying: one-way analysis of the differences. Unweighted: variance of the S mean differences + (1 - mean of 1/m_i)
    MSW, bias the mean of the means (Thomas & Hultquist 1978). Moments: variance = MSB/n0 + (1 - 1/n0) MSW with
    n0 = (N - sum m_i^2/N)/(S - 1), that is between + within (unless MSB < MSW, where it is less than MSW); bias over
    all pairs. Constant: variance of the S differences of means + (1 - mean of 1/m_i) (s_x^2 + s_y^2), bias their
    unweighted mean. The bias' interval is the engine's between subjects, that of the variance a sum of independent
    mean squares (MOVER), that of a limit both together:

    All of it is for normal errors. Where those of subjects and of pairs are exponential, the limit on the side of the
    long tail is covered in 76, 61 and 10 % of studies of 5, 20 and 100 subjects, the other in 93, 20 and 0 % (100
    runs), and of 20 subjects with 2 pairs only 18 % are warned of: count skewed errors, `quantile_limits` with
    ``session``. Readings rounded to a common step leave at least what rounding leaves in a mean error. With z the
    normal quantile,

    .. math:: L = \bar d + z s - \sqrt{(\bar d - l_d)^2 + z^2 (s - l_s)^2} .

    References
    ----------
    Bland JM, Altman DG (1999) Stat Methods Med Res 8:135-160, section 5; (2007) J Biopharm Stat 17:571-582; Thomas
    JD, Hultquist RA (1978) Ann Stat 6:582; Zou GY (2013) Stat Methods Med Res 22:630 (citations from memory).

    Examples
    --------
    >>> from agree import repeated_limits
    >>> result = repeated_limits([100, 101, 200, 202, 300, 298], [103, 101, 199, 203, 304, 303], list("aabbcc"))
    >>> print(f"{result.bias.value:.2f} W, SD {result.sd.value:.2f} W from {result.subjects} subjects")
    2.00 W, SD 2.53 W from 3 subjects
    """
    for name, value, allowed in (("true_value", true_value, ("constant", "varying")),
                                 ("method", method, ("unweighted", "moments", "mixed")), ("scale", scale, SCALES)):
        checks.choice(value, name, allowed)
    checks.fraction(level, "level")
    z = float(special.ndtri((1 + checks.fraction(coverage, "coverage")) / 2))
    x, y, members = _readings(reference, device, subject, nan_policy, scale)
    floor, alike = _rounding(x, y, members, scale)
    warn_of_dependent_shape(y - x, members, False, NORMAL_ONLY + SKEW_COSTS)
    unit = float(np.abs(y - x).max()) or 1.0
    means = np.bincount(members, weights=x / unit) / np.bincount(members)
    # Readings about their subject's mean reference: the model knows nothing of the level, and keeps its digits.
    x, y = x / unit - means[members], y / unit - means[members]
    d, own_x, own_y = (one_way(values, members) for values in (y - x, x, y))
    if true_value == "constant":
        _warn_of_varying(x - own_x.means[members], y - own_y.means[members], d.df_within)
    if method == "mixed" and d.between + d.within > 0:
        core = mixed(x, y, members, d, true_value)
    else:
        core = (moments if method == "moments" else unweighted)(d, own_x, own_y, true_value)
    bias = estimate(core.bias, core.influence, level=level, sampling="independent")
    bias = replace(bias, method="t, between subjects")
    bias, sd, lower, upper = (item.scaled(unit) for item in (bias, *variance_and_limits(bias, core.parts, z, level)))
    if alike:  # errors that differ by the rounding of the arithmetic have no spread
        sd, lower, upper = (replace(item, value=value, low=value, high=value)
                            for item, value in ((sd, 0.0), (lower, bias.value), (upper, bias.value)))
    bias, lower, upper = (at_least(item, floor, bias.df) for item in (bias, lower, upper))
    if scale == "log":
        bias, lower, upper = map(exponential, (bias, lower, upper))
    between, within = (0.0 if alike else unit * math.sqrt(variance) for variance in (core.between, core.within))
    return RepeatedLimits(bias=bias, lower=lower, upper=upper, sd=sd, sd_between=between, sd_within=within,
                          within_reference=unit * math.sqrt(own_x.within),
                          within_device=unit * math.sqrt(own_y.within), n=x.size, subjects=d.sizes.size,
                          true_value=true_value, method=method, scale=scale, coverage=coverage)
