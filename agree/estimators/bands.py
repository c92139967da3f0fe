"""Bias by band of the reference's level."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from agree import _check
from agree._check import FloatArray
from agree._result import Result
from agree.errors import InputError
from agree.estimators.limits import errors_on_scale
from agree.interval import Estimate, estimate, warn_of_drift


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band(Result):
    """One band [low, high): number of pairs and bias; the bias is NaN with infinite limits below 2 pairs."""

    low: float
    high: float
    n: int
    bias: Estimate


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BandBias(Result):
    """Bias in every band, and the number of pairs outside all of them."""

    bands: tuple[Band, ...]
    n_outside: int
    scale: str
    sampling: str


def ratio_of_sums(part: FloatArray, whole: FloatArray) -> tuple[float, FloatArray]:
    """Sum of `part` over sum of `whole`, with its influence (part - ratio whole)/mean(whole)."""
    ratio = float(part.sum() / whole.sum())
    return ratio, (part - ratio * whole) / whole.mean()


def bias_by_band(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    edges: ArrayLike,
    scale: str = "percent",
    level: float = 0.95,
    sampling: str = "independent",
    session: ArrayLike | None = None,
    by: ArrayLike | None = None,
    nan_policy: str = "raise",
) -> BandBias:
    """Bias of the device in each band of the reference.

    Use it to see where in the range an error lies. Intervals are for one band at a time.

    Parameters
    ----------
    reference, device : (n,) array_like
        Paired readings in one unit, n >= 3; in order of time for serial sampling.
    edges : (k + 1,) array_like
        Increasing band edges; a band is [low, high). Infinite outer edges are allowed.
    scale : {"percent", "difference"}
        ``percent``: 100 * sum of errors / sum of reference in the band, NaN where that sum is not positive;
        ``difference``: mean error.
    level : float
        Confidence level of each band, in (0, 1).
    sampling : {"independent", "serial", "sessions"}
        How pairs depend on each other. With ``sessions`` a band seen in one session only is unbounded.
    session : (n,) array_like, optional
        Session labels, for ``sampling="sessions"``.
    by : (n,) array_like, optional
        Value to band by instead of the reference itself. A reference with noise of its own puts its high errors
        into high bands; a moving mean of it does not.
    nan_policy : {"raise", "omit"}
        What to do with NaN in reference or device: an error, or leave out the pair.

    Returns
    -------
    BandBias
        ``.bands``: tuple of Band(low, high, n, bias).

    Raises
    ------
    InputError
        Bad options or readings, or edges that do not increase.
    SampleSizeError
        Fewer than 3 pairs, or fewer than 2 sessions.

    Warns
    -----
    DriftWarning
        Serial sampling, when the slowest component dominates.

    Examples
    --------
    >>> from agree import bias_by_band
    >>> result = bias_by_band([100, 110, 120, 210, 220, 230], [101, 111, 122, 206, 215, 226], edges=[100, 200, 300])
    >>> [(band.low, band.n, round(band.bias.value, 2)) for band in result.bands]
    [(100.0, 3, 1.21), (200.0, 3, -1.97)]
    """
    limits = _check.edges(edges)
    _check.choice(scale, "scale", ("percent", "difference"))
    _check.fraction(level, "level")
    x, y, labels = _check.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    keep = ~(np.isnan(_check.vector(reference, "reference")) | np.isnan(_check.vector(device, "device")))
    level_by = _check.vector(reference if by is None else by, "by")
    if level_by.shape != keep.shape:
        raise InputError(f"`by` must have one value for each pair; got {level_by.size} for {keep.size} pairs")
    index = np.searchsorted(limits, level_by[keep], side="right") - 1
    error = errors_on_scale(x, y, "difference")
    bands = []
    for k in range(limits.size - 1):
        chosen = index == k
        label = None if labels is None else labels[chosen]
        bands.append(Band(low=float(limits[k]), high=float(limits[k + 1]), n=int(chosen.sum()),
                          bias=_bias(x[chosen], error[chosen], label, scale, level, sampling)))
    warn_of_drift(*(band.bias for band in bands))
    inside = sum(band.n for band in bands)
    return BandBias(bands=tuple(bands), n_outside=x.size - inside, scale=scale, sampling=sampling)


def _bias(x: FloatArray, error: FloatArray, label: FloatArray | None, scale: str, level: float,
          sampling: str) -> Estimate:
    if scale == "percent" and x.size and not x.sum() > 0:
        return Estimate(value=math.nan, low=-math.inf, high=math.inf, level=level, method="no positive reference")
    value, phi = (math.nan, error) if not x.size else (
        ratio_of_sums(error, x if scale == "percent" else np.ones(x.size)))
    factor = 100.0 if scale == "percent" else 1.0
    if x.size < 2 or (label is not None and np.unique(label).size < 2):
        return Estimate(value=value * factor, low=-math.inf, high=math.inf, level=level, method="too few pairs")
    return estimate(value, phi, level=level, sampling=sampling, session=label).scaled(factor)
