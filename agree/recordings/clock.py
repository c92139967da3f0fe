"""How far two clocks are apart: a coarse lag over all shifts, a sub-second one, and its drift.

Traces are on 1-s grids; NaN is no reading. A lag is the place of an event in the device's trace minus its place
in the reference's, in seconds. Only fast changes are compared: slow ones are alike in any two rides.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from agree._check import FloatArray
from agree.errors import MatchError

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
DISTINCT_S = 10  # lags nearer than this to the best one belong to the same match
WINDOW_S = 300
WINDOW_CORRELATION = 0.6
# A drift is taken out beyond 3 standard errors and 0.5 s over the overlap, if 6 windows tell of it.
DRIFT_SE, DRIFT_S, DRIFT_WINDOWS = 3.0, 0.5, 6
RADIUS_S = 8  # lags looked at on either side of the coarse one


class Candidate(NamedTuple):
    """A whole-second lag, the correlation there, and the strength of the match."""

    lag: int
    correlation: float
    strength: float


class Fine(NamedTuple):
    """Lag in the middle of the overlap and its change with time, with standard errors (NaN: cannot be told).

    `drifting`: the change is more than 3 standard errors and more than 0.5 s over the overlap; then the lag at
    place i of the reference's trace is lag + drift * (i - middle). Lags in s, drift in s per s.
    """

    lag: float
    lag_se: float
    drift: float
    drift_se: float
    middle: float
    drifting: bool

    def at(self, place: FloatArray) -> FloatArray:
        """Lag at places of the reference's trace."""
        return self.lag + (self.drift if self.drifting else 0.0) * (place - self.middle)


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
    """Return the strongest lag from `lowest` to `highest` and the strongest distinctly different one.

    Considered are lags at which both have at least 60 readings in common, and 30 % of those of the shorter trace.
    The list is empty if there is no such lag, and holds one if there is no second.
    """
    lags, r, count = correlate(fast_changes(x), fast_changes(y))
    need = max(MIN_OVERLAP_S, MIN_SHARE * min(np.isfinite(x).sum(), np.isfinite(y).sum()))
    open_ = (count >= need) & (lags >= lowest) & (lags <= highest) & np.isfinite(r)
    r = np.where(open_, np.clip(r, -1.0, 1.0), 0.0)
    # The correlation is capped where its artanh would be infinite.
    strength = np.where(open_, np.arctanh(np.clip(r, -0.9999, 0.9999)) * np.sqrt(np.maximum(count, 0)), -np.inf)
    found: list[Candidate] = []
    for _ in range(2):
        i = int(strength.argmax())
        if not math.isfinite(strength[i]):
            break
        found.append(Candidate(int(lags[i]), float(r[i]), float(strength[i])))
        strength[np.abs(lags - lags[i]) <= DISTINCT_S] = -np.inf
    return found


def accept(found: list[Candidate], shift: float) -> None:
    """Refuse a match that is weak, or that has a rival.

    Parameters
    ----------
    found : list of Candidate
        From `candidates`.
    shift : float
        What to add to a lag between places to have one between timestamps, s.

    Raises
    ------
    MatchError
        A strength below 15, a correlation below 0.3, or a rival with more than 75 % of the strength.
    """
    if not found:
        raise MatchError(
            f"the recordings do not overlap: no lag leaves {MIN_OVERLAP_S} s, and {100 * MIN_SHARE:g} % of the shorter "
            "one, in common; check that both are of the same ride, or widen max_lag_s (--max-lag) if you gave it")
    best, force = found[0], "if you know the lag, give it: lag_s=... (--lag ...)"
    if best.strength < MIN_STRENGTH or best.correlation < MIN_CORRELATION:
        raise MatchError(
            f"the recordings do not match: the best lag, {best.lag + shift:+.1f} s, has a correlation of only "
            f"{best.correlation:.2f} (strength {best.strength:.1f}, at least {MIN_STRENGTH:g} is needed); check that "
            f"both are of the same ride, with some change of power in it, and that max_lag_s (--max-lag), if given, is "
            f"wide enough; {force}")
    if len(found) > 1 and found[1].strength > MAX_RIVAL * best.strength:
        one, two = (f"{c.lag + shift:+.1f} s (correlation {c.correlation:.2f}, strength {c.strength:.1f})"
                    for c in found)
        raise MatchError(f"the recordings match at two lags almost equally well: {one} and {two}; {force}")


def _band(trace: FloatArray) -> FloatArray:
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


def refine(x: FloatArray, y: FloatArray, lag: int) -> Fine:
    """Sub-second lag near a whole-second one, and its drift.

    The lag is where the correlation of the two traces, limited in band, is greatest: over the whole overlap, and
    in windows of 300 s. A line through the lags of the windows (those with a correlation of 0.6 or more and
    within 3.5 robust standard deviations of a Theil-Sen line) gives drift and standard errors.
    """
    first, last = max(0, -lag), min(x.size, y.size - lag)
    place = np.arange(first, last)
    a, b = _band(x)[first:last], np.pad(_band(y), RADIUS_S, constant_values=np.nan)
    edges = np.arange(0, place.size, WINDOW_S)
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
    return _line(centre[keep] - middle, lag + offsets[keep], lag_s, middle, float(last - first))


def _line(t: FloatArray, lags: FloatArray, lag: float, middle: float, span: float) -> Fine:
    """Robust straight line through the lags of windows; `lag` is kept where there is no drift to speak of."""
    if t.size < 3:
        return Fine(lag, math.nan, math.nan, math.nan, middle, False)
    i, j = np.triu_indices(t.size, 1)
    slope = float(np.median((lags[j] - lags[i]) / (t[j] - t[i])))
    off = lags - slope * t
    off -= np.median(off)
    keep = np.abs(off) <= max(3.5 * 1.4826 * float(np.median(np.abs(off))), 0.05)
    t, lags = t[keep], lags[keep]
    if t.size < 3:
        return Fine(lag, math.nan, math.nan, math.nan, middle, False)
    s = t - t.mean()
    slope = float(s @ lags / (s @ s))
    rest = lags - lags.mean() - slope * s
    sd = math.sqrt(float(rest @ rest) / (t.size - 2))
    slope_se = sd / math.sqrt(float(s @ s))
    drifting = t.size >= DRIFT_WINDOWS and abs(slope) > DRIFT_SE * slope_se and abs(slope) * span > DRIFT_S
    if drifting:
        lag = float(lags.mean()) - slope * float(t.mean())
    return Fine(lag, sd / math.sqrt(t.size), slope, slope_se, middle, drifting)
