"""Zeros that are none, where a trace has many: they are hidden from the clocks, and those of stops with them."""

from __future__ import annotations

import numpy as np

from agree.core.thresholds import GROSS_ZEROS, WORKING_W
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
