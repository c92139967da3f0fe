"""Late starts and early ends: a trace that wakes after the effort began, or sleeps before it ended."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.runs import runs
from agree.core.thresholds import CLAIM_SHARE
from agree.faults.view import MARGIN_S, WORKING_W, Mask, View

FROZEN_S = 5  # s of one value before it is taken for held,
FROZEN_CHANGE = 0.2  # while the judge ranges over more than this share of its largest reading
LATE_S = 3  # least working seconds of the judge that a late start costs
REST_S = 60  # after so long a rest of the judge a trace may wake late again
SILENT_S = 10  # s before that in which it must have been silent too


def lacks(usual: FloatArray, y: FloatArray, margin: int, spans: list[tuple[int, int]]) -> list[bool]:
    """Say of each span whether the trace lacks most of the power that is usual in it, or around it on average."""
    total_x, total_y = (np.r_[0.0, np.cumsum(v)] for v in (usual, y))
    found = []
    for start, stop in spans:
        low, high = max(start - margin, 0), min(stop + margin, y.size)
        around = total_x[high] - total_x[low]
        level = max(total_x[stop] - total_x[start], around * (stop - start) / (high - low))
        found.append(bool(around - (total_y[high] - total_y[low]) >= CLAIM_SHARE * level))
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


def late_starts(view: View, *, early_end: bool = False) -> Mask:
    """Seconds from the other's first working second, at the start or after a rest of 60 s, until the trace wakes.

    An early end is a late start of reversed time, without rests.
    """
    turn = -1 if early_end else 1
    margin = max(MARGIN_S, view.reach[1] - view.reach[0])
    found = _late(view.judge[::turn], view.y[::turn], view.usual[::turn], margin, rests=not early_end)
    return found[::turn]


def _late(judge: FloatArray, trace: FloatArray, usual: FloatArray, margin: int, *, rests: bool) -> Mask:
    """Late starts; `judge` and `trace` hold NaN where a reading is missing, `usual` does not."""
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
    silent, frozen = runs(y == 0), frozen_runs(judge, y)
    asleep = []
    for idle, first in rest:
        asleep += [(first, stop) for start, stop in silent
                   if start <= max(first - SILENT_S, idle) and first < stop < n
                   and (works & ~steady)[first:stop].sum() >= LATE_S]
        for start, stop in frozen:
            if start <= first < stop < n:
                # The first second is genuine, unless nothing came before it.
                found[start + (start > 0 and bool(np.isfinite(trace[start - 1]))):stop] = True
    for (start, stop), late in zip(asleep, lacks(usual, y, margin, asleep), strict=True):
        found[start:stop] |= late
    found &= np.isfinite(judge) & ~((judge == 0) & (trace == 0))
    return found
