"""How far two clocks are apart: a coarse lag over all shifts, a sub-second one, and its drift.

Traces are on 1-s grids; NaN is no reading. A lag is the place of an event in the device's trace minus its place
in the reference's, in seconds. Only fast changes are compared: slow ones are alike in any two rides.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from agree.core.checks import FloatArray

HIGH_PASS_S = 61  # fast changes: the trace without its running mean over this many seconds
CLIP_SD = 3.0  # changes are cut to this many standard deviations, so that no single spike decides
STILL_W = 1e-6
LOW_PASS_SD_S = 1.5  # standard deviation of the Gaussian that limits the band for the sub-second lag
MIN_OVERLAP_S = 60
MIN_SHARE = 0.3  # of the readings of the shorter trace: lags that cover less are not considered
# Strength of a match = artanh(correlation) * sqrt(seconds compared). Over all lags, 5462 wrong pairings of pieces of 5
# real rides (2 to 40 min) reached at most 17.2, and 3 passed all three limits below; 19 of whole rides reached 13.3.
# A real pair with 20 W of noise added had at least 23 in pieces of 10 min and 61 in pieces of 40; as it is, whole, 125.
MIN_STRENGTH = 15.0
MIN_CORRELATION = 0.3  # on very long rides, where the strength alone would admit less
MAX_RIVAL = 0.75  # strength of the best distinctly different lag, as a share of the best
MAX_ALIKE = 0.97  # correlation there, as a share of the best: equal intervals are alike at several lags
DISTINCT_S = 10  # lags nearer than this to the best one belong to the same match
MOST_CANDIDATES = 4
WINDOW_S = 150
WINDOW_CORRELATION = 0.6
# A drift is taken out beyond 3 standard errors and 0.5 s over the overlap, if 6 windows tell of it.
DRIFT_SE, DRIFT_S, DRIFT_WINDOWS = 3.0, 0.5, 6
RADIUS_S = 8  # lags looked at on either side of the coarse one
RESOLUTION_S = 0.012  # standard deviation of lags found between seconds where nothing else errs


class Candidate(NamedTuple):
    """A whole-second lag, the correlation there, and the strength of the match."""

    lag: int
    correlation: float
    strength: float


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
    steps, `extra` holds what is left of each after whole seconds were put in.
    """

    lag: float
    lag_se: float
    drift: float
    drift_se: float
    middle: float
    drifting: bool
    extra: tuple[Extra, ...] = ()

    def at(self, place: FloatArray) -> FloatArray:
        """Lag at places of the reference's trace."""
        lag = self.lag + (self.drift if self.drifting else 0.0) * (place - self.middle)
        for part in self.extra:
            lag = lag + part.applied * (place >= part.start)
        return lag


def _mean_of_valid(trace: FloatArray, smooth: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Smooth over the readings present; NaN where there is none."""
    valid = np.isfinite(trace)
    weight = smooth(valid.astype(float))
    total = smooth(np.where(valid, trace, 0.0))
    out: FloatArray = np.where(valid, total / np.where(valid, weight, 1.0), np.nan)
    return out


def fast_changes(trace: FloatArray) -> FloatArray:
    """Return the trace minus its running mean over 61 s of readings, clipped at 3 standard deviations.

    The standard deviation is that left after one round of clipping, so that spikes do not set it.
    """
    fast: FloatArray = trace - _mean_of_valid(
        trace, lambda v: ndimage.uniform_filter1d(v, HIGH_PASS_S, mode="constant"))
    for _ in range(2):
        sd = float(np.nanstd(fast)) if np.isfinite(fast).any() else 0.0
        limit = CLIP_SD * sd if sd > STILL_W else 0.0  # what is left of a constant trace is rounding
        fast = np.clip(fast, -limit, limit)
    return fast


def correlate(x: FloatArray, y: FloatArray) -> tuple[NDArray[np.int64], FloatArray, FloatArray]:
    """Correlation of two traces of mean 0 at every whole lag, over the readings both have there.

    Returns the lags, the correlations (NaN where either has no change) and the numbers of readings compared.
    """
    size = fft.next_fast_len(x.size + y.size, real=True)

    def spectra(v: FloatArray) -> FloatArray:
        filled = np.nan_to_num(v)
        rows: FloatArray = fft.rfft(np.array([filled, filled**2, np.isfinite(v)], dtype=float), size)
        return rows

    a, b = spectra(x).conj(), spectra(y)
    product, energy_x, energy_y, count = fft.irfft(
        np.array([a[0] * b[0], a[1] * b[2], a[2] * b[1], a[2] * b[2]]), size)
    lags = np.arange(-(x.size - 1), y.size)
    floor = 1e-9 * max(float(np.nansum(x**2)), float(np.nansum(y**2)), 1e-300)
    moving = (energy_x > floor) & (energy_y > floor)
    energy = np.where(moving, np.abs(energy_x * energy_y), 1.0)
    r = np.where(moving, product / np.sqrt(energy), np.nan)
    return lags, r[lags], np.rint(count[lags])


def candidates(x: FloatArray, y: FloatArray, lowest: float, highest: float) -> list[Candidate]:
    """Return the strongest lags from `lowest` to `highest` that are distinctly different, up to 4, the best first.

    Considered are lags at which both have at least 60 readings in common, and 30 % of those of the shorter trace.
    """
    lags, r, count = correlate(fast_changes(x), fast_changes(y))
    need = max(MIN_OVERLAP_S, MIN_SHARE * min(np.isfinite(x).sum(), np.isfinite(y).sum()))
    open_ = (count >= need) & (lags >= lowest) & (lags <= highest) & np.isfinite(r)
    r = np.where(open_, np.clip(r, -1.0, 1.0), 0.0)
    # The correlation is capped where its artanh would be infinite.
    strength = np.where(open_, np.arctanh(np.clip(r, -0.9999, 0.9999)) * np.sqrt(np.maximum(count, 0)), -np.inf)
    found: list[Candidate] = []
    for _ in range(MOST_CANDIDATES):
        i = int(strength.argmax())
        if not math.isfinite(strength[i]) or (found and strength[i] <= 0):
            break
        found.append(Candidate(int(lags[i]), float(r[i]), float(strength[i])))
        strength[np.abs(lags - lags[i]) <= DISTINCT_S] = -np.inf
    return found


def band(trace: FloatArray) -> FloatArray:
    """Fast changes up to about 0.15 Hz, where a delay by interpolation is still a delay."""
    return _mean_of_valid(fast_changes(trace), lambda v: ndimage.gaussian_filter1d(
        v, LOW_PASS_SD_S, mode="constant"))


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


def refine(x: FloatArray, y: FloatArray, lag: int, starts: tuple[int, ...] = ()) -> Fine:
    """Sub-second lag near a whole-second one, and its drift.

    The lag is where the correlation of the two traces, limited in band, is greatest: over the whole overlap, and
    in windows of 150 s. A line through the lags of the windows (those with a correlation of 0.6 or more and
    within 3.5 robust standard deviations of a Theil-Sen line) gives drift and standard errors. Where the clocks had
    steps, at the places `starts`, windows end there, and there is a line for each stretch, all of one slope.
    """
    first, last = max(0, -lag), min(x.size, y.size - lag)
    place = np.arange(first, last)
    a, b = band(x)[first:last], np.pad(band(y), RADIUS_S, constant_values=np.nan)
    edges = np.arange(0, place.size, WINDOW_S)
    stretch = np.zeros(edges.size, dtype=np.int64)
    if starts:
        bounds = np.clip(np.r_[first, starts, last] - first, 0, place.size)
        parts = [np.linspace(low, high, max(round((high - low) / WINDOW_S), 1), endpoint=False)
                 if high > low else np.zeros(0) for low, high in pairwise(bounds)]
        edges = np.concatenate(parts).astype(np.int64)
        stretch = np.repeat(np.arange(len(parts)), [part.size for part in parts])
    sums = np.empty((2 * RADIUS_S + 1, 4, edges.size))
    for d in range(2 * RADIUS_S + 1):
        other = b[place + lag + d]
        both = np.isfinite(a) & np.isfinite(other)
        u, v = np.where(both, a, 0.0), np.where(both, other, 0.0)
        sums[d] = np.add.reduceat(np.array([u * v, u * u, v * v, both]), edges, axis=1)

    def correlation(s: FloatArray) -> FloatArray:
        scale = np.sqrt(s[:, 1] * s[:, 2])
        r: FloatArray = np.where(scale > 0, s[:, 0] / np.where(scale > 0, scale, 1.0), np.nan).T
        return r

    whole, _ = _peaks(correlation(sums.sum(axis=2, keepdims=True)))
    offsets, heights = _peaks(correlation(sums))
    keep = (heights >= WINDOW_CORRELATION) & (sums[RADIUS_S, 3] >= WINDOW_S / 2)
    centre = place[edges] + WINDOW_S / 2
    middle = (first + last - 1) / 2
    lag_s = lag + (float(whole[0]) if math.isfinite(whole[0]) else 0.0)
    return _line(centre[keep] - middle, lag + offsets[keep], stretch[keep], lag_s, middle, float(last - first), starts)


def _line(t: FloatArray, lags: FloatArray, stretch: NDArray[np.int64], lag: float, middle: float, span: float,
          starts: tuple[int, ...]) -> Fine:
    """Robust straight lines of one slope through the lags of windows; `lag` is kept where there is one and it is level.

    There is a line for each stretch between steps.
    """
    unknown = Fine(lag, math.nan, math.nan, math.nan, middle, False,
                   tuple(Extra(start, 0.0, 0.0, math.nan) for start in starts))
    i, j = np.triu_indices(t.size, 1)
    i, j = i[stretch[i] == stretch[j]], j[stretch[i] == stretch[j]]
    if t.size < 3 or not i.size:
        return unknown
    off = lags - float(np.median((lags[j] - lags[i]) / (t[j] - t[i]))) * t
    for g in np.unique(stretch):
        off[stretch == g] -= np.median(off[stretch == g])
    keep = np.abs(off) <= max(3.5 * 1.4826 * float(np.median(np.abs(off))), 0.05)
    t, lags = t[keep], lags[keep]
    groups, group, size = np.unique(stretch[keep], return_inverse=True, return_counts=True)
    if t.size < groups.size + 2:
        return unknown
    middles, levels = np.bincount(group, t) / size, np.bincount(group, lags) / size
    s = t - middles[group]
    slope = float(s @ lags / (s @ s))
    rest = lags - levels[group] - slope * s
    sd = math.sqrt(float(rest @ rest) / (t.size - groups.size - 1))
    slope_se = sd / math.sqrt(float(s @ s))
    drifting = t.size >= DRIFT_WINDOWS and abs(slope) > DRIFT_SE * slope_se and abs(slope) * span > DRIFT_S
    if not starts:
        return Fine(float(levels[0] - slope * middles[0]) if drifting else lag,
                    math.hypot(sd / math.sqrt(t.size), RESOLUTION_S), slope, slope_se, middle, drifting)
    every = np.arange(len(starts) + 1)
    level, straight, at, error = (np.interp(every, groups, values) for values in (
        levels, levels - slope * middles, middles, np.hypot(sd / np.sqrt(size), RESOLUTION_S)))
    error[~np.isin(every, groups)] = math.nan
    used = straight if drifting else level
    extra = tuple(Extra(start, float(used[g + 1] - used[g]), float(straight[g + 1] - straight[g]),
                        math.hypot(error[g], error[g + 1], slope_se * (at[g + 1] - at[g])))
                  for g, start in enumerate(starts))
    return Fine(float(used[0]), float(error[0]), slope, slope_se, middle, drifting, extra)
