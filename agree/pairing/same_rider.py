"""Whether two recordings share the rider's own changes, between the steps that a programme or a course sets.

A workout of a trainer, ridden on two days, is alike at every step, and steps outweigh all else. What the rider does
between them is of one day. A reading is true power and the device's own noise, and noise of neighbouring seconds is
hardly alike: so the covariance of neighbouring seconds of one trace is that of true power, and the covariance of the
two traces, if they are of one ride, is no less. Of two rides it is about 0.
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
from agree.core.thresholds import WORKING_W
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.lag_path import shifted
from agree.pairing.clocks.smoothness import made_even, running_mean

RAPID_S, EDGE_SD, BESIDE_S = 15, 4.0, 6  # a step: so far from the mean over 15 s; seconds beside it are left out too
QUARTER, QUARTER_SD = 0.25, 0.3186  # a quarter of normal noise is within so many SD; steps may fill half of a workout
PIECE_S, SHORTEST_S = 16, 8  # changes are those about the mean of pieces of about so many seconds
SLOW_PIECE_S = 50
AHEAD_S = 2  # devices of unlike response are best alike some seconds off
GROUPS = 20  # of the jackknife
MOST_SHARE = 100.0  # what one trace of white noise would make infinite


class Own(NamedTuple):
    """The rider's own changes in seconds between steps.

    `share`: covariance of the two traces over the geometric mean of that of neighbouring seconds of each: 1 or more
    for one ride. `colour`: correlation of neighbouring seconds, of the trace with less. `size`: standard deviation of
    that part, of the trace with less, as a share of usual power. Standard errors are of a jackknife.
    """

    seconds: int
    share: float
    share_se: float
    correlation: float
    correlation_se: float
    colour: float
    colour_se: float
    size: float


NOTHING = Own(0, math.nan, math.nan, math.nan, math.nan, math.nan, math.nan, math.nan)


def steps(trace: FloatArray) -> NDArray[np.bool_]:
    """Seconds at a step of power, and near one."""
    rapid = trace - running_mean(trace, RAPID_S)
    works = np.isfinite(rapid) & (trace > WORKING_W)
    if not works.any():
        return np.ones(trace.size, bool)
    usual = float(np.quantile(np.abs(rapid[works]), QUARTER)) / QUARTER_SD
    out: NDArray[np.bool_] = ndimage.binary_dilation(~(np.abs(rapid) <= EDGE_SD * usual), iterations=BESIDE_S)
    return out


def _pieces(calm: NDArray[np.bool_], length: int) -> list[tuple[int, int]]:
    """Pieces of about one length of the runs of calm seconds."""
    out = []
    for start, stop in runs(calm):
        edges = np.linspace(start, stop, max(round((stop - start) / length), 1) + 1).astype(int)
        out += [(int(a), int(b)) for a, b in pairwise(edges) if b - a >= SHORTEST_S]
    return out


def own_changes(x: FloatArray, y: FloatArray, fine: Fine, length: int = PIECE_S) -> Own:
    """Compare the changes of two traces between steps, along the lags found.

    Parameters
    ----------
    x, y : array
        Power of reference and device, W, on 1-s grids.
    fine : Fine
        Lags found.
    length : int
        Length of the pieces, s, about whose mean changes are counted.
    """
    one, two = made_even(x, y, round(fine.lag))
    place = np.arange(x.size)
    place = place + np.rint(fine.at(place.astype(float))).astype(np.int64)
    ahead = [shifted(two, place + by) for by in range(-AHEAD_S, AHEAD_S + 1)]
    other = ahead[AHEAD_S]
    calm = (one > WORKING_W) & (other > WORKING_W) & ~steps(one) & ~steps(other)
    rows = []
    for start, stop in _pieces(calm, length):
        u, v = one[start:stop] - one[start:stop].mean(), other[start:stop] - other[start:stop].mean()
        near = [shift[start:stop] for shift in ahead]
        whole = u.size / (u.size - 1)
        rows.append([u.size, u @ u, v @ v, whole * (u[1:] @ u[:-1]), whole * (v[1:] @ v[:-1]),
                     *(float(np.nansum(u * (w - np.nanmean(w)))) if np.isfinite(w).any() else 0.0 for w in near)])
    if len(rows) < GROUPS:
        return NOTHING
    group = np.arange(len(rows)) * GROUPS // len(rows)
    parts = np.array([np.sum(np.array(rows)[group == g], axis=0) for g in range(GROUPS)])
    total = parts.sum(axis=0)
    usual = float(np.median(one[calm]))
    share, correlation, colour, size = _figures(total, usual)
    without = np.array([_figures(total - part, usual) for part in parts])
    se = np.sqrt((GROUPS - 1) / GROUPS * ((without - without.mean(axis=0))**2).sum(axis=0))
    return Own(int(total[0]), share, float(se[0]), correlation, float(se[1]), colour, float(se[2]), size)


def _figures(total: FloatArray, usual: float) -> tuple[float, float, float, float]:
    """Share, correlation, colour and size of sums."""
    count, xx, yy, x_near, y_near = total[:5]
    both = float(total[5:].max())
    scale = math.sqrt(max(xx * yy, 1e-12))
    near = max(min(x_near, y_near), 0.0)
    own = math.sqrt(max(x_near, 0.0) * max(y_near, 0.0))
    return (min(both / own, MOST_SHARE) if own > 0 else MOST_SHARE, both / scale,
            min(x_near / xx, y_near / yy) if min(xx, yy) > 0 else 0.0, math.sqrt(near / count) / usual)
