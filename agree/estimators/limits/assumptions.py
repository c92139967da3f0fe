"""What limits of agreement take for granted, looked at in the errors themselves, and what to do about it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from agree.core import checks
from agree.core.choices import LogScale, NanPolicy, Sampling
from agree.core.errors import InputError
from agree.core.interval.engine import estimate, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.results.words import estimate_text
from agree.core.shared_docs import made_by, shared
from agree.core.thresholds import KURTOSIS_PASSES, SHARE_PASSES, SKEWNESS_PASSES, SPREAD_PASSES, TREND_PASSES
from agree.estimators.limits.level_lines import spread_curve, straight
from agree.estimators.limits.ordered import effective_pairs
from agree.estimators.limits.trend import centred_level
from agree.estimators.readings import warn_of_alike
from agree.estimators.scales import errors_on_scale

LOOKS, LEAST_KURTOSIS = 6, 1.0  # kurtosis is at least 1 + skewness^2, of any errors (Pearson 1916, from memory)
PRESENT, ABSENT, OPEN = "present", "absent", "not settled"
ADVICE = {"limits_of_agreement": "limits from this scale are fine", "percent": "use scale='percent'",
          "regression_limits": "use regression_limits", "quantile_limits": "use quantile_limits"}


@made_by("look_at_errors", also=("ErrorLook",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look(Result):
    """One assumption looked at.

    Attributes
    ----------
    name : {"trend", "spread", "skewness", "kurtosis", "share below", "share above"}
        What was looked at.
    estimate : Estimate
        Size of its consequence.
    ideal, low, high : float
        The size if the assumption holds, and the range that is let pass.
    finding : {"absent", "present", "not settled"}
        Interval inside the range; value outside and interval clear of the ideal; or neither.

    Examples
    --------
    >>> from agree import look_at_errors
    >>> look = look_at_errors([100, 200, 300, 400], [101, 199, 303, 396]).looks[0]
    >>> look.name, look.finding
    ('trend', 'not settled')
    """

    name: str
    estimate: Estimate
    ideal: float
    low: float
    high: float
    finding: str


@made_by("look_at_errors", also=("Look",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ErrorLook(Result):
    """Assumptions of limits of agreement, and what follows.

    Attributes
    ----------
    recommendation : {"limits_of_agreement", "percent", "regression_limits", "quantile_limits"}
        What to use.
    because : str
        The same in words, with its grounds.
    slope : Estimate
        Change of the error per unit of level (mean of the two readings), with an interval of its own at `level`.
    looks : tuple of Look
        Everything looked at.
    n : int
        Number of pairs.
    scale, sampling : str
        As passed in.
    coverage : float
        As passed in.

    Examples
    --------
    >>> from agree import look_at_errors
    >>> [look.name for look in look_at_errors([100, 200, 300, 400], [101, 199, 303, 396]).looks][:4]
    ['trend', 'spread', 'skewness', 'kurtosis']
    """

    recommendation: str
    because: str
    slope: Estimate
    looks: tuple[Look, ...]
    n: int
    scale: str
    sampling: str
    coverage: float

    def summary(self) -> str:
        """Return the advice first, then each look on its line."""
        rows = [f"  {look.name:<12} {estimate_text(look.estimate)}; passes from {look.low:.2g} to {look.high:.2g}: "
                f"{look.finding}" for look in self.looks]
        return "\n".join([self.because, *rows])


class Shape(NamedTuple):
    """Functions of the errors with influences."""

    trend: tuple[float, checks.FloatArray]
    spread: tuple[float, checks.FloatArray]
    slope: tuple[float, checks.FloatArray]


def _look(name: str, item: Estimate, ideal: float, low: float, high: float) -> Look:
    if low <= item.low and item.high <= high:
        finding = ABSENT
    elif not low <= item.value <= high and not item.low <= ideal <= item.high:
        finding = PRESENT
    else:
        finding = OPEN
    return Look(name=name, estimate=item, ideal=ideal, low=low, high=high, finding=finding)


def _by_level(level_w: checks.FloatArray, d: checks.FloatArray, z: float) -> Shape:
    """Shift of the bias, and change of the SD, from the 5th to the 95th percentile of the levels."""
    u, _, stretch = centred_level(level_w)
    reach = float(np.subtract(*np.quantile(u, [0.95, 0.05])))
    centred = d - d.mean()
    sd = math.sqrt(float(centred @ centred) / (d.size - 1))
    line = straight(u, d)
    shift = line.coefficients[1] * reach / (z * sd)
    shift_phi = (line.influence[1] * reach / z - shift * (centred**2 - sd * sd) / (2 * sd)) / sd
    width = spread_curve(u, line, sloped=True, parameters=2)
    middle = float(width.coefficients[0] + width.coefficients[1] * u.mean())
    if middle < 1e-12:  # points on a line: a trend and no spread
        change, change_phi = 0.0, np.zeros(d.size)
    else:
        change = width.coefficients[1] * reach / middle
        change_phi = (width.influence[1] * reach
                      - change * (width.influence[0] + u.mean() * width.influence[1])) / middle
    return Shape((shift, shift_phi), (change, change_phi),
                 (line.coefficients[1] / stretch, line.influence[1] / stretch))


def _moments(d: checks.FloatArray, make: Callable[..., Estimate]) -> tuple[Estimate, Estimate]:
    """Skewness, and kurtosis (3 if normal) by way of its logarithm."""
    z = d - d.mean()
    z = z / math.sqrt(float(z @ z) / z.size)
    g, k = float(np.mean(z**3)), float(np.mean(z**4))
    skewness = make(g, z**3 - g - 3 * z - 1.5 * g * (z * z - 1))
    log = make(math.log(k), (z**4 - k - 2 * k * (z * z - 1) - 4 * g * z) / k)
    kurtosis = Estimate(value=k, low=max(math.exp(log.low), LEAST_KURTOSIS), high=math.exp(min(log.high, 700.0)),
                        level=log.level, method=log.method + ", log scale", df=log.df, drift=log.drift)
    return skewness, kurtosis


def _share(mark: checks.FloatArray, effective: float, level: float) -> Estimate:
    """Share beyond a limit with binomial limits (Clopper & Pearson 1934) for an effective number of pairs."""
    share, tail = float(mark.mean()), (1 - level) / 2
    hits = share * effective
    low = float(special.betaincinv(hits, effective - hits + 1, tail)) if share > 0 else 0.0
    high = float(special.betaincinv(hits + 1, effective - hits, 1 - tail)) if share < 1 else 1.0
    return Estimate(value=share, low=low, high=high, level=level, method=f"binomial, {effective:.1f} effective pairs")


def _advice(looks: tuple[Look, ...], percent_helps: bool) -> tuple[str, str]:
    """Return the recommendation, and its grounds in words."""
    by = {look.name: look for look in looks}
    found = [look.name for look in looks if look.finding == PRESENT]
    grounds = []
    if "trend" in found:
        grounds.append(f"the bias shifts by {abs(by['trend'].estimate.value):.2g} of the limits' half-width over the "
                       "range of levels")
    if "spread" in found:
        grounds.append(f"the SD changes by {100 * by['spread'].estimate.value:+.0f} % over the range of levels")
    if grounds:
        kind = "percent" if percent_helps else "regression_limits"
    else:
        kind = "quantile_limits" if found else "limits_of_agreement"
        grounds = [f"{name} is {by[name].estimate.value:.2g} where normal errors have {by[name].ideal:.2g}"
                   for name in found] or ["nothing found that matters"]
    unsettled = [look.name for look in looks if look.finding == OPEN]
    advice = ADVICE[kind] + (" as far as these readings tell" if unsettled and kind == "limits_of_agreement" else "")
    return kind, f"{advice}: {'; '.join(grounds)}" + (f"; not settled: {', '.join(unsettled)}" if unsettled else "")


@shared
def look_at_errors(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    scale: LogScale = "difference",
    coverage: float = 0.95,
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> ErrorLook:
    r"""Look at what limits of agreement take for granted, and say which limits to use.

    Use it before quoting limits_of_agreement. It judges sizes, not p-values: a trend that is certain but too small
    to matter passes, and one that may or may not matter is called not settled.

    Parameters
    ----------
    {pairs, log_scale}
    coverage : float
        Share of the errors meant to lie between the limits, in (0, 1).
    level : float
        Confidence level of all looks together, in (0, 1): each has 1 - (1 - level)/6 (Bonferroni).
    {sampling, session, nan_policy}

    Returns
    -------
    ErrorLook
        ``.recommendation``, ``.because``, ``.looks``, ``.slope`` (Estimate).

    Raises
    ------
    InputError
        Bad options or readings, errors that are all equal, or one level only.
    {few}

    Warns
    -----
    {drift, alike}

    See Also
    --------
    limits_of_agreement : What may be used if the look finds nothing.
    regression_limits : What to use for a trend or a spread.
    quantile_limits : What to use for another shape.

    Notes
    -----
    Trend: shift of the bias from the 5th to the 95th percentile of the levels over the half-width z s of the limits;
    0.25 passes (a tail of 2.5 % becomes 4.3 % there). Spread: change of the fitted SD over that range relative to
    its middle; 0.4 passes (a ratio of 1.5). Skewness 0.5, kurtosis up to 4 (light tails do no harm) and half to
    double the expected share beyond either limit pass. These bounds are this package's choice.

    References
    ----------
    Bland JM, Altman DG (1999) Stat Methods Med Res 8:135-160, sections 2 and 3, for trend and spread; Clopper CJ,
    Pearson ES (1934) Biometrika 26:404.

    Examples
    --------
    >>> from agree import look_at_errors
    >>> x = [100 + 3 * k for k in range(100)]
    >>> look = look_at_errors(x, [v * (1.02 + 0.01 * (-1) ** k) for k, v in enumerate(x)])
    >>> look.recommendation
    'percent'
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    checks.fraction(level, "level")
    tail = (1 - checks.fraction(coverage, "coverage")) / 2
    z = float(special.ndtri(1 - tail))
    d = errors_on_scale(x, y, scale)
    warn_of_alike(d, sampling, along=(x + y) / 2)
    centre, unit = float(d.mean()), float(np.abs(d - d.mean()).max())
    if not unit > 1e-14 * float(np.abs(y).max() if scale == "difference" else np.abs(d).max()):
        raise InputError("the errors are all equal: there is nothing to look at; the same file twice?")
    apart = 1 - (1 - level) / LOOKS
    make = partial(estimate, level=apart, sampling=sampling, session=labels)
    e, level_w = (d - centre) / unit, (x + y) / 2
    shape = _by_level(level_w, e, z)
    skewness, kurtosis = _moments(e, make)
    sd = float(e.std(ddof=1))
    marks = [(side * e > z * sd).astype(float) for side in (-1, 1)]
    sizes = [float(d.size)] * 2
    if sampling != "independent":
        sizes = [min(effective_pairs(mark, apart, sampling, labels)[0] for mark in (*marks, (e > 0).astype(float)))] * 2
    below, above = (_share(mark, size, apart) for mark, size in zip(marks, sizes, strict=True))
    trend, spread = make(*shape.trend), make(*shape.spread)
    bounds = ("trend", trend, TREND_PASSES), ("spread", spread, SPREAD_PASSES), ("skewness", skewness, SKEWNESS_PASSES)
    looks = (*(_look(name, item, 0.0, -bound, bound) for name, item, bound in bounds),
             _look("kurtosis", kurtosis, 3.0, LEAST_KURTOSIS, KURTOSIS_PASSES), *(
                 _look(name, item, tail, *(k * tail for k in SHARE_PASSES))
                 for name, item in (("share below", below), ("share above", above))))
    helps = False
    if scale == "difference" and (x > 0).all():
        percent = errors_on_scale(x, y, "percent")
        percent /= float(np.abs(percent).max())
        even = bool(np.ptp(percent) < 1e-12)
        ratio = shape if even else _by_level(level_w, percent, z)
        helps = even or all(_look(name, make(*pair), 0.0, -bound, bound).finding != PRESENT for name, pair, bound in (
            ("trend", ratio.trend, TREND_PASSES), ("spread", ratio.spread, SPREAD_PASSES)))
    slope = estimate(*shape.slope, level=level, sampling=sampling, session=labels).scaled(unit)
    warn_of_drift(trend, spread, skewness)
    kind, because = _advice(looks, helps)
    return ErrorLook(recommendation=kind, because=because, slope=slope, looks=looks,
                     n=d.size, scale=scale, sampling=sampling, coverage=coverage)
