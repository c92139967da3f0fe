"""Whether two recordings share the rider's own changes, between the steps that a programme or a course sets.

A workout of a trainer, ridden on two days, is alike at every step, and steps outweigh all else. What the rider does
between them is of one day. A reading is true power and the device's own noise, and noise of neighbouring seconds is
hardly alike: so the covariance of neighbouring seconds of one trace is that of true power, and the covariance of the
two traces, if they are of one ride, is no less. Of two rides it is about 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
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

# What is compared, and how it is summed; limits of what it tells stand with the thresholds. Fewer pieces than groups of
# the jackknife have no standard error, so that nothing is told of them.
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
    out = np.full(calm.size, -1)
    start, stop = np.array(runs(calm), dtype=np.int64).reshape(-1, 2).T
    parts = np.maximum(np.rint((stop - start) / length), 1).astype(np.int64)
    run, last = np.repeat(np.arange(start.size), parts), np.cumsum(parts)
    part = np.arange(run.size) - (last - parts)[run]
    begin = (start[run] + part * ((stop - start) / parts)[run]).astype(np.int64)
    size = np.append(begin[1:], 0) - begin
    size[last - 1] = stop - begin[last - 1]
    own = size >= length // 2
    number = np.where(own, np.cumsum(own) - 1, -1)
    out[calm] = np.repeat(number, size)
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
    piece, known_width = np.zeros(0, np.int64), 0
    for one, two, width in _evened(x if read[0] is None else read[0], y if read[1] is None else read[1]):
        if width != known_width:
            beside = 2 * (width // 2) + 1
            piece = pieces(works & ~ndimage.maximum_filter1d(edge, beside, mode="constant", cval=0), length)
            known_width = width
        if piece.max() + 1 < GROUPS:
            break
        found = _compared(one, two, place, ahead_s, piece, every)
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
    """Changes about the mean of each piece, 0 where there is no reading, and where there is one, as numbers.

    `there` is None where every second has a reading.
    """

    values: FloatArray
    there: FloatArray | None

    def times(self, other: _Changes) -> _Changes:
        if self.there is None or other.there is None:
            return _Changes(self.values * other.values, self.there if other.there is None else other.there)
        return _Changes(self.values * other.values, self.there * other.there)

    def beside(self, every: int, same: FloatArray) -> _Changes:
        """Products with the readings `every` seconds later, where that is the same piece."""
        there, values = np.zeros(self.values.size), np.zeros(self.values.size)
        there[:-every] = same if self.there is None else same * self.there[:-every] * self.there[every:]
        values[:-every] = same * self.values[:-every] * self.values[every:]
        return _Changes(values, there)


def _about_mean(trace: FloatArray, starts: NDArray[np.intp]) -> _Changes:
    """Changes of readings about the mean of their pieces, which follow one another from these places on."""
    known = np.isfinite(trace)
    size = np.diff(starts, append=trace.size)
    if known.all():
        return _Changes(trace - np.repeat(np.add.reduceat(trace, starts) / size, size), None)
    there, values = known.astype(float), np.where(known, trace, 0.0)
    mean = np.add.reduceat(values, starts) / np.maximum(np.add.reduceat(there, starts), 1)
    return _Changes((values - np.repeat(mean, size)) * there, there)


def _compared(one: FloatArray, two: FloatArray, place: NDArray[np.int64], ahead_s: int, piece: NDArray[np.int64],
              every: int) -> Own:
    """Figures of two traces in pieces, the second at several shifts, with standard errors of a jackknife."""
    count = int(piece.max()) + 1
    inside = np.flatnonzero(piece >= 0)
    number, at, level = piece[inside], place[inside], one[inside]
    bounds = np.searchsorted(number * GROUPS // count, np.arange(GROUPS))
    starts = np.flatnonzero(np.diff(number, prepend=-1))
    u, *ahead = (_about_mean(trace, starts) for trace in (
        level, *(shifted(two, at + by) for by in range(-ahead_s, ahead_s + 1))))
    v, same = ahead[len(ahead) // 2], (number[every:] == number[:-every]).astype(float)
    products = (u.times(u), v.times(v), u.beside(every, same), v.beside(every, same), *(u.times(w) for w in ahead))
    full = np.diff(bounds, append=number.size).astype(float)
    sums = np.array([np.add.reduceat(product.values, bounds) for product in products])
    counts = np.array([full if product.there is None else np.add.reduceat(product.there, bounds)
                       for product in products])
    usual, left = float(np.nanmedian(level)), ~np.eye(GROUPS, dtype=bool)
    share, correlation, colour, own, ratio = _figures(
        sums.sum(axis=1, keepdims=True), counts.sum(axis=1, keepdims=True), usual, count)[:, 0].tolist()
    without = _figures(sums @ left, counts @ left, usual, count * (GROUPS - 1) / GROUPS)
    se = np.sqrt((GROUPS - 1) / GROUPS * ((without - without.mean(axis=1, keepdims=True))**2).sum(axis=1))
    return Own(int(inside.size), share, float(se[0]), correlation, float(se[1]), colour, float(se[2]), own, ratio)


def _figures(sums: FloatArray, counts: FloatArray, level: float, number: float) -> FloatArray:
    """Share, correlation, colour, size and ratio, (5, choices), of sums and counts, (products, choices).

    The mean of a piece takes from neighbours the variance of the mean of their noise: it is given back.
    """
    xx, yy, x_near, y_near = sums[:4] / np.maximum(counts[:4], 1)
    often = counts[4:] >= counts[4:].max(axis=0) / 2
    both = np.where(often, sums[4:] / np.maximum(counts[4:], 1), -np.inf).max(axis=0)
    x_near = x_near + (xx - x_near) * number / np.maximum(counts[0], 1)
    y_near = y_near + (yy - y_near) * number / np.maximum(counts[1], 1)
    own = np.sqrt(np.maximum(x_near, 0.0) * np.maximum(y_near, 0.0))
    less, more, real = np.minimum(x_near, y_near), np.maximum(x_near, y_near), np.minimum(xx, yy) > 0
    return np.stack([
        np.where(own > 0, np.clip(both / np.where(own > 0, own, 1.0), -MOST_SHARE, MOST_SHARE), MOST_SHARE),
        both / np.sqrt(np.maximum(xx * yy, 1e-12)),
        np.where(real, np.minimum(x_near / np.where(real, xx, 1.0), y_near / np.where(real, yy, 1.0)), 0.0),
        np.sqrt(np.maximum(less, 0.0)) / level, np.maximum(less, 0.0) / np.maximum(more, 1e-12)])
