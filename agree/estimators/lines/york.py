"""York's line: standard uncertainties of every reading stated, in both axes, errors of a pair correlated or not."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy, Sampling
from agree.core.errors import AssumptionWarning, InputError
from agree.core.interval.engine import estimate, t_quantile, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.shared_docs import made_by, shared
from agree.core.thresholds import UNLIKELY_P
from agree.estimators.lines.line import Line
from agree.estimators.lines.york_fit import Stated, influences, intercept_scores, inverted, slope_scores, solve
from agree.estimators.readings import warn_of_alike


@made_by("york", also=("Line",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class YorkLine(Line):
    """A line fitted with stated uncertainties, and whether the scatter agrees with them.

    Attributes
    ----------
    u_slope, u_intercept, covariance : float
        Standard uncertainties and covariance that follow from the stated uncertainties (adjusted points).
    u_slope_scaled, u_intercept_scaled : float
        The same times sqrt(chi_square/df): as if the stated uncertainties were right up to one factor.
    chi_square, df : float
        Weighted sum of squared residuals, and n - 2.
    p_value : float
        Probability of a chi-square as large or larger if the stated uncertainties and the line are right.

    Examples
    --------
    >>> from agree import york
    >>> line = york([100, 150, 200, 250], [102, 154, 203, 256], u_reference=1.0, u_device=2.0)
    >>> line.kind, f"{line.chi_square:.2f} on {line.df:.0f}"
    ('York', '0.54 on 2')
    """

    u_slope: float
    u_intercept: float
    covariance: float
    u_slope_scaled: float
    u_intercept_scaled: float
    chi_square: float
    df: float
    p_value: float


def _uncertainty(values: ArrayLike, name: str, keep: Any) -> FloatArray:
    array = np.asarray(values)
    column = checks.vector(np.full(keep.size, array) if array.ndim == 0 else values, name)
    if column.shape != keep.shape:
        raise InputError(f"`{name}` must be one number or one for each pair; got {column.size} for {keep.size} pairs",
                         option=name)
    kept: FloatArray = column[keep]
    return kept


def _stated(x: FloatArray, y: FloatArray, keep: Any, u_reference: ArrayLike, u_device: ArrayLike,
            correlation: ArrayLike) -> tuple[Stated, float, float]:
    """Check the uncertainties; return the data in units of the largest reading, that unit, and that of the u."""
    ux, uy = _uncertainty(u_reference, "u_reference", keep), _uncertainty(u_device, "u_device", keep)
    r = _uncertainty(correlation, "correlation", keep)
    for name, u in (("u_reference", ux), ("u_device", uy)):
        bad = ~(u >= 0) | np.isinf(u)
        if bad.any():
            raise InputError(f"`{name}` must hold standard uncertainties of 0 or more, in the unit of the readings; "
                             f"got {u[bad][0]:g} at index {np.flatnonzero(keep)[bad][0]}", option=name)
    if not (np.abs(r) < 1).all():
        raise InputError(f"`correlation` must lie strictly between -1 and 1; got {r[~(np.abs(r) < 1)][0]:g}",
                         option="correlation")
    nothing = (ux == 0) & (uy == 0)
    if nothing.any():
        raise InputError(f"`u_reference` and `u_device` must not both be 0; got {nothing.sum()} such pair(s), first at "
                         f"index {np.flatnonzero(keep)[nothing][0]}", option="u_reference")
    unit = float(max(np.abs(x).max(), np.abs(y).max())) or 1.0
    unit_u = float(max(ux.max(), uy.max()))
    ux, uy = ux / unit_u, uy / unit_u
    return Stated(x / unit, y / unit, ux * ux, uy * uy, r * ux * uy), unit, unit_u / unit


@shared
def york(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    u_reference: ArrayLike,
    u_device: ArrayLike,
    correlation: ArrayLike = 0.0,
    scaled: bool = False,
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> YorkLine:
    r"""Line device = intercept + slope * reference when the standard uncertainty of every reading is known.

    Use it when calibration certificates or a model of each meter state the uncertainties; where only the ratio of the
    two is known, use `deming`. An uncertainty shared by all readings (a wrong scale) is not scatter and does not
    belong here.

    Parameters
    ----------
    reference, device : (n,) array_like
        Paired readings, n >= 3; in order of time for serial sampling.
    u_reference, u_device : float or (n,) array_like
        Standard uncertainties (one standard deviation), >= 0, in the unit of the readings; of a pair not both 0.
    correlation : float or (n,) array_like
        Correlation of the two errors of a pair, in (-1, 1).
    scaled : bool
        Independent pairs: False takes the stated uncertainties as they are (normal interval); True multiplies by
        sqrt(chi-square/(n - 2)) and takes t with n - 2 degrees of freedom.
    {level}
    sampling : {"independent", "serial", "sessions"}, optional
        How pairs depend on each other. With serial and sessions the stated uncertainties set the weights only; the
        interval rests on the residuals.
    {session}
    nan_policy : {"raise", "omit"}
        What to do with NaN readings: an error, or leave out the pair.

    Returns
    -------
    YorkLine
        ``.slope``, ``.intercept`` (Estimate), ``.u_slope``, ``.u_intercept``, ``.covariance``, their scaled forms,
        ``.chi_square``, ``.df``, ``.p_value``.

    Raises
    ------
    InputError
        Bad options, readings or uncertainties, or no joint variation.
    {few}
    ConvergenceError
        Uncertainties as large as the range: no slope is best.

    Warns
    -----
    AssumptionWarning
        Independent, unscaled: a chi-square that the stated uncertainties exceed with probability below 0.001.
    {drift, alike}

    See Also
    --------
    deming : One ratio of error variances for all readings.
    passing_bablok : No uncertainties needed.

    Notes
    -----
    Minimises the sum of w e^2 with e = y - a - b x and w = 1/(u_y^2 - 2 b r u_x u_y + b^2 u_x^2). With adjusted
    references X = x + w e (b u_x^2 - r u_x u_y), mean m = sum w X / sum w: u(b)^2 = 1/sum w (X - m)^2,
    u(a)^2 = 1/sum w + m^2 u(b)^2, cov(a, b) = -m u(b)^2. The influences are those of the two estimating equations,
    w e and w e X; with serial and session sampling the limits are the values at which a t test of the equations,
    with the engine's standard error at that value, turns (infinite where it rejects none).

    References
    ----------
    York D, Evensen N, Martinez M, De Basabe Delgado J (2004) Am J Phys 72:367-375, doi 10.1119/1.1632486.
    ISO/TS 28037:2010, clauses 6 to 8 (from memory).

    Examples
    --------
    >>> from agree import york
    >>> line = york([1.2, 1.9, 2.9, 4.0, 4.7, 5.9], [3.4, 4.4, 7.2, 8.5, 10.8, 13.5], u_reference=0.2,
    ...             u_device=[0.2, 0.2, 0.2, 0.4, 0.4, 0.4])  # ISO/TS 28037:2010, 7.4
    >>> f"{line.slope.value:.4f} ({line.u_slope:.4f}), {line.intercept.value:.4f} ({line.u_intercept:.4f})"
    '2.1597 (0.1355), 0.5788 (0.4764)'
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    checks.fraction(level, "level")
    if not isinstance(scaled, bool | np.bool_):
        raise InputError(f"`scaled` must be True or False; got {scaled!r}", option="scaled")
    if scaled and sampling != "independent":
        raise InputError(f"scaled=True is for independent pairs; with sampling={sampling!r} the interval rests on the "
                         "residuals already: leave `scaled` out")
    keep = ~(np.isnan(checks.vector(reference, "reference")) | np.isnan(checks.vector(device, "device")))
    data, unit, unit_u = _stated(x, y, keep, u_reference, u_device, correlation)
    fit = solve(data)
    phi = influences(data, fit)
    total = float(fit.w.sum())
    m = float(fit.w @ fit.adjusted / total)
    v_slope = 1 / float(fit.w @ (fit.adjusted - m) ** 2)
    u_b, u_a = unit_u * math.sqrt(v_slope), unit_u * math.sqrt(1 / total + m * m * v_slope)
    chi_square, df = float(fit.w @ fit.residual**2) / unit_u**2, float(x.size - 2)
    p_value, factor = float(special.chdtrc(df, chi_square)), math.sqrt(chi_square / df)
    if sampling != "independent":
        slope, intercept = (estimate(value, row, level=level, sampling=sampling, session=labels)
                            for value, row in ((fit.slope, phi[0]), (fit.intercept, phi[1])))
        ends = (inverted(slope, lambda b: slope_scores(data, b), sampling, labels),
                inverted(intercept, lambda a: intercept_scores(data, a, fit.slope), sampling, labels))
        slope, intercept = (replace(item, low=low, high=high, method="test inverted: " + item.method)
                            for item, (low, high) in zip((slope, intercept), ends, strict=True))
        warn_of_drift(slope, intercept)
    else:
        times, freedom = (factor, df) if scaled else (1.0, math.inf)
        method = "t, stated uncertainties scaled by the scatter" if scaled else "normal, stated uncertainties"
        slope, intercept = (_stated_estimate(value, times * u, freedom, level, method)
                            for value, u in ((fit.slope, u_b), (fit.intercept, u_a)))
        if not scaled and p_value < UNLIKELY_P:
            warnings.warn(f"the readings scatter more than the stated uncertainties allow: chi-square {chi_square:.4g} "
                          f"on {df:.0f} degrees of freedom, probability {p_value:.1g}; the intervals are too narrow: "
                          "use scaled=True, or look for what the uncertainties leave out",
                          AssumptionWarning, stacklevel=2)
    warn_of_alike(fit.residual, sampling, along=x)
    return YorkLine(slope=slope, intercept=intercept.scaled(unit), n=x.size, kind="York", sampling=sampling,
                    u_slope=u_b, u_intercept=u_a * unit, covariance=-m * v_slope * unit_u**2 * unit,
                    u_slope_scaled=u_b * factor, u_intercept_scaled=u_a * factor * unit, chi_square=chi_square, df=df,
                    p_value=p_value)


def _stated_estimate(value: float, u: float, df: float, level: float, method: str) -> Estimate:
    half = t_quantile(level, df) * u
    return Estimate(value=value, low=value - half, high=value + half, level=level, method=method, standard_error=u,
                    df=df)
