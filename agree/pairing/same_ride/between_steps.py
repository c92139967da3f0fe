"""Whether two recordings share what a rider does within seconds, between the steps of a programme.

What a trainer, or a course, does after a step is smooth, and alike on two days. A parabola through the seconds near
follows it, and leaves what no programme sets. Of two rides the products of what is left have a mean of 0; the
sum over each piece of riding is one draw of it, whatever the noise of the two devices (a t test of clustered sums:
Liang and Zeger 1986, Biometrika 73:13).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    AFTER_S,
    LEAST_RAPID_R,
    LEAST_SLOW_R,
    SURE_MEANS_T,
    SURE_OVER_SHIFTS,
    SURE_SLOW_T,
    SURE_T,
    WORKING_W,
)
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.lag_path import shifted
from agree.pairing.clocks.smoothness import running_mean
from agree.pairing.grid import Grid
from agree.pairing.same_ride.rider import AHEAD_S, GROUPS, PIECE_S, pieces, steps

# Seconds that are too few are left out of sums; limits of what they tell stand with the thresholds (SURE_T and others).
LEAST_READINGS = 6  # a parabola through fewer follows everything


class Scale(NamedTuple):
    """How long the changes compared last: seconds of a parabola on either side, of a piece, and left after a step.

    `sparse_reach_s` is that of recordings with a reading every 2 s.

    One of the two devices may average over `means` seconds. `sure_t`, `sure_means_t` and `least_r` are limits of what
    chance gives.
    """

    reach_s: int
    sparse_reach_s: int
    piece_s: int
    after_s: int
    means: tuple[int, ...]
    sure_t: float
    sure_means_t: float
    least_r: float

    def beyond_chance(self, t: float, correlation: float, *, averaged: bool) -> bool:
        """Whether chance makes no two rides so alike; of means there are more to choose from."""
        return t >= (self.sure_means_t if averaged else self.sure_t) and correlation >= self.least_r


RAPID = Scale(7, 10, PIECE_S, AFTER_S, (3, 5, 9, 15), SURE_T, SURE_MEANS_T, 0.0)
# Devices that average over 20 s and more leave nothing rapid. What is slow reaches the end of a step.
SLOW = Scale(25, 25, 50, 20, (9, 15, 21, 31, 45), SURE_SLOW_T, SURE_SLOW_T, LEAST_SLOW_R)


class Alike(NamedTuple):
    """What two recordings share between steps, beside smooth changes.

    `t`: mean of the products over its standard error, the greatest of a few shifts and means; `correlation` there;
    `seconds` compared; `size`: standard deviation of what is left of the calmer trace, as a share of usual power;
    `told`: chance does not make them so alike.
    """

    t: float
    correlation: float
    seconds: int
    size: float
    told: bool = False


UNTOLD = Alike(0.0, math.nan, 0, math.nan)
SHIFTS_S, LEAST_PRODUCTS = (13, 141, 8), 50  # first, end and step of the shifts; products that one needs to tell


def beside_parabola(trace: FloatArray, reach: int) -> FloatArray:
    """Readings less a parabola through those near; NaN where they are too few.

    Parameters
    ----------
    trace : (n,) array
        Power on a 1-s grid, W; NaN is left out.
    reach : int
        Seconds on either side.
    """
    step = np.arange(-reach, reach + 1) / reach
    there, filled = np.isfinite(trace), np.nan_to_num(trace)
    n, s1, s2, s3, s4 = (ndimage.correlate1d(there.astype(float), step**k, mode="constant") for k in range(5))
    t0, t1, t2 = (ndimage.correlate1d(filled, step**k, mode="constant") for k in range(3))
    # The constant term of the least squares, by Cramer's rule.
    a, b, c = s2 * s4 - s3 * s3, s2 * s3 - s1 * s4, s1 * s3 - s2 * s2
    whole = n * a + s1 * b + s2 * c
    known = there & (np.rint(n) >= LEAST_READINGS) & (whole > 1e-9)
    out: FloatArray = np.where(known, trace - (t0 * a + t1 * b + t2 * c) / np.where(known, whole, 1.0), np.nan)
    return out


def _clustered(a: FloatArray, b: FloatArray, piece: NDArray[np.int64]) -> tuple[float, float, int]:
    """Mean of the products over its standard error, the correlation, and the number of products."""
    known = np.isfinite(a) & np.isfinite(b) & (piece >= 0)
    u, v = a[known], b[known]
    sums = np.bincount(piece[known], u * v)
    error, scale = math.sqrt(float(sums @ sums)), math.sqrt(float(u @ u) * float(v @ v))
    return (float(sums.sum()) / error if error > 0 else 0.0, float(u @ v) / scale if scale > 0 else 0.0,
            int(known.sum()))


def over_shifts(a: FloatArray, b: FloatArray) -> float:
    """Mean of the products of two traces, over its standard deviation at shifts of 13 s to over 2 min either way.

    Of few pieces the mean over its standard error says little, since it cannot exceed the root of their number, however
    alike they are. Shifts keep all but the time (cf. Theiler et al. 1992), and what steps leave at each of them.
    """
    place = np.arange(a.size)

    def mean(by: int) -> float:
        products = a * shifted(b, place + by)
        count = int(np.isfinite(products).sum())
        return float(np.nansum(products)) / math.sqrt(count) if count > LEAST_PRODUCTS else math.nan

    away = np.array([mean(sign * by) for by in range(*SHIFTS_S) for sign in (-1, 1)])
    if np.isfinite(away).sum() < away.size / 2:
        return 0.0
    usual = math.sqrt(float(np.nanmean(away**2)))
    here = mean(0)
    return here / usual if usual > 0 and math.isfinite(here) else 0.0


def _averaged(x: FloatArray, y: FloatArray, means: tuple[int, ...]) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Both as they are, then one or the other averaged."""
    yield x, y
    for width in means:
        yield running_mean(x, width), y
        yield x, running_mean(y, width)


def alike(x: Grid, y: Grid, fine: Fine, scale: Scale = RAPID) -> Alike:
    """Compare what two recordings have between steps, along the lags found.

    Parameters
    ----------
    x, y : Grid
        Reference and device; of one with a reading every 2 s, the readings alone tell what is rapid.
    fine : Fine
        Lags found.
    scale : Scale
        How long the changes compared last.

    Returns
    -------
    Alike
        Of the shift and the mean at which they are most surely alike; the first that is beyond chance ends the search.
    """
    place = np.arange(x.power.size)
    along = place + np.rint(fine.at(place.astype(float))).astype(np.int64)
    other = shifted(y.power, along)
    calm = ((x.power > WORKING_W) & (other > WORKING_W)
            & ~steps(x.power, scale.after_s) & ~steps(other, scale.after_s))
    piece = pieces(calm, scale.piece_s)
    if piece.max(initial=-1) + 1 < GROUPS:
        return UNTOLD
    reach, here, there = scale.reach_s, x.power, other
    if scale is RAPID and not (x.read is None and y.read is None):
        reach, here = scale.sparse_reach_s, x.power if x.read is None else x.read
        there = other if y.read is None else shifted(y.read, along)
    here, there = np.where(calm, here, np.nan), np.where(calm, there, np.nan)
    level, best, size = float(np.median(x.power[calm])), UNTOLD, math.nan
    for number, traces in enumerate(_averaged(here, there, scale.means)):
        left, right = (beside_parabola(trace, reach) for trace in traces)
        if not number:
            size = min(float(np.nanstd(v)) if np.isfinite(v).any() else 0.0 for v in (left, right)) / level
        for by in range(-AHEAD_S, AHEAD_S + 1):
            t, correlation, seconds = _clustered(left, shifted(right, place + by), piece)
            told = scale.beyond_chance(t, correlation, averaged=number > 0)
            if (told, t) > (best.told, best.t) or not best.seconds:
                best = Alike(t, correlation, seconds, size, told)
            if scale is RAPID and not best.told and correlation >= LEAST_RAPID_R:
                best = best._replace(told=over_shifts(left, shifted(right, place + by)) >= SURE_OVER_SHIFTS)
        if best.told:
            break
    return best
