"""Whether two recordings share the rider's own changes, between the steps that a programme or a course sets.

A workout of a trainer, ridden on two days, is alike at every step, and steps outweigh all else. What the rider does
between them is of one day. A reading is true power and the device's own noise, and noise of neighbouring seconds is
hardly alike: so the covariance of neighbouring seconds of one trace is that of true power, and the covariance of the
two traces, if they are of one ride, is no less. Of two rides it is about 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import AFTER_S, EDGE_SD, LEAST_EVEN, SURE_SE, SURER, WORKING_W
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.lag_path import shifted
from agree.pairing.clocks.smoothness import WIDTHS, running_mean

BESIDE_S, ROUNDS = 6, 5  # the middles of the means on either side of a step
QUARTER, QUARTER_SD = 0.25, 0.3186  # a quarter of normal noise is within so many SD; steps may fill half of a workout
PIECE_S = 16  # changes are those about the mean of pieces of about so many seconds
AHEAD_S = 2  # devices of unlike response are best alike some seconds off
CADENCE_AHEAD_S = 10  # power that is averaged is so much behind cadence
GROUPS = 20  # of the jackknife
MOST_SHARE = 100.0  # what one trace of white noise would make infinite


class Own(NamedTuple):
    """The rider's own changes in seconds between steps.

    `share`: covariance of the two traces over the geometric mean of that of neighbouring seconds of each: 1 or more
    for one ride. `colour`: correlation of neighbouring seconds, of the trace with less. `size`: standard deviation of
    that part, of the trace with less, as a share of usual power. `ratio`: its variance in the trace with less, over
    that in the other one. Standard errors are of a jackknife.
    """

    seconds: int
    share: float
    share_se: float
    correlation: float
    correlation_se: float
    colour: float
    colour_se: float
    size: float
    ratio: float = 1.0


NOTHING = Own(0, math.nan, math.nan, math.nan, math.nan, math.nan, math.nan, math.nan)


def steps(trace: FloatArray, after_s: int = AFTER_S) -> NDArray[np.bool_]:
    """Seconds at a step, and near one: short steps are told from noise by the means on either side.

    Parameters
    ----------
    trace : (n,) array
        Power on a 1-s grid, W.
    after_s : int
        Seconds after a step that belong to it: a trainer comes to its target smoothly.
    """
    mean = running_mean(trace, BESIDE_S - 1)
    apart = (BESIDE_S + 1) // 2
    place = np.arange(trace.size)
    change = np.abs(shifted(mean, place + apart) - shifted(mean, place - apart))
    works = np.isfinite(change) & (trace > WORKING_W)
    if not works.any():
        return np.ones(trace.size, bool)
    usual, left = 0.0, works
    for _ in range(ROUNDS):  # short steps fill half of a workout: what is left without them tells what is usual
        usual = float(np.quantile(change[left], QUARTER)) / QUARTER_SD
        left = works & (change <= EDGE_SD * usual)
    out: NDArray[np.bool_] = ndimage.binary_dilation(np.isfinite(change) & (change > EDGE_SD * usual), iterations=2)
    for _ in range(after_s):
        out[1:] |= out[:-1]
    return out


def pieces(calm: NDArray[np.bool_], length: int) -> NDArray[np.int64]:
    """Number of the piece of each second: pieces of about one length of the runs of calm seconds; -1 between them.

    Shorter ones than half of that length have none.
    """
    out, count = np.full(calm.size, -1), 0
    for start, stop in runs(calm):
        edges = np.linspace(start, stop, max(round((stop - start) / length), 1) + 1).astype(int)
        for a, b in pairwise(edges):
            if b - a >= length // 2:
                out[a:b], count = count, count + 1
    return out


def _evened(x: FloatArray, y: FloatArray) -> Iterator[tuple[FloatArray, FloatArray, int]]:
    """Both as they are, then one or the other averaged over seconds, as the other may be; and the seconds."""
    yield x, y, 1
    for width in WIDTHS:
        yield running_mean(x, width), y, width
        yield x, running_mean(y, width), width


def more_surely(found: Own, best: Own) -> bool:
    """Whether an average of one of the two makes them more surely alike, and both change about as much then."""
    return found.ratio > LEAST_EVEN and (
        found.share - SURE_SE * found.share_se > best.share - SURE_SE * best.share_se + SURER)


def own_changes(x: FloatArray, y: FloatArray, fine: Fine, length: int = PIECE_S, ahead_s: int = AHEAD_S,
                read: tuple[FloatArray | None, FloatArray | None] = (None, None)) -> Own:
    """Compare the changes of two traces between steps, along the lags found.

    One of the two may average: it is compared with means of the other one over as many seconds, those that make the
    two most surely alike. Noise alone does not choose them, as it would if all of the correlation was counted.

    Parameters
    ----------
    x, y : array
        Power of reference and device, W, on 1-s grids; or cadence.
    fine : Fine
        Lags found.
    length : int
        Length of the pieces, s, about whose mean changes are counted.
    ahead_s : int
        The two may be best alike so many seconds off.
    read : tuple of array
        The readings alone of a trace with one every 2 s: what is between them has noise of both its neighbours.
    """
    place = np.arange(x.size)
    place = place + np.rint(fine.at(place.astype(float))).astype(np.int64)
    other = shifted(y, place)
    edge = steps(x) | steps(other)
    works = (x > WORKING_W) & (other > WORKING_W)
    every = 1 if read[0] is None and read[1] is None else 2
    plain = best = NOTHING
    for one, two, width in _evened(x if read[0] is None else read[0], y if read[1] is None else read[1]):
        calm = works & ~(ndimage.binary_dilation(edge, iterations=width // 2) if width > 1 else edge)
        piece = pieces(calm, length)
        if piece.max() + 1 < GROUPS:
            break
        found = _compared(one, (shifted(two, place + by) for by in range(-ahead_s, ahead_s + 1)), piece, every)
        if width == 1:
            plain = best = found
        elif more_surely(found, best):
            best = found
    return best._replace(colour=plain.colour, colour_se=plain.colour_se, size=plain.size)


def worked(x: FloatArray, y: FloatArray, fine: Fine) -> int:
    """Seconds in which both work, along the lags found."""
    place = np.arange(x.size)
    other = shifted(y, place + np.rint(fine.at(place.astype(float))).astype(np.int64))
    return int(((x > WORKING_W) & (other > WORKING_W)).sum())


class _Changes(NamedTuple):
    """Changes about the mean of each piece, 0 where there is no reading, and where there is one, as numbers."""

    values: FloatArray
    there: FloatArray

    def times(self, other: _Changes) -> _Changes:
        return _Changes(self.values * other.values, self.there * other.there)


def _about_mean(trace: FloatArray, piece: NDArray[np.int64]) -> _Changes:
    """Changes of readings about the mean of their pieces, which follow one another."""
    known = np.isfinite(trace)
    starts = np.flatnonzero(np.diff(piece, prepend=-1))
    there, values = known.astype(float), np.where(known, trace, 0.0)
    mean = np.add.reduceat(values, starts) / np.maximum(np.add.reduceat(there, starts), 1)
    return _Changes((values - np.repeat(mean, np.diff(starts, append=piece.size))) * there, there)


def _compared(one: FloatArray, ahead: Iterable[FloatArray], piece: NDArray[np.int64], every: int) -> Own:
    """Figures of two traces in pieces, the one at several shifts, with standard errors of a jackknife."""
    count = int(piece.max()) + 1
    inside = np.flatnonzero(piece >= 0)
    number = piece[inside]
    bounds = np.searchsorted(number * GROUPS // count, np.arange(GROUPS))
    u, *shifts = (_about_mean(trace[inside], number) for trace in (one, *ahead))
    v = shifts[len(shifts) // 2]
    same = (number[every:] == number[:-every]).astype(float)

    def beside(trace: _Changes) -> _Changes:
        there = np.zeros(number.size)
        there[:-every] = same * trace.there[:-every] * trace.there[every:]
        values = np.zeros(number.size)
        values[:-every] = same * trace.values[:-every] * trace.values[every:]
        return _Changes(values, there)

    products = (u.times(u), v.times(v), beside(u), beside(v), *(u.times(w) for w in shifts))
    sums, counts = (np.array(parts).T for parts in zip(*(
        [np.add.reduceat(part, bounds) for part in product] for product in products), strict=True))
    level = float(np.nanmedian(one[inside]))

    def figures(left: NDArray[np.bool_]) -> tuple[float, ...]:
        return _figures(sums[left].sum(axis=0), counts[left].sum(axis=0), level, count * float(left.mean()))

    every_group = np.arange(GROUPS)
    share, correlation, colour, own, ratio = figures(every_group >= 0)
    without = np.array([figures(every_group != g) for g in every_group])
    se = np.sqrt((GROUPS - 1) / GROUPS * ((without - without.mean(axis=0))**2).sum(axis=0))
    return Own(int(inside.size), share, float(se[0]), correlation, float(se[1]), colour, float(se[2]), own, ratio)


def _figures(sums: FloatArray, counts: FloatArray, level: float, number: float) -> tuple[float, ...]:
    """Share, correlation, colour, size and ratio of sums.

    The mean of a piece takes from neighbours the variance of the mean of their noise: it is given back.
    """
    xx, yy, x_near, y_near = sums[:4] / np.maximum(counts[:4], 1)
    often = counts[4:] >= counts[4:].max() / 2
    both = float((sums[4:][often] / np.maximum(counts[4:][often], 1)).max())
    x_near += (xx - x_near) * number / max(counts[0], 1)
    y_near += (yy - y_near) * number / max(counts[1], 1)
    own = math.sqrt(max(x_near, 0.0) * max(y_near, 0.0))
    return (max(min(both / own, MOST_SHARE), -MOST_SHARE) if own > 0 else MOST_SHARE,
            both / math.sqrt(max(xx * yy, 1e-12)), min(x_near / xx, y_near / yy) if min(xx, yy) > 0 else 0.0,
            math.sqrt(max(min(x_near, y_near), 0.0)) / level,
            max(min(x_near, y_near), 0.0) / max(x_near, y_near, 1e-12))
