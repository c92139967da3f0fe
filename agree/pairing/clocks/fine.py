"""The lag to a fraction of a second, its drift, and what steps of a clock leave after whole seconds: with errors.

Traces are on 1-s grids; NaN is no reading.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import LEAST_WINDOW_S, WINDOW_CORRELATION
from agree.pairing.clocks.clock import band
from agree.pairing.clocks.drift_line import RESOLUTION_S, Lines, Told, lines, widened
from agree.pairing.clocks.lag_path import shifted

WINDOW_S = 150
RADIUS_S = 8  # lags looked at on either side of the coarse one
READINGS = 5.0  # of the smoothed traces count as one
STILL_S = 5
NEAR_S = 4  # a reading that lies outside what the other trace ranges over within so many seconds
GROSS_SD = 6.0  # by this many robust standard deviations of the difference tells nothing of the clock


class Extra(NamedTuple):
    """Fraction of a second of a step: the place from which it counts, what to apply, its best value, standard error.

    The latter two are those at the step itself, whether or not the drift is taken out.
    """

    start: int
    applied: float
    told: float
    se: float


class Fine(NamedTuple):
    """Lag in the middle of the overlap and its change with time, with standard errors (NaN: cannot be told).

    `drifting`: the change is more than 3 standard errors and more than 0.5 s over the overlap; then the lag at
    place i of the reference's trace is lag + drift * (i - middle). Lags in s, drift in s per s. Where the clocks had
    steps, `extra` holds what is left of each after whole seconds were put in, and `plain` the change by the data alone,
    which the usual drift of two clocks does not draw to 0, with its standard error.
    """

    lag: float
    lag_se: float
    drift: float
    drift_se: float
    middle: float
    drifting: bool
    extra: tuple[Extra, ...] = ()
    plain: tuple[float, float] = (math.nan, math.nan)

    def at(self, place: FloatArray) -> FloatArray:
        """Lag at places of the reference's trace."""
        lag = self.lag + (self.drift if self.drifting else 0.0) * (place - self.middle)
        for part in self.extra:
            lag = lag + part.applied * (place >= part.start)
        return lag


# Lagrange basis on the lags -3..3, at every 0.005 s from -1 to 1: the correlation of traces limited in band is
# smooth, and a polynomial through 7 of its values gives the place of its maximum to 0.01 s.
_STEPS = np.linspace(-1.0, 1.0, 401)
_KNOTS = np.arange(-3.0, 4.0)
_BASIS = np.stack([np.prod([(_STEPS - m) / (k - m) for m in _KNOTS if m != k], axis=0) for k in _KNOTS])


def _peaks(r: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place and height of the maximum of each row of correlations at lags -R..R; NaN at the edge."""
    r = np.nan_to_num(r, nan=-1.0)
    top, last = r.argmax(axis=1), r.shape[1] - 4
    inside = (top >= 3) & (top <= last)
    near = np.clip(top, 3, last)[:, None] + _KNOTS.astype(int)
    fine = np.take_along_axis(r, near, axis=1) @ _BASIS
    best = fine.argmax(axis=1)
    place = np.where(inside, top - (r.shape[1] // 2) + _STEPS[best], np.nan)
    return place, np.where(inside, fine.max(axis=1), np.nan)


def _usual(x: FloatArray, y: FloatArray) -> float:
    """Usual ratio of the traces in seconds in which both work."""
    works = (x > 0) & (y > 0)
    return float(np.median(y[works] / x[works])) if works.any() else 1.0


def _still(trace: FloatArray) -> NDArray[np.bool_]:
    """Runs of one reading, not 0, for 5 s: such a device is late by so much."""
    found = np.zeros(trace.size, bool)
    for start, stop in runs((trace[1:] == trace[:-1]) & (trace[1:] != 0)):
        found[start:stop + 1] = stop - start + 1 >= STILL_S
    return found


def _without_gross(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Leave out seconds that either lacks, and readings that no small lag explains, such as zeros and spikes."""
    both = np.isfinite(x) & np.isfinite(y)
    if not both.any():
        return x, y
    k = _usual(x, y)
    spread = np.abs((y - k * x)[both])
    margin = GROSS_SD * 1.4826 * float(np.median(spread[spread > 0])) if (spread > 0).any() else 0.0

    def beyond(one: FloatArray, other: FloatArray) -> NDArray[np.bool_]:
        top = ndimage.maximum_filter1d(np.where(both, other, -np.inf), 2 * NEAR_S + 1, mode="nearest")
        low = ndimage.minimum_filter1d(np.where(both, other, np.inf), 2 * NEAR_S + 1, mode="nearest")
        out: NDArray[np.bool_] = (one > top + margin) | (one < low - margin)
        return out

    keep = both & ~beyond(y, k * x) & ~beyond(k * x, y) & ~_still(x) & ~_still(y)
    if keep.sum() < both.sum() / 2:  # so much is no exception
        keep = both
    return np.where(keep, x, np.nan), np.where(keep, y, np.nan)


class _Windows(NamedTuple):
    """Sums in windows at lags -8 to 8 about the coarse one, (lags, sums, windows); centres and stretches of windows."""

    sums: FloatArray
    centre: FloatArray
    stretch: NDArray[np.int64]


def _windows(a: FloatArray, b: FloatArray, first: int, starts: tuple[int, ...]) -> _Windows:
    edges = np.arange(0, a.size, WINDOW_S)
    stretch = np.zeros(edges.size, dtype=np.int64)
    if starts:
        bounds = np.clip(np.r_[first, starts, first + a.size] - first, 0, a.size)
        parts = [np.linspace(low, high, max(round((high - low) / WINDOW_S), 1), endpoint=False)
                 if high > low else np.zeros(0) for low, high in pairwise(bounds)]
        edges = np.concatenate(parts).astype(np.int64)
        stretch = np.repeat(np.arange(len(parts)), [part.size for part in parts])
    place = np.arange(a.size)
    sums = np.empty((2 * RADIUS_S + 1, 4, edges.size))
    for d in range(2 * RADIUS_S + 1):
        other = shifted(b, place + d - RADIUS_S)
        both = np.isfinite(a) & np.isfinite(other)
        u, v = np.where(both, a, 0.0), np.where(both, other, 0.0)
        sums[d] = np.add.reduceat(np.array([u * v, u * u, v * v, both]), edges, axis=1)
    return _Windows(sums, first + (edges + np.r_[edges[1:], a.size]) / 2, stretch)


def _correlation(sums: FloatArray) -> FloatArray:
    """Correlations, (windows, lags)."""
    scale = np.sqrt(np.maximum(sums[:, 1] * sums[:, 2], 0.0))
    r: FloatArray = np.where(scale > 0, sums[:, 0] / np.where(scale > 0, scale, 1.0), np.nan).T
    return r


def peak(x: FloatArray, y: FloatArray, lag: int) -> tuple[float, float]:
    """Lag at which two traces are most alike near a whole second, and its standard error (NaN with under 3 windows).

    The error is that of the delete-one jackknife over windows of 150 s: so windows count as they do in the lag.
    """
    first, last = max(0, -lag), min(x.size, y.size - lag)
    place = np.arange(first, last)
    found = _windows(band(x)[first:last], shifted(band(y), place + lag), first, ())
    value, se = _jackknife(found.sums)
    return lag + value, se


def _jackknife(sums: FloatArray) -> tuple[float, float]:
    """Peak of all windows together, and its standard error from peaks without each."""
    whole = sums.sum(axis=2, keepdims=True)
    value = float(_peaks(_correlation(whole))[0][0])
    telling = sums[RADIUS_S, 3] >= WINDOW_S / 5
    number = int(telling.sum())
    if number < 3 or not math.isfinite(value):
        return value if math.isfinite(value) else 0.0, math.nan
    without, _ = _peaks(_correlation(whole - sums[:, :, telling]))
    off = without - np.nanmean(without)
    se = math.sqrt((number - 1) / number * float(np.nansum(off**2)))
    return value, math.hypot(float(widened(se, number)), RESOLUTION_S)


def refine(x: FloatArray, y: FloatArray, lag: int, starts: tuple[int, ...] = ()) -> Fine:
    """Sub-second lag near a whole-second one, and its drift.

    The lag is where the correlation of the two traces, limited in band, is greatest: over the whole overlap, and
    in windows of 150 s. A line through the lags of the windows (those with a correlation of 0.6 or more; see
    `drift_line.lines`) gives the drift. The standard error of the lag is that of
    the jackknife over windows. Where the clocks had steps, at the places `starts`, windows end there, and there is a
    line for each stretch, all of one slope. Seconds that either trace lacks, and gross differences such as zeros and
    spikes, are left out of both.
    """
    first, last = max(0, -lag), min(x.size, y.size - lag)
    place = np.arange(first, last)
    one, two = _without_gross(x[first:last], shifted(y, place + lag))
    found = _windows(band(one), band(two), first, starts)
    middle = (first + last - 1) / 2
    value, se = _jackknife(found.sums)
    told = _told(found, lag, middle)
    weight = found.sums[RADIUS_S, 1]
    centroid = float(weight @ found.centre / weight.sum()) if weight.sum() > 0 else middle
    return _fine(lines(told), _Whole(lag + value, se, centroid - middle), middle, float(last - first), starts)


def telling(heights: FloatArray, count: FloatArray) -> NDArray[np.bool_]:
    """Whether windows tell a lag, by the correlation at their peak and their readings."""
    out: NDArray[np.bool_] = (heights >= WINDOW_CORRELATION) & (count >= LEAST_WINDOW_S)
    return out


def _told(found: _Windows, lag: int, middle: float) -> Told:
    """Lags of the windows that are alike, and the error to be expected of each.

    The variance of the place of a peak of height r is (1 - r^2) / (r^2 n b), with n independent readings and b the
    curvature of the correlation over its height: the bound of Cramer and Rao for a delay in noise (from memory).
    """
    r = _correlation(found.sums)
    offsets, heights = _peaks(r)
    count = found.sums[RADIUS_S, 3]
    keep = telling(heights, count)
    r, offsets, heights, count = r[keep], offsets[keep], heights[keep], count[keep]
    top = np.clip(np.nan_to_num(r, nan=-1.0).argmax(axis=1), 1, r.shape[1] - 2)[:, None]
    near = np.take_along_axis(np.nan_to_num(r), top + np.array([-1, 0, 1]), axis=1)
    bent = np.maximum(2 * near[:, 1] - near[:, 0] - near[:, 2], 1e-3) / heights
    se = np.sqrt(np.maximum(1 - heights**2, 0.0) / (heights**2 * count / READINGS * bent))
    return Told(found.centre[keep] - middle, lag + offsets, se, found.stretch[keep])


class _Whole(NamedTuple):
    """Lag of all windows together, its standard error, and of which moment it is, s after the middle."""

    lag: float
    se: float
    at: float


def _fine(found: Lines | None, whole: _Whole, middle: float, span: float, starts: tuple[int, ...]) -> Fine:
    """The lag of all where it is level and there are no steps, else that of the lines."""
    if found is None:
        return Fine(whole.lag, whole.se, math.nan, math.nan, middle, False,
                    tuple(Extra(start, 0.0, 0.0, math.nan) for start in starts))
    slope, slope_se, drifting = found.slope, found.slope_se, found.drifts(span)
    straight = found.level - slope * found.centre
    if not starts:
        if drifting:
            return Fine(float(straight[0]), float(found.level_se[0]), slope, slope_se, middle, True)
        # The lag of all is that of the moment where most of the changes are; a small drift moves it to the middle.
        later = slope * whole.at if abs(slope * whole.at) > RESOLUTION_S else 0.0
        return Fine(whole.lag - later, math.hypot(whole.se, slope_se * whole.at), slope, slope_se, middle, False)
    every = np.arange(len(starts) + 1)
    level, straight, at, error = (np.interp(every, found.stretch, values) for values in (
        found.level, straight, found.centre, found.level_se))
    error[~np.isin(every, found.stretch)] = math.nan
    used = straight if drifting else level
    extra = tuple(Extra(start, float(used[g + 1] - used[g]), float(straight[g + 1] - straight[g]),
                        math.hypot(error[g], error[g + 1], slope_se * (at[g + 1] - at[g])))
                  for g, start in enumerate(starts))
    return Fine(float(used[0]), float(error[0]), slope, slope_se, middle, drifting, extra,
                (found.plain, found.plain_se))
