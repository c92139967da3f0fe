"""Recordings that leave out stops, with a 0 in every second of them: a gap hides how alike the two are beside it."""

from __future__ import annotations

import numpy as np

from agree.core.data.runs import runs
from agree.core.thresholds import GAP_STOP_S, GAP_STOPS
from agree.pairing.grid import Grid

LONGEST_S = 600   # s; of a longer gap nothing is said


def stops(grid: Grid) -> list[tuple[int, int]]:
    """Gaps of 3 s and more between readings of power; none if there are fewer than three."""
    found = [(start, stop) for start, stop in runs(~np.isfinite(grid.power))
             if start and stop < grid.power.size and GAP_STOP_S <= stop - start <= LONGEST_S]
    return found if len(found) >= GAP_STOPS else []


def as_stops(grid: Grid) -> Grid:
    """The recording as if the rider stood in each of its gaps."""
    power = grid.power.copy()
    for start, stop in stops(grid):
        power[start:stop] = 0.0
    return grid._replace(power=power)
