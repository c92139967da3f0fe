"""Faults at the ends and at the top: a trace that wakes late, ends early, or sits at its ceiling."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.runs import runs

Mask = NDArray[np.bool_]

WORKING_W = 15.0  # a trace above this is working, not coasting
LACKING_SHARE = 0.6  # of the power in doubt that must be lacking around a dropout or a late start
LACKING_MARGIN_S = 3
FROZEN_S = 5  # s of one value before it is taken for held,
FROZEN_CHANGE = 0.2  # while the judge ranges over more than this share of its largest reading
LATE_S = 3  # least working seconds of the judge that a late start costs
REST_S = 60  # after so long a rest of the judge a trace may wake late again
SILENT_S = 10  # s before that in which it must have been silent too
CEILING_S = 3
CEILING_NEAR = (1.0, 0.002)  # W, or share of the ceiling, below it that count as at it
CEILING_EVENTS, CEILING_LONG_S = 2, 10  # runs, or s in one run, that make a ceiling
CEILING_BELOW = 0.9  # once a ceiling is there, so near to it must the judge be: with an offset, k errs at the top
CEILING_SHARE = 0.5  # of the working seconds: a trace that is at its top for longer is steady, not cut
CEILING_EXCESS, CEILING_RANGE = 1.05, 0.1  # mean over, and range of, the judge at the ceiling, as shares of it


def lacks(usual: FloatArray, y: FloatArray, width: int, spans: list[tuple[int, int]]) -> list[bool]:
    """Say of each span whether the trace lacks most of the power that is usual in and around it.

    Parameters
    ----------
    usual, y : (n,) array, W
        k times the judge, and the trace.
    width : int, s
        Seconds over which the judge averages more than the trace.
    spans : list of (first, one past last)
    """
    total_x, total_y = (np.r_[0.0, np.cumsum(v)] for v in (usual, ndimage.uniform_filter1d(y, width, mode="nearest")))
    margin = max(LACKING_MARGIN_S, width // 2)
    found = []
    for start, stop in spans:
        low, high = max(start - margin, 0), min(stop + margin, y.size)
        around = total_x[high] - total_x[low]
        level = max(total_x[stop] - total_x[start], around * (stop - start) / (high - low))
        found.append(bool(around - (total_y[high] - total_y[low]) >= LACKING_SHARE * level))
    return found


def frozen_runs(sharp: FloatArray, y: FloatArray) -> list[tuple[int, int]]:
    """Runs of one value, not 0, for at least 5 s while the judge's readings (NaN where missing) change."""
    found = []
    for start, stop in runs((y[1:] == y[:-1]) & (y[1:] != 0)):
        part = sharp[start:stop + 1]
        part = part[np.isfinite(part)] if stop - start + 1 >= FROZEN_S else part[:0]
        if part.size and np.ptp(part) > FROZEN_CHANGE * part.max():
            found.append((start, stop + 1))
    return found


def late_start(judge: FloatArray, trace: FloatArray, usual: FloatArray, sharp: FloatArray, width: int, *,
               rests: bool = True) -> Mask:
    """Seconds from the judge's first working second, at the start or after a rest of 60 s, until the trace wakes.

    `judge`, `trace` and `sharp` hold NaN where a reading is missing, `usual` does not. An early end is a late start
    of reversed time, without `rests`.
    """
    n = judge.size
    works = judge > WORKING_W
    found = np.zeros(n, bool)
    if not works.any():
        return found
    y = np.where(np.isfinite(trace), trace, 0.0)
    begin = int(np.argmax(works))
    rest = [(0, begin)] + [(start, stop) for start, stop in runs(~works)
                           if rests and start > begin and stop - start >= REST_S and stop < n]
    steady = np.zeros(n, bool)  # a judge that is itself frozen does not tell of work
    for start, stop in runs(judge[1:] == judge[:-1]):
        steady[start:stop + 1] = stop - start + 1 >= FROZEN_S
    silent, frozen = runs(y == 0), frozen_runs(sharp, y)
    asleep = []
    for idle, first in rest:
        asleep += [(first, stop) for start, stop in silent
                   if start <= max(first - SILENT_S, idle) and first < stop < n
                   and (works & ~steady)[first:stop].sum() >= LATE_S]
        for start, stop in frozen:
            if start <= first < stop < n:
                # The first second is genuine, unless nothing came before it.
                found[start + (start > 0 and bool(np.isfinite(trace[start - 1]))):stop] = True
    for (start, stop), late in zip(asleep, lacks(usual, y, width, asleep), strict=True):
        found[start:stop] |= late
    found &= np.isfinite(judge) & ~((judge == 0) & (trace == 0))
    return found


def saturation(usual: FloatArray, y: FloatArray, beyond: Mask) -> Mask:
    """Runs of at least 3 s at the trace's own ceiling, repeated or for long, while the judge is above it.

    Readings in `beyond` make no ceiling.
    """
    found = np.zeros(y.size, bool)
    ceiling = float(y[~beyond].max(initial=0.0))
    if ceiling <= WORKING_W:
        return found
    near = (y >= ceiling - max(CEILING_NEAR[0], CEILING_NEAR[1] * ceiling)) & ~beyond
    at = [(usual[start:stop].mean() / ceiling, start, stop) for start, stop in runs(near) if stop - start >= CEILING_S]
    over = [usual[start:stop] for level, start, stop in at if level >= 1]
    if len(over) < CEILING_EVENTS and sum(part.size for part in over) < CEILING_LONG_S:
        return found
    sure = np.concatenate(over)
    if sure.mean() < CEILING_EXCESS * ceiling or np.ptp(sure) < CEILING_RANGE * ceiling:
        return found
    for level, start, stop in at:
        if level >= CEILING_BELOW:  # from the first to the last second at the run's own top
            top = start + np.flatnonzero(y[start:stop] == y[start:stop].max())
            found[top[0]:top[-1] + 1] = True
    if found.sum() > CEILING_SHARE * (y > WORKING_W).sum():
        return np.zeros(y.size, bool)
    return found
