"""Faults that show as jumps where one trace is slow: they are hidden from the clocks, which slow changes can tell."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from agree.core.thresholds import SLOW_JUMPS
from agree.faults.behind_slow.explain import jumps
from agree.pairing.clocks.smoothness import smoother
from agree.pairing.grid import Grid


def without_jumps(grid: Grid) -> Grid:
    """Return the grid without the seconds that lie between two jumps of power."""
    return grid._replace(power=np.where(jumps(grid.power), np.nan, grid.power))


def ways_without_jumps(x: Grid, y: Grid) -> Iterator[tuple[Grid, Grid]]:
    """Both grids as they are; without the jumps of a slow one, if it has many; and without those of both.

    A slow trace makes no jumps: those are faults. A sharp one does, as its rider does; only without them are its faults
    hidden too.
    """
    yield x, y
    raw = smoother(x.power, y.power)
    if raw is None:  # without the steps of intervals a sharp trace would seem slow too
        return
    u, v = without_jumps(x), without_jumps(y)
    one, two, hidden = (x, v, _hidden(y, v)) if raw[0] == "device" else (u, y, _hidden(x, u))
    left = smoother(one.power, two.power)
    if left is None or left[0] != raw[0]:
        return
    if hidden > SLOW_JUMPS:
        yield one, two
    yield u, v


def _hidden(whole: Grid, left: Grid) -> float:
    """Share of the readings that are hidden."""
    known = np.isfinite(whole.power)
    return float((known & ~np.isfinite(left.power)).sum()) / max(int(known.sum()), 1)
