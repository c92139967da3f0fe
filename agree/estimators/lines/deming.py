"""Deming's line: errors in both axes with a known ratio of their variances."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy, Sampling
from agree.core.errors import AssumptionWarning, ConvergenceError, InputError
from agree.core.interval.engine import estimate, invert_test, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import pair_weights
from agree.core.shared_docs import shared
from agree.core.thresholds import LEAST_RELIABILITY
from agree.estimators.lines.line import Line
from agree.estimators.readings import warn_of_alike
from agree.estimators.rounding import at_least, rounding_of_line

MAX_ROUNDS = 100
TOLERANCE = 1e-12


class Fit(NamedTuple):
    """Coefficients with their influence series, and the weights they were found with."""

    slope: float
    intercept: float
    slope_phi: FloatArray
    intercept_phi: FloatArray
    weights: FloatArray
    reliability: float


def _weighted(x: FloatArray, y: FloatArray, w: FloatArray, ratio: float) -> Fit:
    """Solve b^2 Sxy + b (ratio Sxx - Syy) - ratio Sxy = 0 with weighted moments; influences from its derivative."""
    total = w.sum()
    mx, my = (w @ x) / total, (w @ y) / total
    dx, dy = x - mx, y - my
    sxx, syy, sxy = (w @ (dx * dx)) / total, (w @ (dy * dy)) / total, (w @ (dx * dy)) / total
    if not abs(sxy) > 1e-14 * math.sqrt(sxx * syy) or sxx == 0:
        raise InputError("no line: `reference` and `device` do not vary together (covariance 0); "
                         "record a wider range of power")
    gap = syy - ratio * sxx
    root = math.hypot(gap, 2 * math.sqrt(ratio) * sxy)
    # The larger of two equivalent forms, so that nothing cancels.
    slope = (gap + root) / (2 * sxy) if gap > 0 else 2 * ratio * sxy / (root - gap)
    intercept = my - slope * mx
    residual = dy - slope * dx
    score = w / total * x.size * residual * (slope * dy + ratio * dx)
    slope_phi = score / (ratio * sxx - syy + 2 * slope * sxy)
    intercept_phi = w / total * x.size * residual - mx * slope_phi
    return Fit(slope, intercept, slope_phi, intercept_phi, w / total * x.size, float(sxy / slope / sxx))


def _proportional(x: FloatArray, y: FloatArray, of_pairs: FloatArray, ratio: float) -> Fit:
    """Weights 1/(fitted true value)^2, iterated: errors of constant coefficient of variation."""
    fit = _weighted(x, y, of_pairs, ratio)
    for _ in range(MAX_ROUNDS):
        true = (ratio * x + fit.slope * (y - fit.intercept)) / (ratio + fit.slope**2)
        if not (true > 0).all():
            raise InputError(f"weighting='proportional' needs positive true values; got {(true <= 0).sum()} fitted at "
                             f"or below 0, first at index {np.flatnonzero(~(true > 0))[0]}; set low readings aside or "
                             "use weighting='constant'")
        new = _weighted(x, y, of_pairs * (true / true.mean()) ** -2.0, ratio)
        step = max(abs(new.slope - fit.slope) / abs(new.slope), abs(new.intercept - fit.intercept))
        fit = new
        if step <= TOLERANCE:
            return fit
    raise ConvergenceError(f"weighting='proportional' did not settle in {MAX_ROUNDS} rounds (last step {step:.1e}); "
                           "the range of power is too narrow for the scatter: use weighting='constant' or record more")


def _inverted(x: FloatArray, y: FloatArray, fit: Fit, of_pairs: FloatArray, ratio: float,
              walds: tuple[Estimate, Estimate], options: dict[str, Any]) -> tuple[Estimate, Estimate]:
    """Limits of slope and intercept by inverting tests of the estimating equation, in units of the two spreads.

    An intercept a0 is tested as the slope of the line through (0, a0) and the means, with the influence of that
    slope's error, e/mean(x), taken out of the summands; this needs a mean well away from 0.
    """
    slope, intercept = walds
    if not slope.standard_error > 1e-12 * abs(slope.value):
        return walds  # points on a line
    mx, my = (float(fit.weights @ column) / column.size for column in (x, y))
    dx, dy = x - mx, y - my
    sx, sy = (math.sqrt(float(np.mean(column * column))) for column in (dx, dy))
    dx, dy, ratio, unit = dx / sx, dy / sy, ratio * (sx / sy) ** 2, sy / sx
    equation = np.stack((ratio * dx * dy, dy * dy - ratio * dx * dx, -dx * dy))
    own_weights = fit.weights / of_pairs
    _, low, high = invert_test(slope.value / unit, own_weights * equation, **options)
    method = "test inverted: " + slope.method
    slope = replace(slope, low=low * unit, high=high * unit, method=method)
    if abs(mx) > sx:
        sxx, syy, sxy = (float(fit.weights @ product) / x.size for product in (dx * dx, dy * dy, dx * dy))
        turn, bend = syy - ratio * sxx, -2 * sxy
        own = np.stack((turn * dy, bend * dy - turn * dx, -bend * dx)) / (mx / sx)
        ends = (my - b * unit * mx for b in
                invert_test(fit.slope / unit, own_weights * (equation + own), **options)[1:])
        low, high = sorted(ends)
        intercept = replace(intercept, low=low, high=high, method=method)
    return slope, intercept


def _left_out(x: FloatArray, y: FloatArray, fit: Fit, ratio: float, level: float) -> tuple[Estimate, Estimate]:
    """Limits for independent pairs from the jackknife: its pseudo-values are the influences (weights are kept)."""
    w, total = fit.weights, float(x.size)
    mx, my = float(w @ x) / total, float(w @ y) / total
    dx, dy = x - mx, y - my
    rest = total - w
    sxx, syy, sxy = (float(w @ product) - w * product * total / rest for product in (dx * dx, dy * dy, dx * dy))
    least = 1e-12 * math.sqrt(float(w @ (dx * dx)) * float(w @ (dy * dy)))
    sxy[np.abs(sxy) <= least] = math.nan  # the rest makes no line
    gap = syy - ratio * sxx
    root = np.hypot(gap, 2 * math.sqrt(ratio) * sxy)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(gap > 0, (gap + root) / (2 * sxy), 2 * ratio * sxy / (root - gap))
    intercept = my - w * dy / rest - slope * (mx - w * dx / rest)
    found = []
    for value, without in ((fit.slope, slope), (fit.intercept, intercept)):
        item = estimate(value, -(x.size - 1) * without, level=level, sampling="independent")
        method = "jackknife: " + item.method
        found.append(replace(item, method=method) if math.isfinite(item.standard_error) else
                     replace(item, low=-math.inf, high=math.inf, method=method))
    return found[0], found[1]


def _warn_of_no_range(reliability: float) -> None:
    if reliability < LEAST_RELIABILITY:
        warnings.warn(f"error outweighs the range of power: at this `error_variance_ratio`, {100 * reliability:.0f} % "
                      "of the reference's variance is true, and the ratio decides the slope; record a wider range",
                      AssumptionWarning, stacklevel=3)


def deming_line(
    x: FloatArray, y: FloatArray, labels: NDArray[Any] | None, *, ratio: float = 1.0, weighting: str = "constant",
    level: float = 0.95, sampling: str = "independent", half_weight_n: float = 0.0,
) -> tuple[Line, float]:
    """Fit Deming's line to checked columns without a warning; and the share of the reference's variance that is true.

    Parameters and Raises as for `deming`, `ratio` being its `error_variance_ratio`, `half_weight_n` as for
    `agree.core.interval.over_sessions.session_shares`.
    """
    unit = float(max(np.abs(x).max(), np.abs(y).max())) or 1.0
    rounded = x, y
    x, y = x / unit, y / unit
    of_pairs = np.ones(x.size) if labels is None else pair_weights(labels, half_weight_n)
    fit = (_weighted if weighting == "constant" else _proportional)(x, y, of_pairs, ratio)
    if sampling == "independent":
        slope, intercept = _left_out(x, y, fit, ratio, level)
    else:
        options: dict[str, Any] = {"level": level, "sampling": sampling, "session": labels,
                                   "half_weight_n": half_weight_n}
        slope, intercept = (estimate(value, phi / of_pairs, **options)
                            for value, phi in ((fit.slope, fit.slope_phi), (fit.intercept, fit.intercept_phi)))
        slope, intercept = _inverted(x, y, fit, of_pairs, ratio, (slope, intercept), options)
    slope, intercept = (at_least(item, floor, item.df) for item, floor in zip(
        (slope, intercept.scaled(unit)), rounding_of_line(*rounded, slope.value, labels), strict=True))
    line = Line(slope=slope, intercept=intercept, n=x.size, kind="Deming", sampling=sampling, reference=x * unit,
                device=y * unit)
    return line, fit.reliability


@shared
def deming(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    error_variance_ratio: float = 1.0,
    weighting: Literal["constant", "proportional"] = "constant",
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> Line:
    r"""Line device = intercept + slope * reference when both readings carry error.

    Use it when the ratio of the two error variances is known or can be argued. Not for one steady block of power:
    the slope is then decided by the errors.

    Parameters
    ----------
    {pairs}
    error_variance_ratio : float
        Variance of the device's error over variance of the reference's error, > 0.
    weighting : {"constant", "proportional"}
        Errors of constant size, or in proportion to the true value (constant coefficient of variation), fitted
        with weights 1/(fitted true value)^2, iterated.
    {level}
    sampling : {"independent", "serial", "sessions"}, optional
        How pairs depend on each other. With ``sessions`` the line is fitted to sessions of equal weight.
    {session, nan_policy}

    Returns
    -------
    Line
        ``.slope``, ``.intercept`` (Estimate), ``.n``.

    Raises
    ------
    InputError
        Bad options or readings, no joint variation, or non-positive true values with ``proportional``.
    {few}
    ConvergenceError
        Proportional weights that do not settle.

    Warns
    -----
    AssumptionWarning
        The data hardly identify the slope: at this ratio less than half of the reference's variance is true
        (Sxy / slope below Sxx / 2). Infinite limits speak for themselves.
    {drift, alike}

    See Also
    --------
    variance_ratio : Find the ratio it needs.
    york : The uncertainty of every reading is known.
    passing_bablok : Wild readings do not move it.

    Notes
    -----
    With centred moments Sxx, Syy, Sxy and ratio L the slope solves b^2 Sxy + b (L Sxx - Syy) - L Sxy = 0, that is

    .. math:: b = \frac{S_{yy} - L S_{xx} + \sqrt{(S_{yy} - L S_{xx})^2 + 4 L S_{xy}^2}}{2 S_{xy}}.

    Independent pairs: the limits are the jackknife's, estimate -+ t standard errors of the pseudo-values (Linnet 1990);
    in simulations they covered 93 to 96 % from 6 pairs on. Else the influence of the slope is the summand of this
    equation, residual * (b dy + L dx), over its derivative, and the limits of the slope are the values at which a t
    test of the equation, with the engine's standard error at that value, turns; they need not be symmetric, and are
    infinite where the data do not bound the slope. So are those of the intercept, unless the mean reference is within
    one standard deviation of 0: then the estimate -+ t standard errors.

    References
    ----------
    Deming WE (1943) Statistical Adjustment of Data; Fuller WA (1987) Measurement Error Models, section 1.3;
    Linnet K (1990) Stat Med 9:1463 for proportional errors (citations from memory).

    Examples
    --------
    >>> from agree import deming
    >>> line = deming([100, 150, 200, 250, 300, 350], [103, 151, 208, 254, 312, 357])
    >>> f"{line.slope.value:.6f} {line.intercept.value:.6f}"
    '1.028509 -0.581165'
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    checks.fraction(level, "level")
    checks.choice(weighting, "weighting", ("constant", "proportional"))
    ratio = checks.positive(error_variance_ratio, "error_variance_ratio")
    line, reliability = deming_line(x, y, labels, ratio=ratio, weighting=weighting, level=level, sampling=sampling)
    warn_of_drift(line.slope, line.intercept)
    _warn_of_no_range(reliability)
    warn_of_alike(y - line.intercept.value - line.slope.value * x, sampling, along=x)
    return line
