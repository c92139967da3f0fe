"""Seconds of a sharp trace that may be faulty by its own readings: where it jumps, and what it would read instead.

A slow trace does not show the moment of a fault. So the moments come of the sharp trace itself, whatever else they may
be: a rider's push or pause jumps as well. The energy that the slow trace shows decides between the two.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import (
    MAYBE_FILL_S,
    MAYBE_JUMPS,
    MAYBE_LOW,
    MAYBE_PARTIAL_S,
    MAYBE_PARTIAL_SHARES,
    MAYBE_SPREAD,
    MAYBE_WIDER,
    PARTIAL_LEAST_W,
    PARTIAL_S,
    SPIKE_CLAIM,
    SPIKE_OWN_S,
    SPIKE_RISE_W,
    SPIKE_S,
    SPIKE_W,
    WORKING_W,
)
from agree.estimators.response.own_readings import every_s

FILLED_SPREAD = 0.03  # least SD of the size of a filled run: no line is more exact than the readings it is drawn from
BESIDE = 2          # readings on either side that a short run is filled from
AROUND = 3          # readings on either side of a long one that tell its level
LENGTHS = (1, 2, 3, 5, 8, 12, 20, 30)  # s of runs
CLIPPED_SD = 4.0    # SD to which what lines miss is cut
NORMAL = 1.4826     # SD of a normal over its median absolute deviation


class Maybe(NamedTuple):
    """A run of seconds [start, stop) that may be faulty.

    `kind` is "dropout", "spike", "partial" or "short" (a partial one of 1 or 2 s). `adds` is what the trace would read
    more in each second, W, if it is; `spread` the SD of its size about 1.
    """

    kind: str
    start: int
    stop: int
    adds: FloatArray
    spread: float


def maybe_faulty(trace: FloatArray, usual: FloatArray, longest_s: int = MAYBE_PARTIAL_S) -> list[Maybe]:
    """Runs of a trace that may be faulty, in order of time; partial ones may overlap.

    Zeros between readings above 15 W, of any length; up to 3 s above 1.5 times the readings around and 100 W more; and
    runs of up to 5 min that jump down, and up again, to about a half or a quarter of the readings on either side.

    Parameters
    ----------
    trace : (n,) array, W
        Readings as recorded, NaN where unknown.
    usual : (n,) array, W
        What the slow trace foretells, smeared as it is: what zeros of more than 30 s would be.
    longest_s : int, s
        Longest run that may be partial.
    """
    near = ndimage.median_filter(np.nan_to_num(trace), SPIKE_OWN_S, mode="nearest")
    rise = np.diff(np.nan_to_num(trace), prepend=0.0)  # the last reading before a stop is high, and does not rise
    zeros = [(start, stop) for start, stop in runs(trace == 0)
             if start > 0 and stop < trace.size and trace[start - 1] > WORKING_W and trace[stop] > WORKING_W]
    high = [(start, stop) for start, stop in runs(np.nan_to_num(trace) > SPIKE_CLAIM * near + SPIKE_W)
            if stop - start <= SPIKE_S and rise[start] > SPIKE_RISE_W]
    hidden = np.zeros(trace.size, bool)
    for start, stop in (*zeros, *high):
        hidden[start:stop] = True
    good = np.flatnonzero(np.isfinite(trace) & ~hidden)
    if good.size <= 2 * AROUND:
        return []
    found = [_filled(kind, start, stop, trace, usual, good) for kind, spans in (("dropout", zeros), ("spike", high))
             for start, stop in spans]
    at, every = good[trace[good] > 0], every_s(trace)  # a run may have a pause within
    least = PARTIAL_S * every if every > 1 else 1  # one or two readings that are repeated are a change of pace
    found += [Maybe("short" if stop - start < PARTIAL_S else "partial", start, stop,
                    np.nan_to_num(trace[start:stop]) * (1 / share - 1), MAYBE_SPREAD)
              for start, stop, share in {*_short(trace[at], at), *_long(trace[at], at, longest_s)}
              if stop - start >= least]
    missed = _missed(trace[good])
    return sorted((one if one.kind in ("short", "partial") else one._replace(spread=_spread(one, missed))
                   for one in found), key=lambda one: (one.start, one.stop))


def _filled(kind: str, start: int, stop: int, trace: FloatArray, usual: FloatArray, good: NDArray[np.intp]) -> Maybe:
    """A run with a straight line between the readings on either side in its place, or if it is long what is usual."""
    if stop - start > MAYBE_FILL_S:
        return Maybe(kind, start, stop, usual[start:stop] - trace[start:stop], 1.0)
    i, j = np.searchsorted(good, (start, stop))
    sides = [trace[part] for part in (good[max(i - BESIDE, 0):i], good[j:j + BESIDE])]
    before, after = (float(part.mean()) if part.size else math.nan for part in sides)
    before, after = (a if math.isfinite(a) else b for a, b in ((before, after), (after, before)))
    return Maybe(kind, start, stop, np.linspace(before, after, stop - start + 2)[1:-1] - trace[start:stop], 0.0)


def _missed(readings: FloatArray) -> FloatArray:
    """RMS of what straight lines miss of the energy of runs of `LENGTHS` readings, W s."""
    found = []
    for length in LENGTHS:
        rows = np.lib.stride_tricks.sliding_window_view(readings, length + 2 * BESIDE)[::max(length // 2, 1)] if (
            readings.size >= length + 2 * BESIDE) else np.zeros((0, length + 2 * BESIDE))
        inside = rows[:, BESIDE:BESIDE + length]
        rows, inside = rows[(inside > WORKING_W).all(axis=1)], inside[(inside > WORKING_W).all(axis=1)]
        sides = (rows[:, :BESIDE].mean(axis=1) + rows[:, -BESIDE:].mean(axis=1)) / 2
        apart = inside.sum(axis=1) - length * sides
        limit = CLIPPED_SD * NORMAL * float(np.median(np.abs(apart))) if apart.size else 0.0
        found.append(float(np.sqrt(np.mean(np.clip(apart, -limit, limit) ** 2))) if apart.size else math.inf)
    return np.array(found)


def _spread(one: Maybe, missed: FloatArray) -> float:
    """SD of the size of a filled run."""
    if one.stop - one.start > MAYBE_FILL_S:
        return one.spread
    error = float(np.interp(one.stop - one.start, LENGTHS, missed))
    return min(max(error / max(abs(float(one.adds.sum())), 1.0), FILLED_SPREAD), 1.0)


def _shares(ratio: float, wider: float = 1.0) -> set[float]:
    """Shares that a ratio is near."""
    return {share for share, low, high in MAYBE_PARTIAL_SHARES if low / wider <= ratio <= high * wider}


def _short(g: FloatArray, at: NDArray[np.intp]) -> Iterator[tuple[int, int, float]]:
    """Runs of 1 or 2 readings."""
    for size in (1, 2):
        count = g.size - size - 2 * BESIDE + 1
        if count <= 0:
            return
        rows = np.lib.stride_tricks.sliding_window_view(g, size + 2 * BESIDE)[:count]
        level = (rows[:, :BESIDE].mean(axis=1) + rows[:, -BESIDE:].mean(axis=1)) / 2
        inside = rows[:, BESIDE:BESIDE + size]
        low = (level >= PARTIAL_LEAST_W) & (inside.max(axis=1) <= MAYBE_LOW * level) & (inside.min(axis=1) > 0)
        for i in np.flatnonzero(low):
            first, last = int(at[i + BESIDE]), int(at[i + BESIDE + size - 1]) + 1
            for share in _shares(float(inside[i].mean() / level[i])):
                if last - first < PARTIAL_S:
                    yield first, last, share


def _long(g: FloatArray, at: NDArray[np.intp], longest_s: int) -> Iterator[tuple[int, int, float]]:
    """Runs of 3 readings and more between a jump down and one up."""
    down = np.flatnonzero((g[1:] < MAYBE_JUMPS[0] * g[:-1]) & (g[1:] > 0)) + 1
    up = (np.flatnonzero((g[1:] > MAYBE_JUMPS[1] * g[:-1]) & (g[1:] > PARTIAL_LEAST_W / 2)) + 1).tolist()
    total = np.r_[0.0, np.cumsum(g)]
    for i in down.tolist():
        before = float(np.median(g[max(i - AROUND, 0):i]))
        first = _shares(float(g[i:i + AROUND].mean()) / before, MAYBE_WIDER) if before >= PARTIAL_LEAST_W / 2 else set()
        if not first:
            continue
        for j in up[bisect.bisect_left(up, i + PARTIAL_S):bisect.bisect_right(up, i + longest_s)]:
            after = float(np.median(g[j:j + AROUND]))
            level = (before + after) / 2
            if level < PARTIAL_LEAST_W:
                continue
            for share in (first & _shares(float(g[j - AROUND:j].mean()) / max(after, 1e-9), MAYBE_WIDER)
                          & _shares(float(total[j] - total[i]) / (j - i) / level)):
                yield int(at[i]), int(at[j - 1]) + 1, share
