"""Zeros that are none, where a trace has many, and values held above all others: they are hidden from the clocks."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from agree.core.data.runs import runs
from agree.core.thresholds import GROSS_ZEROS, HELD_LEAST_S, MARKER_RUNS, WORKING_W
from agree.faults.screen import zeros_amid
from agree.pairing.clocks import clock
from agree.pairing.clocks.lag_path import shifted
from agree.pairing.grid import Grid
from agree.pairing.refusal import Doubt, doubt


def as_is(grid: Grid) -> Grid:
    """Return the grid."""
    return grid


def without_zeros(grid: Grid) -> Grid:
    """Return the grid with every 0 of power unknown."""
    return grid._replace(power=np.where(grid.power == 0, np.nan, grid.power))


def lags_without_zeros(x: Grid, y: Grid, lowest: float, highest: float) -> list[clock.Candidate]:
    """Best lags without zeros; none unless one is clear, and one trace has many zeros amid work of the other there."""
    found = clock.candidates(without_zeros(x).power, without_zeros(y).power, lowest, highest)
    if doubt(found) is not Doubt.NONE:
        return []
    other = shifted(y.power, np.arange(x.power.size) + found[0].lag)
    works = int(((x.power > WORKING_W) & (other > WORKING_W)).sum())
    many = max(int(zeros.sum()) for zeros in zeros_amid(x.power, other)) > GROSS_ZEROS * works
    return found if many else []


def without_held_tops(grid: Grid) -> Grid:
    """Return the grid with its highest power unknown, if it is held again and again: it may stand for no reading."""
    top = np.nan_to_num(grid.power) == np.nanmax(grid.power)
    held = len(runs(top, HELD_LEAST_S)) >= MARKER_RUNS
    return grid._replace(power=np.where(top, np.nan, grid.power)) if held else grid


def lags_without_held_tops(x: Grid, y: Grid, lowest: float, highest: float) -> list[clock.Candidate]:
    """Best lags without the highest power of a trace that holds it again and again; none unless one is clear."""
    one, two = without_held_tops(x), without_held_tops(y)
    if one is x and two is y:
        return []
    found = clock.candidates(one.power, two.power, lowest, highest)
    return found if doubt(found) is Doubt.NONE else []


def lags_without_gross(x: Grid, y: Grid, lowest: float,
                       highest: float) -> tuple[list[clock.Candidate], Callable[[Grid], Grid]] | None:
    """Best lags without the one or the other, and what hides it; None if neither leaves one clear lag."""
    for told, hides in ((lags_without_zeros, without_zeros), (lags_without_held_tops, without_held_tops)):
        if found := told(x, y, lowest, highest):
            return found, hides
    return None
