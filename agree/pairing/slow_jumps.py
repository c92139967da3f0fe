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
    u, v = without_jumps(x), without_jumps(y)
    for role, (one, two), hidden in (("device", (x, v), _hidden(y, v)), ("reference", (u, y), _hidden(x, u))):
        found = smoother(one.power, two.power)
        if found is not None and found[0] == role:
            if hidden > SLOW_JUMPS:
                yield one, two
            yield u, v
            return


def _hidden(whole: Grid, left: Grid) -> float:
    """Share of the readings that are hidden."""
    known = np.isfinite(whole.power)
    return float((known & ~np.isfinite(left.power)).sum()) / max(int(known.sum()), 1)
