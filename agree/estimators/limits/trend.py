"""Limits of agreement that follow a line: bias and spread of the errors by level."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import LogScale, NanPolicy, Sampling
from agree.core.errors import InputError
from agree.core.interval.engine import estimate, t_quantile, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.covariate import covariate
from agree.estimators.limits.level_lines import sessions_df, trend_of, trend_over_sessions
from agree.estimators.readings import warn_of_alike
from agree.estimators.scales import errors_on_scale, exponential


def centred_level(level: FloatArray) -> tuple[FloatArray, float, float]:
    """Return u = (level - centre)/stretch within [-1, 1], the centre and the stretch."""
    centre = float(level.mean())
    u = level - centre
    stretch = float(np.abs(u).max())
    if not stretch > 1e-12 * float(np.abs(level).max()):
        raise InputError("no regression on level: every pair has the same level; use limits_of_agreement, or record a "
                         "wider range of power")
    return u / stretch, centre, stretch


def _fewer(item: Estimate, pull: FloatArray | None, weights: FloatArray) -> Estimate:
    """Widen an interval between sessions to the degrees of freedom of its combination of coefficients."""
    if pull is None:
        return item
    if not math.isfinite(item.standard_error):  # one session alone tells of it
        return replace(item, low=-math.inf, high=math.inf, df=math.nan)
    df = sessions_df(pull, weights)
    half = t_quantile(item.level, df) * item.standard_error
    return replace(item, low=item.value - half, high=item.value + half, df=df)


@made_by("regression_limits", also=("RegressionLimits",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LimitsAt(Result):
    """Bias and limits at one level.

    Attributes
    ----------
    level_w : float
        The level asked for.
    bias, lower, upper, sd : Estimate
        Fitted mean error, limits, and standard deviation (of log ratios if ``scale="log"``) there.
    extrapolated : bool
        True if no pair is as low, or as high, as that.

    Examples
    --------
    >>> from agree import regression_limits
    >>> regression_limits([100, 200, 300, 400], [101, 199, 303, 396]).at(500).extrapolated
    True
    """

    level_w: float
    bias: Estimate
    lower: Estimate
    upper: Estimate
    sd: Estimate
    extrapolated: bool


@made_by("regression_limits", also=("LimitsAt",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RegressionLimits(Result):
    """Limits of agreement along a line.

    Attributes
    ----------
    intercept, slope : Estimate
        Mean error = intercept + slope * level, on the scale of the errors (log ratio if ``scale="log"``).
    sd_intercept, sd_slope : Estimate
        Standard deviation of the errors = sd_intercept + sd_slope * level.
    residual_sd : float
        Standard deviation about the line, divisor n - 2 (n - 1 if ``bias="constant"``).
    lowest, highest : float
        Range of the levels seen.
    n : int
        Number of pairs.
    against, scale, sampling : str
        As passed in; `against` is "by" if the limits follow another covariate than the level.
    coverage, level : float
        As passed in.

    Examples
    --------
    >>> from agree import regression_limits
    >>> regression_limits([100, 200, 300, 400], [101, 199, 303, 396], against="reference").highest
    400.0
    """

    intercept: Estimate
    slope: Estimate
    sd_intercept: Estimate
    sd_slope: Estimate
    residual_sd: float
    lowest: float
    highest: float
    n: int
    against: str
    scale: str
    sampling: str
    coverage: float
    level: float
    _unit: tuple[float, float, float] = field(repr=False)
    _coefficients: FloatArray = field(repr=False)
    _influence: FloatArray = field(repr=False)
    _session: NDArray[Any] | None = field(repr=False)
    _pull: FloatArray | None = field(repr=False)

    def _estimate(self, weights: FloatArray) -> Estimate:
        item = estimate(float(weights @ self._coefficients), weights @ self._influence, level=self.level,
                        sampling=self.sampling, session=self._session)
        return _fewer(item, self._pull, weights).scaled(self._unit[0])

    def at(self, level_w: float) -> LimitsAt:
        """Return bias, limits and standard deviation at a level, in the units of the readings.

        Raises
        ------
        InputError
            A level that is no finite number, or where the fitted standard deviation is 0 or less.
        """
        number = isinstance(level_w, int | float | np.number) and math.isfinite(level_w)
        if not number:
            raise InputError(f"`level_w` must be a finite number; got {level_w!r}", option="level_w")
        _, centre, stretch = self._unit
        u = (float(level_w) - centre) / stretch
        z = float(special.ndtri((1 + self.coverage) / 2))
        sd = self._estimate(np.array([0, 0, 1, u]))
        if sd.value < 0 or (sd.value == 0 and self.residual_sd > 0):
            raise InputError(f"the fitted standard deviation is {sd.value:.3g} at {level_w:g}: no limits there; ask "
                             f"within {self.lowest:g} to {self.highest:g}, or use spread='constant'")
        factor = math.exp(min(700.0, (sd.high - sd.value) / sd.value)) if sd.value > 0 else 1.0
        sd = replace(sd, low=sd.value / factor, high=sd.value * factor, method=sd.method + ", log scale")
        bias, lower, upper = (self._estimate(np.array([1, u, k * z, k * z * u])) for k in (0, -1, 1))
        warn_of_drift(bias, lower, upper)
        if self.scale == "log":
            bias, lower, upper = map(exponential, (bias, lower, upper))
        return LimitsAt(level_w=float(level_w), bias=bias, lower=lower, upper=upper, sd=sd,
                        extrapolated=not self.lowest <= level_w <= self.highest)


@shared
def regression_limits(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    against: Literal["mean", "reference"] = "mean",
    bias: Literal["line", "constant"] = "line",
    spread: Literal["line", "constant"] = "line",
    scale: LogScale = "difference",
    coverage: float = 0.95,
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    by: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> RegressionLimits:
    r"""Limits of agreement that shift, or widen, with the level of the readings.

    Use it when the error grows or turns with power, or with what `by` gives, in a way that no scale removes. Not for
    one steady block of power.

    Parameters
    ----------
    {pairs}
    against : {"mean", "reference"}
        Level of a pair: mean of the two readings, or the reference. On the reference, the reference's own errors
        pull the slope down by (their variance)/(variance of the reference).
    bias, spread : {"line", "constant"}
        Whether the mean error, and its standard deviation, follow the level.
    {log_scale, coverage, level, sampling, session}
    by : (n,) array_like, optional
        What the limits follow instead of the level: cadence, temperature, time; finite numbers. `level_w` of the result
        is then a value of it.
    {nan_policy}

    Returns
    -------
    RegressionLimits
        ``.intercept``, ``.slope`` (Estimate), ``.residual_sd``, ``.at(level_w)`` for the limits at a level.

    Raises
    ------
    InputError
        Bad options or readings, or one level only.
    {few}

    Warns
    -----
    {drift, alike}

    See Also
    --------
    look_at_errors : Whether limits have to follow the level.
    bias_by_band : The error by band.

    Notes
    -----
    Least squares of the error on level A gives b0 + b1 A; least squares of the absolute residuals gives c0 + c1 A,
    and for normal errors sd(A) = sqrt(pi/2) (c0 + c1 A); limits b0 + b1 A -+ z sd(A). Intervals come from the
    influences of all four coefficients (robust to unequal spread); no small-sample correction is made to sd(A). Over
    sessions, which count alike, the influences are those of leaving out each session, and the degrees of
    freedom count the sessions that tell of a coefficient (Bell & McCaffrey 2002). They take the place of a mixed model
    with covariate and unequal spread: with 6 to 25 sessions that differ, bias, SD and limits by a covariate cover 94 to
    96 %; the SD covers 78 % where errors have t with 5 degrees of freedom, and 60 % where it is no line
    (benchmarks/coverage_limits.py --by, error 1 to 2).

    References
    ----------
    Bland JM, Altman DG (1999) Stat Methods Med Res 8:135-160, section 3.

    Examples
    --------
    >>> from agree import regression_limits
    >>> result = regression_limits([100, 150, 200, 250, 300, 350], [101, 149, 203, 248, 306, 341])
    >>> there = result.at(200)
    >>> print(f"{there.bias.value:.2f} W, limits {there.lower.value:.1f} to {there.upper.value:.1f} W")
    0.12 W, limits -7.1 to 7.3 W
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    checks.fraction(level, "level")
    checks.fraction(coverage, "coverage")
    checks.choice(against, "against", ("mean", "reference"))
    for name, value in (("bias", bias), ("spread", spread)):
        checks.choice(value, name, ("line", "constant"))
    d = errors_on_scale(x, y, scale)
    place = covariate(by, reference, device) if by is not None else (x + y) / 2 if against == "mean" else x
    u, centre, stretch = centred_level(place)
    unit = float(np.abs(d).max()) or 1.0
    sloped, widens = bias == "line", spread == "line"
    lines = (trend_of(u, d / unit, bias=sloped, spread=widens) if labels is None else
             trend_over_sessions(u, d / unit, labels, bias=sloped, spread=widens))
    mean, influence, coefficients = lines.mean, lines.influence, lines.coefficients
    parameters = 2 if bias == "line" else 1
    zero = -centre / stretch
    rows = np.array([[1, zero, 0, 0], [0, 1 / stretch * unit, 0, 0], [0, 0, 1, zero], [0, 0, 0, 1 / stretch * unit]])
    rows[[0, 2]] *= unit
    found = [_fewer(estimate(float(row @ coefficients), row @ influence, level=level, sampling=sampling,
                             session=labels), lines.pull, row) for row in rows]
    warn_of_drift(*found)
    warn_of_alike(mean.residual, sampling, along=place)
    sd = unit * math.sqrt(float(mean.residual @ mean.residual) / max(x.size - parameters, 1))
    return RegressionLimits(intercept=found[0], slope=found[1], sd_intercept=found[2], sd_slope=found[3],
                            residual_sd=sd, lowest=float(place.min()), highest=float(place.max()), n=x.size,
                            against=against if by is None else "by", scale=scale, sampling=sampling,
                            coverage=coverage, level=level,
                            _unit=(unit, centre, stretch), _coefficients=coefficients, _influence=influence,
                            _session=labels, _pull=lines.pull)
