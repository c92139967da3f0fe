"""Late starts and early ends: a trace that wakes after the effort began, or sleeps before it ended."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import (
    EARLY_END_S,
    FROZEN_CHANGE,
    FROZEN_S,
    LATE_REST_S,
    LATE_S,
    LATE_SILENT_S,
    SPIKE_S,
    SPIKE_W,
    WORKING_W,
)
from agree.estimators.response.own_readings import every_s
from agree.faults.view import Mask, View


def frozen_runs(sharp: FloatArray, y: FloatArray) -> list[tuple[int, int]]:
    """Runs of one value, not 0, for at least 5 s while the judge's readings (NaN where missing) change.

    Of a trace that repeats its reading for n seconds, for at least 5 n s.
    """
    found, least = [], FROZEN_S * every_s(y)
    for start, stop in runs((y[1:] == y[:-1]) & (y[1:] != 0), least - 1):
        part = sharp[start:stop + 1]
        part = part[np.isfinite(part)]
        if part.size and np.ptp(part) > FROZEN_CHANGE * part.max():
            found.append((start, stop + 1))
    return found


def late_starts(view: View, *, early_end: bool = False) -> Mask:
    """Seconds from the other's first working second, at the start or after a rest of 60 s, until the trace wakes.

    A silent trace must lack the energy that the other one foretells; a frozen one holds one value. An early end is a
    late start of reversed time, without rests.
    """
    turn = -1 if early_end else 1
    inside = np.ones(view.y.size, bool) if view.inside is None else view.inside
    usual = np.where(np.isfinite(view.judge) & inside, view.usual, np.nan)
    asleep, found = _late(view.judge[::turn], usual[::turn], view.y[::turn], inside[::turn], rests=not early_end)
    n = view.y.size
    spans = [(start, stop) if turn == 1 else (n - stop, n - start) for start, stop in asleep]
    found, replaced = found[::turn].copy(), np.zeros(n, bool)
    for start, stop in spans:
        replaced[start:stop] = True
    claims = [float(view.usual[start:stop].sum()) for start, stop in spans]
    blank = replace(view, y=np.nan_to_num(view.y))  # a blank reading lacks all power, as a 0 does
    for claim in blank.weigh(spans, claims, replaced):
        found[claim.start:claim.stop] |= claim.lacks
    found &= np.isfinite(view.judge) & ~((view.judge == 0) & (view.y == 0))
    return found


def _lasting(works: Mask, judge: FloatArray) -> Mask:
    """Seconds of work without spikes of the judge amid its rest: the other trace does not sleep through these."""
    lasting = works.copy()
    for start, stop in runs(works):
        alone = not (works[max(start - LATE_SILENT_S, 0):start].any() or works[stop:stop + LATE_SILENT_S].any())
        if alone and stop - start <= SPIKE_S and judge[start:stop].max() > SPIKE_W:
            lasting[start:stop] = False
    return lasting


def _late(judge: FloatArray, usual: FloatArray, trace: FloatArray, inside: Mask, *, rests: bool) -> tuple[
        list[tuple[int, int]], Mask]:
    """Runs in which the trace is silent though the other works, and seconds in which it is frozen."""
    n = judge.size
    works, least = _lasting(judge > WORKING_W, judge), LATE_S if rests else EARLY_END_S
    found = np.zeros(n, bool)
    if not works.any():
        return [], found
    y = np.where(np.isfinite(trace), trace, 0.0)
    begin = int(np.argmax(works))
    rest = [(0, begin)] + [(start, stop) for start, stop in runs(~works)
                           if rests and start > begin and stop - start >= LATE_REST_S and stop < n]
    steady = np.zeros(n, bool)  # a judge that is itself frozen does not tell of work
    least_steady = FROZEN_S * every_s(judge)
    for start, stop in runs(judge[1:] == judge[:-1], least_steady - 1):
        steady[start:stop + 1] = True
    top = float(y.max())  # a trace that ends at its largest reading is at its ceiling, and not asleep
    silent, frozen = runs(y == 0), [run for run in frozen_runs(usual, y) if y[run[0]] < top]
    asleep = []
    for idle, first in rest:
        asleep += [(first, stop) for start, stop in silent
                   if start <= max(first - LATE_SILENT_S, idle) and first < stop < n
                   and (works & inside & ~steady)[first:stop].sum() >= least]
        for start, stop in frozen:
            # One that was frozen while the other worked before its rest is stuck, which is a held value.
            if start <= first < stop < n and works[start:idle].sum() < FROZEN_S:
                # The first second is genuine, unless nothing came before it.
                found[start + (start > 0 and bool(np.isfinite(trace[start - 1]))):stop] = True
    return asleep, found
