"""The two methods side by side: typical error of each, their ratio, and a line with both axes in error."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.thresholds import LEAST_RELIABILITY
from agree.estimators.components import OneWay, one_way, square_limits
from agree.estimators.indices.intraclass import Intraclass, intraclass
from agree.estimators.lines.deming import deming
from agree.estimators.lines.line import Line

LEAST_DF = 3  # repeats over subjects, below which a ratio of spreads says nothing
LEAST_SUBJECTS = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideBySide(Result):
    """Both methods side by side.

    Attributes
    ----------
    reference_error, device_error : Estimate or None
        Typical error: SD of a single trial about its subject's mean; the subject's own variation is in both. None
        without repeats.
    ratio : Estimate or None
        The device's over the reference's.
    line : Line or None
        Deming's line of the device on the reference, through the subjects' means.
    variance_ratio : float
        Ratio of error variances the line was fitted with; 1 without repeats, an assumption.
    icc : Intraclass or None
        Intraclass correlation of the subjects' means by the two methods.
    subjects_sd : float
        SD between subjects of their mean reference.
    """

    reference_error: Estimate | None
    device_error: Estimate | None
    ratio: Estimate | None
    line: Line | None
    variance_ratio: float
    icc: Intraclass | None
    subjects_sd: float


def side_by_side(
    reference: FloatArray, of_reference: NDArray[np.intp], device: FloatArray, of_device: NDArray[np.intp],
    level: float, *, paired: bool = True,
) -> SideBySide:
    """Compare the methods' repeatability and put a line through subjects' means; subjects are numbered from 0."""
    x, y = one_way(reference, of_reference), one_way(device, of_device)
    ratio = _ratio(reference, device, x, y, of_reference, of_device, level, paired=paired)
    lam = ratio.value**2 if ratio is not None and ratio.value > 0 else 1.0
    line: Line | None = None
    icc: Intraclass | None = None
    if x.means.size >= LEAST_SUBJECTS:
        try:
            if _reliability(x.means, y.means, lam) >= LEAST_RELIABILITY:
                # Subjects have no order of time: sorted, neighbours that are alike are not taken for it.
                order = np.argsort(x.means, kind="stable")
                line = deming(x.means[order], y.means[order], error_variance_ratio=lam, level=level)
            icc = intraclass(np.column_stack((x.means, y.means)), level=level)
        except InputError:  # levels that do not differ: there is no line to draw
            pass
    return SideBySide(reference_error=_typical(x, level), device_error=_typical(y, level), ratio=ratio, line=line,
                      variance_ratio=lam, icc=icc, subjects_sd=float(x.means.std(ddof=1)))


def _reliability(x: FloatArray, y: FloatArray, ratio: float) -> float:
    """Share of the reference's variance that is true at this ratio of error variances; small: no line can be told."""
    sxx, sxy, _, syy = np.cov(x, y).ravel().tolist()
    gap = syy - ratio * sxx
    slope = (gap + math.hypot(gap, 2 * math.sqrt(ratio) * sxy)) / (2 * sxy) if sxy else math.inf
    return sxy / slope / sxx if sxx > 0 and slope else 0.0


def _typical(a: OneWay, level: float) -> Estimate | None:
    if a.df_within < 1:
        return None
    low, high = square_limits(a.within, a.df_within, level)
    return Estimate(value=math.sqrt(a.within), low=math.sqrt(low), high=math.sqrt(high), level=level,
                    method="chi-square", df=float(a.df_within))


def _ratio(
    reference: FloatArray, device: FloatArray, x: OneWay, y: OneWay, of_reference: NDArray[np.intp],
    of_device: NDArray[np.intp], level: float, *, paired: bool,
) -> Estimate | None:
    r"""Ratio of the typical errors.

    Paired trials share the subject's variation, so that the two spreads are correlated: limits of the ratio of
    variances q are :math:`q (K \mp \sqrt{K^2 - 1})`, :math:`K = 1 + 2 (1 - r^2) t^2/(\nu - 1)`, with r the correlation
    within subjects and nu = N - S (Pitman 1939; Morgan 1939, from memory). Unpaired: Fisher's F.
    """
    if min(x.df_within, y.df_within) < LEAST_DF or x.within <= 0 or y.within <= 0:
        return None
    q = y.within / x.within
    if paired:
        own = [values - a.means[index] for values, a, index in
               ((reference, x, of_reference), (device, y, of_device))]
        r = float(np.clip(own[0] @ own[1] / math.sqrt((own[0] @ own[0]) * (own[1] @ own[1])), -1, 1))
        df = x.df_within - 1
        k = 1 + 2 * (1 - r * r) * t_quantile(level, df) ** 2 / df
        away = k + math.sqrt(k * k - 1)
        low, high, method = q / away, q * away, "Pitman and Morgan, within subjects"
    else:
        from scipy import special

        tail = (1 - level) / 2
        low, high = (q / float(special.fdtri(y.df_within, x.df_within, p)) for p in (1 - tail, tail))
        method = "F"
    return Estimate(value=math.sqrt(q), low=math.sqrt(low), high=math.sqrt(high), level=level, method=method)
