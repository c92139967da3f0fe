"""The best course of the lag over the windows of a ride, from how likely each lag is in each of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import MIN_STEP_S

HOP_S, HOPS = 30, 2  # windows of 60 s, half over the next
CREEP, JUMP = 5.0, 9.0  # price of a change by a second, and of any other, in units of log likelihood


def likely_course(score: FloatArray, lags: NDArray[np.int64]) -> NDArray[np.int64]:
    """Index of the lag of each window along the best path, if a second could be used twice."""
    windows, count = score.shape
    # A step of a second is one between neighbours in the table that are neighbours in time.
    price = np.where(np.diff(lags) == 1, CREEP, np.inf)
    came, own = np.empty((windows, count), dtype=np.int32), np.arange(count, dtype=np.int32)
    total = score[0].astype(float)
    best, better = np.empty(count), np.empty(count, bool)
    for w in range(1, windows):  # thousands of times for a long ride: nothing is made anew but one
        top, source = int(total.argmax()), came[w]
        best[:], source[:] = total, own
        for into, out in ((slice(1, None), slice(None, -1)), (slice(None, -1), slice(1, None))):
            other = total[out] - price
            np.greater(other, best[into], out=better[into])
            np.copyto(best[into], other, where=better[into])
            np.copyto(source[into], own[out], where=better[into])
        jump = total[top] - JUMP
        np.less(best, jump, out=better)
        best[better], source[better] = jump, top
        np.add(best, score[w], out=total)
    path = np.empty(windows, dtype=np.int64)
    path[-1] = int(total.argmax())
    for w in range(windows - 1, 0, -1):
        path[w - 1] = came[w, path[w]]
    return path


def course_used_once(score: FloatArray, lags: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Best path: window and index of its lag; where the lag falls by s, the windows of s seconds are left out.

    So a second of either recording is used once.
    """
    windows, count = score.shape
    change = lags[None, :] - lags[:, None]  # from the row's lag to the column's
    price = np.where(np.abs(change) < MIN_STEP_S, CREEP * np.abs(change), JUMP)
    gap = np.minimum(np.maximum(-change // HOP_S - 1, 0), windows)
    pad = int(gap.max()) + 1
    total = np.full((windows + pad, count), -np.inf)
    came = np.full((windows, count), -1)
    rows, own = np.arange(count)[:, None], np.arange(count)
    for w in range(windows):
        earlier = total[w + pad - 1 - gap, rows] - price
        source = earlier.argmax(axis=0)
        best = np.maximum(earlier[source, own], 0.0)
        came[w] = np.where(best > 0, source, -1)
        total[w + pad] = score[w] + best
    w, k = divmod(int(total[pad:].argmax()), count)
    path = [(w, k)]
    while came[w, k] >= 0:
        before = int(came[w, k])
        w, k = w - 1 - int(gap[before, k]), before
        path.append((w, k))
    return path[::-1]
