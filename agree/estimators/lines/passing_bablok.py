"""Passing & Bablok's line: shifted median of all pairwise slopes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy, Sampling
from agree.core.errors import InputError
from agree.core.interval.engine import METHODS, estimate, spread, t_quantile, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.shared_docs import shared
from agree.estimators.lines import pairwise_slopes, sorted_points
from agree.estimators.lines.close_ranks import Known
from agree.estimators.lines.line import Line
from agree.estimators.lines.null_variance import null_variance
from agree.estimators.readings import warn_of_alike
from agree.estimators.rounding import WORDS, coarse_step, spread_over_step

Group = NDArray[np.intp] | None


class Ranking(NamedTuple):
    """Slopes in the order they are counted in: `total` of them, the first at rank `offset` + 1 of the points."""

    p: sorted_points.Points
    apart: sorted_points.Points  # equal ones as one, where they are many
    sample: FloatArray
    offset: int
    total: int
    unit: float
    known: Known

    def slope(self, first: int, last: int) -> float:
        """Mean of the slopes of ranks first to last."""
        return self.unit * pairwise_slopes.slope_of_rank(self.apart, self.offset + first, self.offset + last,
                                                         self.sample, self.known)


def _shifted(x: FloatArray, y: FloatArray, group: Group) -> Ranking:
    """All slopes but -1, in the order that starts at -1 (1983)."""
    p = sorted_points.points(x, y, group)
    return Ranking(p, sorted_points.merged(p), pairwise_slopes.sample(p), 0, p.n_slopes, 1.0, [])


def _absolute(x: FloatArray, y: FloatArray, group: Group) -> Ranking:
    """Slopes without their signs.

    The points and their mirror images, each a block, have every slope with both signs; those without sign are the
    positive ones, which follow all that are above -1. A power of two brings the slopes near 1 and changes no digit.
    """
    steep = np.subtract(*np.percentile(y, (75, 25))) / (np.subtract(*np.percentile(x, (75, 25))) or math.inf)
    power = round(math.log2(steep)) if 0 < steep < math.inf else 0
    y = np.ldexp(y, -power)
    n = x.size
    both = None if group is None else np.r_[group, group + group.max() + 1]
    p = sorted_points.points(np.r_[x, x], np.r_[y, -y], both, np.arange(2 * n) // n)
    # Zero has both signs too, hence the mean.
    below = sum(pairwise_slopes.count_below(p, -1 + k * 2 * p.blur) for k in (-1, 1)) // 2
    total = pairwise_slopes.n_pairs(x, y, group)
    return Ranking(p, p, pairwise_slopes.sample(p), below, total, math.ldexp(1.0, power), [])


def _middle(ranking: Ranking, equivariant: bool, ahead: int = 0) -> float:
    """Median slope; of an even number the mean of the middle two, geometric if slopes are to turn into 1/slope.

    `ahead` is the number of slopes below it less that above it, 0 but for the mean over sessions.
    """
    total = ranking.total + min(max(ahead, 1 - ranking.total), ranking.total - 1)
    first, last = (total + 1) // 2, total // 2 + 1
    if not equivariant or first == last:
        return ranking.slope(first, last)
    low, high = ranking.slope(first, first), ranking.slope(last, last)
    return low if low == high else math.sqrt(low) * math.sqrt(high)


def _association(x: FloatArray, y: FloatArray, group: Group) -> float:
    """Kendall's sum of signs between reference and device."""
    p = sorted_points.points((x - y) / 2, (x + y) / 2, group)
    return float(pairwise_slopes.tau_scores(p, 0.0).sum()) * (x.size - 1) / 2


@shared
def passing_bablok(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    equivariant: bool = False,
    group: ArrayLike | None = None,
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> Line:
    r"""Line through the shifted median of all pairwise slopes, robust to outliers in either axis.

    Use it when single wild readings must not decide the line, the two devices have errors of similar size relative to
    the slope, and the true slope is near 1 (or ``equivariant``). O(n log n) time, O(n) memory; exact, ties included.

    Parameters
    ----------
    {pairs}
    equivariant : bool
        False: the line of 1983, for slopes near 1. True: any slope and any two units; exchanging the devices turns
        the slope into 1/slope, a change of unit multiplies it.
    group : (n,) array_like, optional
        Labels of repeated measures, such as one steady block: slopes between readings of one group, which show
        their errors and not the line, are left out.
    {level, sampling, session, nan_policy}

    Returns
    -------
    Line
        ``.slope``, ``.intercept`` (Estimate), ``.n_slopes``. Where the data are too few to bound the slope, its
        limits are infinite.

    Raises
    ------
    InputError
        Bad options or readings, or no pair of readings that has a slope.
    {few}

    Warns
    -----
    {drift, alike}

    See Also
    --------
    deming : A line when the ratio of the error variances is known.
    linearity : Whether it is a line at all.

    Notes
    -----
    Pairs with slope -1 (equal reference + device), identical ones among them, are left out; N remain. The slope is the
    median of their slopes in the order that starts at -1; for even N the mean of the middle two. Limits are the slopes
    of rank M1 = round((N - C)/2) and N - M1 + 1. Independent pairs: C = z sqrt(n(n-1)(2n+5)/18), the 1983 formula.
    Otherwise C = t n(n-1) se, with se the standard error of the mean per-point tau score (the influence series)
    between s = reference + device and device - slope * reference. The intercept is the median of device - slope *
    reference. Over sessions, which have equal weight, the slope has the rank at which the mean score over sessions is
    0, to first order. Its limits are those at the slope's limits (independent pairs, 1983); otherwise they come from
    its influence, that of the slope and that of the median together, which covers better where errors are slow.

    Readings rounded to a step of more than half the residuals' SD tie, and ties pull the median slope to those of the
    grid: intervals then reach over those of the readings moved evenly within their step as well.

    ``equivariant``: the slope is the median of the slopes without their signs, with the sign of Kendall's tau between
    reference and device; for even N the geometric mean of the middle two. It is the fixed point of the line of 1983
    when the device is divided by the slope, that is, the b at which tau between device + b reference and
    device - b reference is 0. Limits are the slopes without sign of the same ranks, the b at which that tau is not
    rejected; if tau between reference and device is not beyond C, the sign is open and they reach from -high to high.

    ``group``: independent pairs take C = z sqrt((N + sum A^2)/3), A the number of pairs of other groups with smaller s
    less those with larger: the variance of Kendall's S given s. Errors alike within a group need
    ``sampling="sessions"`` with the groups as sessions.

    References
    ----------
    Passing H, Bablok W (1983) J Clin Chem Clin Biochem 21:709-720. Bablok W, Passing H, Bender R, Schneider B (1988)
    J Clin Chem Clin Biochem 26:783-790 (from memory). Sen PK (1968) JASA 63:1379-1389.

    Examples
    --------
    >>> from agree import passing_bablok
    >>> line = passing_bablok([100, 150, 200, 250, 300, 350], [103, 151, 208, 254, 312, 357])
    >>> f"{line.slope.value:.4f} [{line.slope.low:.4f}, {line.slope.high:.4f}] of {line.n_slopes} slopes"
    '1.0300 [0.9200, 1.1400] of 15 slopes'
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    checks.fraction(level, "level")
    blocks = _groups(group, reference, device)
    line = passing_bablok_line(x, y, labels, blocks, equivariant=equivariant, level=level, sampling=sampling)
    step = coarse_step(x, y, y - line.intercept.value - line.slope.value * x)
    if step:
        try:
            other = passing_bablok_line(*spread_over_step(x, y, step), labels, blocks, equivariant=equivariant,
                                        level=level, sampling=sampling)
            ends = other.slope, other.intercept
        except InputError:  # no line within the rounding: it bounds nothing
            ends = (replace(line.slope, low=-math.inf, high=math.inf),) * 2
        line = replace(line, slope=_reaching(line.slope, ends[0]), intercept=_reaching(line.intercept, ends[1]))
    warn_of_drift(line.slope, line.intercept)
    warn_of_alike(y - line.intercept.value - line.slope.value * x, sampling, along=x)
    return line


def passing_bablok_line(
    x: FloatArray, y: FloatArray, labels: NDArray[Any] | None, blocks: Group = None, *, equivariant: bool = False,
    level: float = 0.95, sampling: str = "independent", half_weight_n: float = 0.0,
) -> Line:
    """Fit the line to checked columns without a warning.

    Parameters and Raises as for `passing_bablok`, `half_weight_n` as for
    `agree.core.interval.over_sessions.session_shares`.
    """
    ranking = (_absolute if equivariant else _shifted)(x, y, blocks)
    n, total = x.size, ranking.total
    if total == 0:
        raise InputError("no slope: every pair of readings is equal or has slope -1; record a wider range of power"
                         if blocks is None else "no slope: no two readings of different groups have one; record groups "
                         "at different power")
    slope = _middle(ranking, equivariant)
    tau = _association(x, y / ranking.unit, blocks) if equivariant else 1.0
    if not math.isfinite(slope) or tau == 0 or (equivariant and slope == 0):
        raise InputError("no line: the median slope is vertical; `reference` hardly varies, record a wider range"
                         if math.isinf(slope) else "no line: `reference` and `device` do not rise together (Kendall's "
                         "tau or the median slope is 0); record a wider range of power")
    # Points in the frame where the fitted line has slope (slope - 1)/(slope + 1), or 1.
    sign = math.copysign(1.0, tau)
    p, m = ((sorted_points.points(slope * x, sign * y, blocks), 0.0) if equivariant else
            (ranking.p, (slope - 1) / (slope + 1)))
    if sampling == "independent":
        half = t_quantile(level, math.inf) * math.sqrt(
            n * (n - 1) * (2 * n + 5) / 18 if blocks is None else null_variance(p))
        ahead = 0
        method, drift = "ranks of slopes, 1983" if blocks is None else "ranks of slopes, given the groups", False
        scores = None
    else:
        scores = pairwise_slopes.tau_scores(p, m)
        result = spread(scores, sampling, labels, half_weight_n=half_weight_n)
        ahead = round(n * (n - 1) * result.shift)
        slope = _middle(ranking, equivariant, ahead)
        half = t_quantile(level, result.df) * n * (n - 1) * result.standard_error
        method, drift = f"ranks of slopes, {METHODS[sampling]}", result.drift
    low, high = _limits(ranking, half, ahead)
    if equivariant and math.isfinite(low):
        low, high = (-high, high) if abs(tau) <= half else (low, high) if sign > 0 else (-high, -low)
    slope *= sign
    fitted = Estimate(value=slope, low=low, high=high, level=level, method=method, drift=drift)
    if scores is None or math.isinf(low) or math.isinf(high):
        ends = sorted((_shift(x, y, high), _shift(x, y, low)))
        intercept = replace(fitted, value=_shift(x, y, slope), low=ends[0], high=ends[1])
    else:
        intercept = _intercept(x, y, fitted, sign * scores, sampling, labels, half_weight_n)
    return Line(slope=fitted, intercept=intercept, n=n, kind="Passing-Bablok", sampling=sampling, n_slopes=total,
                reference=x, device=y)


def _intercept(x: FloatArray, y: FloatArray, slope: Estimate, scores: FloatArray, sampling: str,
               labels: Any, half_weight_n: float) -> Estimate:
    """Median of device - slope * reference, with the influence of the median and that of the slope.

    The slope's is its scores, sized so that they give its half-width; the median's the sides of the residuals, sized by
    the spacing of the quantiles that its own interval reaches.
    """
    value = _shift(x, y, slope.value)
    residual = y - slope.value * x - value
    side = np.sign(residual)
    along, across = (spread(series, sampling, labels, half_weight_n=half_weight_n) for series in (scores, side))
    t = t_quantile(slope.level, across.df)
    reach = min(t * across.standard_error / 2, 0.45)
    low, high = np.quantile(residual, (0.5 - reach, 0.5 + reach))
    phi = side * ((high - low) / (4 * reach) if reach > 0 else 0.0)
    if slope.high > slope.low and along.standard_error > 0:
        # Half-width of the slope, times its effect on the intercept, per unit of mean score.
        effect = _shift(x, y, slope.high) - _shift(x, y, slope.low)
        phi = phi + scores * (effect / (2 * t * along.standard_error))
    return estimate(value, phi, level=slope.level, sampling=sampling, session=labels, half_weight_n=half_weight_n)


def _reaching(item: Estimate, other: Estimate) -> Estimate:
    """Widen an interval to that of the readings moved within their rounding."""
    return replace(item, low=min(item.low, other.low), high=max(item.high, other.high), method=item.method + WORDS)


def _groups(group: ArrayLike | None, reference: ArrayLike, device: ArrayLike) -> Group:
    if group is None:
        return None
    keep = ~(np.isnan(checks.vector(reference, "reference")) | np.isnan(checks.vector(device, "device")))
    return checks.codes(group, keep.size, "group")[keep]


def _limits(ranking: Ranking, half: float, ahead: int = 0) -> tuple[float, float]:
    """Slopes of ranks (N - C)/2 and as many from the end, about the estimate's rank; infinite if there are none."""
    rank, rest = (round((ranking.total - half + k * ahead) / 2) for k in (1, -1))
    if min(rank, rest) < 1:
        return -math.inf, math.inf
    low, high = (ranking.slope(k, k) for k in (rank, ranking.total - rest + 1))
    # The upper rank may lie among slopes beyond -1, where the order has wrapped.
    return (low, high) if low <= high else (-math.inf, math.inf)


def _shift(x: FloatArray, y: FloatArray, slope: float) -> float:
    return float(np.median(y - slope * x)) if math.isfinite(slope) else -slope
