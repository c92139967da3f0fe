"""Bias by band of the reference's level."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy, Sampling, Scale
from agree.core.errors import InputError
from agree.core.interval.engine import covariance, estimate, t_quantile, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import pair_weights
from agree.core.results.drawn import Drawn
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.bands.together import correlations_between_sessions, drawn_together
from agree.estimators.joint import joint_level, matrix_root, shrunk
from agree.estimators.ratios import ratio_of_sums
from agree.estimators.readings import resolution, warn_of_alike
from agree.estimators.rounding import at_least, rounding_of_mean
from agree.estimators.scales import errors_on_scale

THIN = 10   # pairs below which a band is called thin: eight cosines need more
POOLED = 4  # bands with an interval that pooling needs


@made_by("bias_by_band", also=("BandBias",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band(Result):
    """One band [low, high).

    Attributes
    ----------
    low, high : float
        Edges.
    n : int
        Number of pairs.
    bias : Estimate
        Bias with the interval of this band alone; NaN without pairs, infinite limits below 2 pairs or sessions.
    note : str
        "empty", "one pair", "one session", "thin" (fewer than 10 pairs), "no positive reference", or "".
    joint : Estimate or None
        With ``joint=True``: the same bias, its interval widened so that those of all bands hold at once.
    pooled : Estimate or None
        With ``pool=True``: the bias drawn towards that of all bands, the more the less the band knows.

    Examples
    --------
    >>> from agree import bias_by_band
    >>> band = bias_by_band([110, 120, 130, 210], [111, 121, 134, 212], edges=[100, 200, 300]).bands[0]
    >>> band.n, str(band.bias)
    (3, '1.7 [-1.6, 5.0]')
    """

    low: float
    high: float
    n: int
    bias: Estimate
    note: str = ""
    joint: Estimate | None = None
    pooled: Estimate | None = None


@made_by("bias_by_band", also=("Band", "BiasCurve"))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BandBias(Drawn):
    """Bias in every band.

    Attributes
    ----------
    bands : tuple of Band
    n_outside : int
        Number of pairs outside all bands.
    scale, sampling : str
        As passed in.
    joint_level : float
        Level of each `joint` interval by itself; NaN if not asked for.
    between_sd : float
        Standard deviation of the true bias between bands, by moments; NaN if not asked for or too few bands.

    Examples
    --------
    >>> from agree import bias_by_band
    >>> bias_by_band([110, 120, 130, 310], [111, 121, 134, 312], edges=[100, 200, 300]).n_outside
    1
    """

    bands: tuple[Band, ...]
    n_outside: int
    scale: str
    sampling: str
    joint_level: float = math.nan
    between_sd: float = math.nan


@shared
def bias_by_band(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    edges: ArrayLike,
    count: int = 5,
    joint: bool = False,
    pool: bool = False,
    scale: Scale = "percent",
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    by: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> BandBias:
    """Bias of the device in each band of the reference.

    Use it to see where in the range an error lies. ``bias`` has the interval of one band at a time; to speak of all
    bands together, ask for ``joint``.

    Parameters
    ----------
    {pairs}
    edges : (k + 1,) array_like, or "quantiles"
        Increasing band edges; a band is [low, high). Infinite outer edges are allowed. ``"quantiles"``: `count` bands
        with about equal numbers of pairs, fewer where values tie.
    count : int
        Number of bands for ``edges="quantiles"``, at least 1.
    joint : bool
        Also give intervals that hold for all bands at once.
    pool : bool
        Also give biases pooled between bands, for thin bands; needs 4 bands with an interval.
    scale : {"percent", "difference"}
        ``percent``: 100 * sum of errors / sum of reference in the band, NaN where that sum is not positive;
        ``difference``: mean error.
    level : float
        Confidence level of each band, in (0, 1).
    sampling : {"independent", "serial", "sessions"}, optional
        How pairs depend on each other. With ``sessions`` a band seen in one session only is unbounded.
    {session}
    by : (n,) array_like, optional
        Value to band by instead of the reference itself: cadence, temperature, time, power over body mass or over
        threshold. A reference with noise of its own puts its high errors into high bands; a moving mean of it does
        not.
    nan_policy : {"raise", "omit"}
        What to do with NaN in reference or device: an error, or leave out the pair.

    Returns
    -------
    BandBias
        ``.bands``: tuple of Band(low, high, n, bias, note, joint, pooled).

    Raises
    ------
    InputError
        Bad options or readings, or edges that do not increase.
    {few}

    Warns
    -----
    {drift, alike}

    See Also
    --------
    bias_curve : The same without edges.
    check_claim : Judge a claim in every band.

    Notes
    -----
    ``joint``: the influence series of all bands, 0 outside a band, have a covariance by the engine, whose
    correlations are drawn towards 0 by as much as chance explains. The law of the largest |t| over the bands, each
    over its own variance estimate, comes from 4096 fixed draws; its quantile sets one level for all bands, never above
    level^(1/k) (Sidak 1967). The standard error is the larger of the band's own, from its pairs strung together,
    and that of the joint covariance, in which they keep their places in time: the latter sees slow errors better.

    ``pool``: the variance of the true bias between bands is (Q - tr(P V))/tr(P) or 0, with Q the weighted sum of
    squares about the weighted mean, P its matrix and V the joint covariance (moments). With v a band's variance and
    B = (k - 3)/(k - 1) v/(v + between), pooled = bias - B (bias - mean) with variance
    v (1 - (k - 1) B/k) + 2 B^2 (bias - mean)^2/(k - 3) (Morris 1983, JASA 78:47, from memory). Its interval holds
    for bands on average, not for the one that differs most.

    References
    ----------
    Sidak Z (1967) JASA 62:626; Morris CN (1983) JASA 78:47 (both from memory).

    Examples
    --------
    >>> from agree import bias_by_band
    >>> result = bias_by_band([100, 110, 120, 210, 220, 230], [101, 111, 122, 206, 215, 226], edges=[100, 200, 300])
    >>> [(band.low, band.n, round(band.bias.value, 2)) for band in result.bands]
    [(100.0, 3, 1.21), (200.0, 3, -1.97)]
    """
    checks.choice(scale, "scale", ("percent", "difference"))
    checks.fraction(level, "level")
    for name, value in (("joint", joint), ("pool", pool)):
        if not isinstance(value, bool | np.bool_):
            raise InputError(f"`{name}` must be True or False; got {value!r}", option=name)
    limits = None if isinstance(edges, str) and edges == "quantiles" else checks.edges(edges)
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    keep = ~(np.isnan(checks.vector(reference, "reference")) | np.isnan(checks.vector(device, "device")))
    level_by = checks.vector(reference if by is None else by, "by")
    if level_by.shape != keep.shape:
        raise InputError(f"`by` must have one value for each pair; got {level_by.size} for {keep.size} pairs",
                         option="by")
    level_by = level_by[keep]
    limits = _quantiles(level_by, count) if limits is None else limits
    index = np.searchsorted(limits, level_by, side="right") - 1
    index[np.isnan(level_by)] = -1
    error = errors_on_scale(x, y, "difference")
    step = resolution(x, y)
    bands, phi = [], []
    for k in range(limits.size - 1):
        chosen = index == k
        label = None if labels is None else labels[chosen]
        bias, note, series = _bias(x[chosen], error[chosen], label, scale, level, sampling, step)
        bands.append(Band(low=float(limits[k]), high=float(limits[k + 1]), n=int(chosen.sum()), bias=bias, note=note))
        phi.append(np.zeros(x.size))
        phi[-1][chosen] = series / (bias.standard_error if bias.standard_error > 0 else 1)
    warn_of_drift(*(band.bias for band in bands))
    warn_of_alike(error[index >= 0], sampling, along=level_by[index >= 0])
    inside = sum(band.n for band in bands)
    result = BandBias(bands=tuple(bands), n_outside=x.size - inside, scale=scale, sampling=sampling)
    known = [k for k, band in enumerate(bands) if band.bias.standard_error > 0]
    if not (joint or pool) or not known:
        return result
    df = min(bands[k].bias.df for k in known)
    series, inside_each = np.stack([phi[k] for k in known]), np.stack([index == k for k in known])
    matrix = (covariance(series * (x.size / inside_each.sum(axis=1, keepdims=True)), sampling).matrix if labels is None
              else correlations_between_sessions(series, inside_each, labels))
    correlation = shrunk(matrix, df)
    if joint:
        # In units of a band's own standard error, but for the factor of per cent; over sessions these are correlations.
        unit = 100.0 if scale == "percent" and labels is None else 1.0
        wider = dict(zip(known, (unit * np.sqrt(np.diag(matrix))).tolist(), strict=True))
        result = _all_at_once(result, joint_level(matrix_root(correlation), df, level), wider)
    return _pooled(result, known, correlation) if pool else result


def _quantiles(values: FloatArray, count: int) -> FloatArray:
    """Edges of bands with like numbers of values; the last takes in the largest."""
    if isinstance(count, bool) or not isinstance(count, int | np.integer) or count < 1:
        raise InputError(f"`count` must be a whole number of 1 or more; got {count!r}", option="count")
    inner = np.unique(np.quantile(values[~np.isnan(values)], np.arange(count + 1) / count, method="inverted_cdf"))
    top = np.nextafter(inner[-1], math.inf)
    edges: FloatArray = np.r_[inner[:-1] if inner.size > 1 else inner, top]
    return edges


def _bias(x: FloatArray, error: FloatArray, label: Any, scale: str, level: float, sampling: str,
          step: float) -> tuple[Estimate, str, FloatArray]:
    """Bias of a band, what is to be said of it, and its influence series."""
    note = "empty" if x.size == 0 else "thin" if x.size < THIN else ""
    if scale == "percent" and x.size and not x.sum() > 0:
        note = "no positive reference"
        return Estimate(value=math.nan, low=-math.inf, high=math.inf, level=level, method=note), note, np.zeros(x.size)
    value, phi = (math.nan, error) if not x.size else (
        ratio_of_sums(error, x if scale == "percent" else np.ones(x.size), label))
    factor = 100.0 if scale == "percent" else 1.0
    if x.size < 2 or (label is not None and np.unique(label).size < 2):
        note = note if x.size == 0 else "one pair" if x.size == 1 else "one session"
        return (Estimate(value=value * factor, low=-math.inf, high=math.inf, level=level, method="none: " + note),
                note, phi)
    share = np.ones(x.size) if label is None else pair_weights(label)
    floor = math.sqrt(2) * rounding_of_mean(step, share / (float(share @ x) / x.size if scale == "percent" else 1.0))
    item = at_least(estimate(value, phi, level=level, sampling=sampling, session=label), floor)
    return item.scaled(factor), note, phi


def _interval(item: Estimate, value: float, error: float, one: float, words: str) -> Estimate:
    half = t_quantile(one, item.df) * error
    return replace(item, value=value, low=value - half, high=value + half, standard_error=error,
                   method=f"{item.method}, {words}")


def _all_at_once(result: BandBias, one: float, wider: dict[int, float]) -> BandBias:
    """Widen every interval to the level at which all hold, and by the joint standard error if that is larger."""
    bands = tuple(replace(band, joint=_interval(
        band.bias, band.bias.value, band.bias.standard_error * max(wider[k], 1.0), one, "all bands at once")
        if k in wider else band.bias) for k, band in enumerate(result.bands))
    return replace(result, bands=bands, joint_level=one)


def _pooled(result: BandBias, known: list[int], correlation: FloatArray) -> BandBias:
    """Draw the bias of each band towards that of all, by what is known of each and how much they differ."""
    k = len(known)
    if k < POOLED:
        return result
    value, error = (np.array([getattr(result.bands[i].bias, name) for i in known])
                    for name in ("value", "standard_error"))
    unit = error.max()
    middles, halves, between = drawn_together(value / unit, error / unit, correlation)
    bands = list(result.bands)
    for i, middle, half in zip(known, unit * middles, unit * halves, strict=True):
        bias = bands[i].bias
        bands[i] = replace(bands[i], pooled=_interval(bias, float(middle), float(half), bias.level, "pooled"))
    return replace(result, bands=tuple(bands), between_sd=float(unit) * between)
