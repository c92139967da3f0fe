"""Bias and precision of a device beside a reference that has an error of its own, from repeats."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy
from agree.core.errors import AssumptionWarning, InputError, SampleSizeError
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.core.thresholds import LEAST_RELIABILITY

LEAST_SUBJECTS = 5  # a line and two variances of subjects' means, and one subject left out
JACKKNIFE = "jackknife over subjects"


@made_by("bias_and_precision", also=("RepeatedLimits", "SplitErrors"))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BiasAndPrecision(Result):
    """Line of the device on the true level, and the error of a single reading of each.

    Attributes
    ----------
    slope : Estimate
        Device per unit of the true level (proportional bias); 1 is ideal.
    intercept : Estimate
        Device at a true level of 0 (differential bias), in the unit of the readings.
    bias : Estimate
        Mean error of the device at `mean_level`.
    reference_sd, device_sd : Estimate
        SD of a single reading about its true value, or about the line.
    recalibrated_sd : Estimate
        `device_sd` over the slope's size: that of a device whose readings are turned back by the line, to compare with
        `reference_sd`.
    reliability : float
        Share of the variance of the subjects' mean reference that is true, in (0, 1].
    mean_level : float
        Mean of the subjects' mean reference.
    n, subjects : int
        Numbers of pairs and subjects.

    Examples
    --------
    >>> from agree import bias_and_precision
    >>> x = [100, 104, 150, 148, 200, 203, 250, 255, 301, 299]
    >>> y = [103, 101, 157, 154, 211, 205, 260, 266, 316, 310]
    >>> bias_and_precision(x, y, list("aabbccddee")).subjects
    5
    """

    slope: Estimate
    intercept: Estimate
    bias: Estimate
    reference_sd: Estimate
    device_sd: Estimate
    recalibrated_sd: Estimate
    reliability: float
    mean_level: float
    n: int
    subjects: int


class _Subjects(NamedTuple):
    """Of each subject: number of readings, means about the general ones, squares within."""

    size: FloatArray
    x: FloatArray
    y: FloatArray
    within_x: FloatArray
    within_y: FloatArray


class _Found(NamedTuple):
    """For each choice of subjects: line through the centre, and variances."""

    true: FloatArray
    slope: FloatArray
    mean_x: FloatArray
    mean_y: FloatArray
    reference: FloatArray
    repeats: FloatArray
    device: FloatArray


def _by_subject(x: FloatArray, y: FloatArray, member: FloatArray) -> _Subjects:
    index = np.unique(member, return_inverse=True)[1]
    size = np.bincount(index).astype(float)

    def total(values: FloatArray) -> FloatArray:
        return np.bincount(index, weights=values).astype(float)

    mean_x, mean_y = total(x) / size, total(y) / size
    return _Subjects(size, mean_x, mean_y, total(np.square(x - mean_x[index])), total(np.square(y - mean_y[index])))


def _moments(s: _Subjects, chosen: FloatArray) -> _Found:
    """By moments for each row of `chosen`, (k, subjects) of ones and zeros."""
    count, more = chosen.sum(axis=1), chosen @ (s.size - 1)
    mean_x, mean_y = chosen @ s.x / count, chosen @ s.y / count
    xx, yy, xy = ((chosen @ (a * b) - count * ma * mb) / (count - 1)
                  for a, b, ma, mb in ((s.x, s.x, mean_x, mean_x), (s.y, s.y, mean_y, mean_y), (s.x, s.y, mean_x,
                                                                                              mean_y)))
    with np.errstate(divide="ignore", invalid="ignore"):
        reference, own = chosen @ s.within_x / more, chosen @ s.within_y / more
        share = chosen @ (1 / s.size) / count  # of a reading's variance in that of a subject's mean
        true = xx - reference * share
        slope = xy / true
        # About the line: what is the device's own beside its repeats, such as a subject's own error.
        about = (yy - 2 * slope * xy + slope**2 * xx) * (count - 1) / (count - 2)
        between = about - (slope**2 * reference + own) * share
    return _Found(true, slope, mean_x, mean_y, reference, own, own + between)


def _jackknife(values: FloatArray, level: float) -> Estimate:
    """Value and interval from those of all subjects (first) and of all but one; infinite where one makes no sense."""
    whole, rest = float(values[0]), values[1:]
    count = rest.size
    df = count - 2.0  # two parameters of the line
    error = math.sqrt((count - 1) / count * float(np.square(rest - rest.mean()).sum()))
    if not math.isfinite(error):
        return Estimate(value=whole, low=-math.inf, high=math.inf, level=level, method=JACKKNIFE, df=df)
    half = t_quantile(level, df) * error
    return Estimate(value=whole, low=whole - half, high=whole + half, level=level, method=JACKKNIFE,
                    standard_error=error, df=df)


def _root(variances: FloatArray, least: float, level: float) -> Estimate:
    """SD from variances, on the scale of the cube root, where a variance is nearly normal (Wilson & Hilferty 1931).

    The value is at least the root of `least`; the interval is not, since chance goes both ways.
    """
    item = _jackknife(np.cbrt(variances), level)
    value, low, high = (max(v, 0.0) ** 1.5 for v in (item.value, item.low, item.high))
    value = max(value, math.sqrt(least))
    return Estimate(value=value, low=min(low, value), high=max(high, value), level=level, df=item.df,
                    method=JACKKNIFE + ", of the cube root of the variance, back-transformed")


def _reciprocal(variances: FloatArray, level: float) -> Estimate:
    """SD from variances above 0, on the scale of 1/SD: where tails are heavy its upper limit reaches further.

    Of the scales tried it alone covers 95 % for normal errors, and 93 to 95 % for those of Laplace or t with 5 degrees
    of freedom; it has no upper limit where a few subjects hold most of the variance.
    """
    method = JACKKNIFE + ", of 1/SD, back-transformed"
    variances = np.where(variances > checks.SMALL, variances, 0.0)  # of readings of size 1
    if not variances[0] > 0:
        return Estimate(value=0.0, low=0.0, high=0.0, level=level, method=method)
    with np.errstate(divide="ignore", invalid="ignore"):  # all scatter may be one subject's
        item = _jackknife(1 / np.sqrt(variances), level)
    return Estimate(value=1 / item.value, low=1 / item.high, high=1 / item.low if item.low > 0 else math.inf,
                    level=level, method=method, df=item.df)


@shared
def bias_and_precision(
    reference: ArrayLike,
    device: ArrayLike,
    subject: ArrayLike,
    *,
    level: float = 0.95,
    nan_policy: NanPolicy = "raise",
) -> BiasAndPrecision:
    r"""Bias and precision of a device, with the reference's own error taken out, from repeats of one true value.

    Use it where the reference is no better than the device: a difference, or a line that takes the reference for exact,
    then blames the device for what is the reference's. Every subject (rider, block, day) has one true value, read two
    times or more. Not for neighbouring seconds of one ride, whose true value moves.

    Parameters
    ----------
    reference, device : (n,) array_like
        Paired readings in one unit.
    subject : (n,) array_like
        Label of the true value of each pair: at least 5, some of them with 2 pairs.
    {level, nan_policy}

    Returns
    -------
    BiasAndPrecision
        ``.slope``, ``.intercept``, ``.bias``, ``.reference_sd``, ``.device_sd``, ``.recalibrated_sd`` (Estimate);
        ``.reliability``.

    Raises
    ------
    InputError
        Bad options or readings, or subjects that differ by no more than the repeats of the reference.
    SampleSizeError
        Fewer than 5 subjects, or no repeats.

    Warns
    -----
    AssumptionWarning
        Less than half of the variance of the subjects' mean reference is true.

    See Also
    --------
    repeated_limits : Limits for single readings, without asking whose the error is.
    variance_ratio : The two errors alone, for `deming`.
    split_errors : Three devices or more, without repeats.

    Notes
    -----
    Subjects count alike. With m readings of each, means of subjects :math:`\bar x, \bar y` and the mean square w of the
    reference within subjects, the variance of the true levels is :math:`t = s_{\bar x \bar x} - w\,\overline{1/m}`, and

    .. math:: b = s_{\bar x \bar y}/t, \qquad a = \bar{\bar y} - b\,\bar{\bar x} .

    The variance of a single reading of the device is its mean square within subjects, and what the subjects' means
    scatter about the line beyond what both repeats explain; the interval lets that be less than nothing, as chance
    does, the value does not. Intervals: delete one subject, t with two degrees of freedom less than subjects; SDs of
    the device on the scale of the cube root of their squares, that of the reference on the scale of its reciprocal.
    One SD for all levels is assumed. With 12 and 25 subjects slope, intercept and bias cover 94 to 97 %, SDs 93 to
    98 %; where errors have t with 3 degrees of freedom, `reference_sd` covers 84 to 87 %: what rare errors add to an
    SD is not known before they come (benchmarks/coverage_repeats.py).

    References
    ----------
    Fuller WA (1987) Measurement Error Models, section 1.2, for the line; Taffe P (2018) Stat Methods Med Res 27:1650
    for the question and the names (both from memory; his estimator lets the SD depend on the level, this one does not).

    Examples
    --------
    >>> from agree import bias_and_precision
    >>> x = [100, 104, 150, 148, 200, 203, 250, 255, 301, 299]
    >>> y = [103, 101, 157, 154, 211, 205, 260, 266, 316, 310]
    >>> found = bias_and_precision(x, y, list("aabbccddee"))
    >>> print(found.slope, found.reference_sd, found.recalibrated_sd)
    1.060 [1.017, 1.103] 2.4 [1.5, 6.4] 3.3 [0.7, 4.2]
    """
    checks.fraction(level, "level")
    checks.columns(reference, device, nan_policy=nan_policy)  # its messages name the two columns alone
    labels = checks.codes(subject, np.size(reference), "subject").astype(float)
    (x, y, kept), _ = checks.table((reference, device, labels), ("reference", "device", "subject"),
                                   nan_policy=nan_policy)
    unit = float(max(np.abs(x).max(), np.abs(y).max())) or 1.0
    x, y = x / unit, y / unit
    centre_x, centre_y = float(x.mean()), float(y.mean())
    subjects = _by_subject(x - centre_x, y - centre_y, kept)
    count = subjects.size.size
    if count < LEAST_SUBJECTS or (subjects.size > 1).sum() < 2:
        raise SampleSizeError(f"at least {LEAST_SUBJECTS} subjects, two of them with 2 pairs, are needed; got {count} "
                              f"subjects, {(subjects.size > 1).sum()} with repeats")
    found = _moments(subjects, np.vstack([np.ones(count), 1 - np.eye(count)]))
    if not (found.true > 1e-12 * np.square(subjects.x).max()).all():
        raise InputError("the subjects differ by no more than the repeats of `reference`: no line can be told from "
                         "error; record a wider range of levels")
    b, mean_x = found.slope, found.mean_x
    at = float(subjects.x.mean())
    offset = found.mean_y - b * mean_x  # about the centres
    bias = offset + (b - 1) * at + centre_y - centre_x
    intercept = offset + centre_y - b * centre_x
    own = float(found.repeats[0])
    reference_sd = _reciprocal(found.reference, level).scaled(unit)
    device_sd, recalibrated = (_root(v, least, level).scaled(unit) for v, least in (
        (found.device, own), (found.device / b**2, own / float(b[0]) ** 2)))
    total = float(found.true[0] + found.reference[0] * np.mean(1 / subjects.size))
    reliability = float(found.true[0]) / total
    if reliability < LEAST_RELIABILITY:
        warnings.warn(f"error outweighs the range of levels: {100 * reliability:.0f} % of the variance of the "
                      "subjects' mean reference is true; record a wider range, or more repeats", AssumptionWarning,
                      stacklevel=2)
    return BiasAndPrecision(
        slope=_jackknife(b, level), intercept=_jackknife(intercept, level).scaled(unit),
        bias=_jackknife(bias, level).scaled(unit), reference_sd=reference_sd, device_sd=device_sd,
        recalibrated_sd=recalibrated, reliability=reliability, mean_level=(at + centre_x) * unit,
        n=x.size, subjects=count)
