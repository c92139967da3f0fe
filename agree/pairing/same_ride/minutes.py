"""Whether two recordings are of one ride: how many minutes are more alike along the lags found than at other lags.

Two efforts on one course, or one plan of intervals, are alike too, but not minute by minute more than at any other
shift: shifted copies keep all of a trace but its time (shift surrogates; cf. Theiler et al. 1992).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.thresholds import LEAST_MINUTE_S, STILL_MINUTE, STILL_MINUTE_AT_ALL, WORKING_W
from agree.pairing.clocks import clock
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.lag_path import shifted, unit
from agree.pairing.clocks.smoothness import made_even, running_mean

# What is compared; how many minutes must be alike stands with the thresholds (LEAST_LIKENESS and others).
WINDOW_S = 60
CLOSE_S = 1  # the path is known so well
SHIFTS, NEAREST_S, FURTHEST_S = 64, 12, 840
RAPID_S, RAPID_SD_S = 15, 1.0
LEFT_CLIP = 4.0  # what is left is cut to so many medians of its size
Z95 = 1.959964  # two-sided 95 %


class Likeness(NamedTuple):
    """Windows that tell anything, those matched, and among the calmer half of them; start of each, and whether."""

    starts: NDArray[np.int64]
    matched: NDArray[np.bool_]
    energy: FloatArray

    @property
    def share(self) -> float:
        """Share of windows matched; NaN if there are none."""
        return float(self.matched.mean()) if self.matched.size else math.nan

    @property
    def low(self) -> float:
        """Wilson's lower 95 % limit of the share; 0 if there are none."""
        return wilson_low(int(self.matched.sum()), self.matched.size)


def wilson_low(count: int, number: int) -> float:
    """Lower 95 % limit of a share: the least p for which the count lies within 1.96 standard deviations of n p.

    Wilson 1927, JASA 22:209.

    Examples
    --------
    >>> from agree.pairing.same_ride.minutes import wilson_low
    >>> round(wilson_low(9, 10), 3)
    0.596
    """
    if number == 0:
        return 0.0
    share, square = count / number, Z95**2 / number
    middle = share + square / 2
    return (middle - Z95 * math.sqrt(share * (1 - share) / number + square / (4 * number))) / (1 + square)


def shifts(size: int) -> NDArray[np.int64]:
    """Shifts of the surrogates, at most half of the trace: 32 on either side."""
    furthest = min(FURTHEST_S, size // 2)
    one = np.unique(np.rint(np.linspace(NEAREST_S, max(furthest, NEAREST_S), SHIFTS // 2)).astype(np.int64))
    return np.concatenate([-one[::-1], one])


def _sums(values: FloatArray) -> FloatArray:
    size = values.shape[-1] // WINDOW_S
    out: FloatArray = values[..., :size * WINDOW_S].reshape(*values.shape[:-1], size, WINDOW_S).sum(axis=-1)
    return out


def _correlations(
    u: FloatArray, at: NDArray[np.int64]
) -> Callable[[FloatArray, int], tuple[FloatArray, FloatArray, FloatArray]]:
    """Return what gives, of another trace from a place on, each minute's correlation with `u`, seconds, and energy.

    `at` are the places of `u` in the other trace. What is not known is 0, and so are its products; it is called 67
    times for each ride, so what is of `u` alone is made once.
    """
    known, filled = np.isfinite(u), np.nan_to_num(u)
    squares, products = filled * filled, np.empty((4, u.size))
    steady = bool((np.diff(at) == 1).all())

    def correlation(trace: FloatArray, begin: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        first = begin + int(at[0])
        other = trace[first:first + at.size] if steady else trace[at + begin]
        both = np.isfinite(other) & known
        other = np.where(both, other, 0.0)
        np.multiply(filled, other, out=products[0])
        np.multiply(squares, both, out=products[1])
        np.multiply(other, other, out=products[2])
        products[3] = both
        ab, aa, bb, count = _sums(products)
        scale = np.sqrt(aa * bb)
        r: FloatArray = np.where(scale > 1e-9 * np.maximum(count, 1), ab / np.maximum(scale, 1e-300), 0.0)
        return r, count, aa

    return correlation


def likeness(u: FloatArray, v: FloatArray, lag: FloatArray) -> Likeness:
    """Compare windows of a minute along the path with the same windows at 64 shifts.

    Parameters
    ----------
    u, v : array
        Fast changes of reference and device, from `lag_path.unit`.
    lag : (n,) array
        Lag at each place of `u`.

    Returns
    -------
    Likeness
        Of windows in which at least half of the seconds have both readings and `u` changes at all.
    """
    place = np.arange(u.size) + np.rint(lag).astype(np.int64)
    inside = np.flatnonzero(np.isfinite(u) & np.isfinite(shifted(v, place)))
    if inside.size < WINDOW_S:
        return Likeness(np.zeros(0, np.int64), np.zeros(0, bool), np.zeros(0))
    first, last = int(inside[0]), int(inside[-1]) + 1
    u, place = u[first:last], place[first:last]
    low, high = int(place.min()), int(place.max()) + 1
    near = shifted(v, np.arange(low - CLOSE_S, high + CLOSE_S))
    ring = np.tile(near[CLOSE_S:-CLOSE_S], 2)
    correlation = _correlations(u, place - low)
    own = [correlation(near, CLOSE_S + shift) for shift in range(-CLOSE_S, CLOSE_S + 1)]
    best, (_, count, energy) = np.max([r for r, _, _ in own], axis=0), own[CLOSE_S]
    rival = np.full(best.size, -1.0)
    for shift in shifts(high - low):
        r, there, _ = correlation(ring, int(shift) % (high - low))
        rival = np.maximum(rival, np.where(there >= LEAST_MINUTE_S, r, -1.0))
    telling = count >= LEAST_MINUTE_S
    if telling.any():
        some = energy[telling]
        telling &= energy > max(STILL_MINUTE * float(np.median(some)), STILL_MINUTE_AT_ALL * float(some.mean()))
    starts = first + WINDOW_S * np.flatnonzero(telling)
    return Likeness(starts, (best > rival)[telling] & (best > 0)[telling], energy[telling])


def along(x: FloatArray, y: FloatArray, fine: Fine) -> Likeness:
    """Likeness of two traces of power along the lags found."""
    lag = fine.at(np.arange(x.size, dtype=float))
    one, two = made_even(x, y, round(fine.lag))
    return likeness(unit(one), unit(two), lag)


def _rapid(trace: FloatArray) -> FloatArray:
    """Changes within 15 s: the rider's own, which no course and no plan sets."""
    fast = trace - running_mean(trace, RAPID_S)
    smooth = clock.mean_of_valid(fast, lambda v: ndimage.gaussian_filter1d(v, RAPID_SD_S, mode="constant"))
    sd = float(np.nanstd(smooth)) if np.isfinite(smooth).any() else 0.0
    out: FloatArray = np.clip(smooth, -clock.CLIP_SD * sd, clock.CLIP_SD * sd)
    return out


def rapidly(x: FloatArray, y: FloatArray, fine: Fine) -> tuple[Likeness, float]:
    """Likeness of the changes within 15 s, and their usual size in the device as a ratio of that in the reference.

    Two efforts on one course share what takes longer. A device that averages over many seconds shares no rapid changes
    either, but it has hardly any: so the likeness tells something only if both have them in like size.
    """
    one, two = _rapid(x), _rapid(y)
    sizes = [float(np.nanmedian(np.abs(rapid[trace > 0]))) if (np.isfinite(rapid) & (trace > 0)).any() else 0.0
             for rapid, trace in ((one, x), (two, y))]
    found = likeness(one, two, fine.at(np.arange(x.size, dtype=float)))
    return found, sizes[1] / sizes[0] if sizes[0] > 0 else math.nan


def leftover(x: FloatArray, y: FloatArray, fine: Fine) -> tuple[Likeness, float]:
    """Likeness of changes within 15 s with both made equally smooth, and the colour of what is left of them.

    The colour is the correlation of neighbouring seconds of the difference of the two, without its mean over 15 s. What
    an averaging device adds is noise, near 0; what another rider does lasts for seconds, 0.3 to 0.7.
    """
    one, two = made_even(x, y, round(fine.lag))
    place = np.arange(x.size)
    lag = fine.at(place.astype(float))
    found = likeness(_rapid(one), _rapid(two), lag)
    other = shifted(two, place + np.rint(lag).astype(np.int64))
    works = (one > WORKING_W) & (other > WORKING_W)
    if not works.any():
        return found, 0.0
    rest = other - float(np.median(other[works] / one[works])) * one
    rest = np.where(works, rest - running_mean(rest, RAPID_S), np.nan)
    limit = LEFT_CLIP * float(np.nanmedian(np.abs(rest)))
    a, b = (np.clip(part, -limit, limit) for part in (rest[1:], rest[:-1]))
    both = np.isfinite(a) & np.isfinite(b)
    square = math.sqrt(float((a[both] @ a[both]) * (b[both] @ b[both])))
    return found, float(a[both] @ b[both]) / square if square > 0 else 0.0
