"""Lines of one slope through the lags of windows, one for each stretch between steps of a clock: drift and step sizes.

A window tells its lag the better the more alike it is, the faster its power changes, and the longer it is.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.thresholds import DRIFT_S, DRIFT_SE, DRIFT_WINDOWS, USUAL_DRIFT_PPM, WINDOW_FAR_S, WINDOW_FAR_SD

# These weigh windows; what is a drift is decided by DRIFT_SE, DRIFT_S and DRIFT_WINDOWS.
RESOLUTION_S = 0.012  # standard deviation of lags found between seconds where nothing else errs
EXPECTED_WINDOWS = 4  # the scatter expected of windows counts as that of so many
# Windows of one stretch share what their scatter does not show, such as how unevenly the two are smoothed: without this
# 92 % of 1,870 sizes of steps lay within 1.96 standard errors (benchmarks/same_ride.py, the settling half).
UNEVEN = 1.2
MOST_PAIRS = 2000  # pairs of windows grow as their square: of a week, every other window and so on gives the slope


class Told(NamedTuple):
    """Windows: time of the centre from the middle of the overlap, lag, its expected standard error, s; stretch."""

    time: FloatArray
    lag: FloatArray
    se: FloatArray
    stretch: NDArray[np.int64]

    def chosen(self, kept: NDArray[np.bool_]) -> Told:
        """Some of the windows."""
        return Told(self.time[kept], self.lag[kept], self.se[kept], self.stretch[kept])


class Lines(NamedTuple):
    """Slope and its standard error, s per s, windows used; of each stretch with a window its centre, lag there, SE.

    `plain` and `plain_se` are slope and error by the data alone, where the slope is drawn to 0.
    """

    slope: float
    slope_se: float
    windows: int
    stretch: NDArray[np.int64]
    centre: FloatArray
    level: FloatArray
    level_se: FloatArray
    plain: float
    plain_se: float

    def drifts(self, span: float) -> bool:
        """Whether the slope is to be taken out."""
        return is_drift(self.slope, self.slope_se, span, self.windows)


def is_drift(slope: float, se: float, span: float, windows: int) -> bool:
    """Whether a change of the lag, s per s, is certain and large enough over `span` seconds to be taken out."""
    return windows >= DRIFT_WINDOWS and abs(slope) > DRIFT_SE * se and abs(slope) * span > DRIFT_S


def widened(se: FloatArray | float, windows: FloatArray | float) -> FloatArray:
    """Standard error so that 1.96 of it cover 95 % with few windows: times t of windows - 1, over 1.96.

    Examples
    --------
    >>> from agree.pairing.clocks.drift_line import widened
    >>> round(float(widened(1.0, 6)), 2)
    1.31
    """
    free = np.maximum(np.asarray(windows, dtype=float) - 1, 1.0)
    out: FloatArray = np.asarray(se) * special.stdtrit(free, 0.975) / special.ndtri(0.975)
    return out


def lines(told: Told) -> Lines | None:
    """Weighted least squares of one slope, and a level for each stretch; None if fewer than three windows tell of it.

    The scatter is that about the lines, with what is expected of the windows counted as that of four more. Between
    steps that are close together a slope and the sizes of the steps are hard to tell apart: there the slope is drawn to
    0, as by a measurement of it with the usual drift of two clocks for standard error.
    """
    if told.time.size < 3:
        return None
    told = told.chosen(_near(told))
    stretch, group = np.unique(told.stretch, return_inverse=True)
    free = max(told.time.size - stretch.size - 1, 0)
    variance = told.se**2 + RESOLUTION_S**2
    # What windows scatter by beyond what is expected of each is alike in all (DerSimonian & Laird 1986, eq. 8).
    first = _straight(told, group, 1 / variance)
    variance = variance + max(first.square - free, 0.0) / first.spare
    total, centre, level, information, plain, square, _ = _straight(told, group, 1 / variance)
    scale = math.sqrt((EXPECTED_WINDOWS + square) / (EXPECTED_WINDOWS + free))
    expected = (scale / (1e-6 * USUAL_DRIFT_PPM))**2 if stretch.size > 1 else 0.0
    slope = plain * information / (information + expected)
    slope_se = scale / math.sqrt(information + expected)
    level_se = np.hypot(widened(UNEVEN * scale / np.sqrt(total), EXPECTED_WINDOWS + free + 1), RESOLUTION_S)
    return Lines(slope, slope_se, told.time.size, stretch, centre, level, level_se, plain,
                 scale / math.sqrt(information) if information > 0 else math.inf)


class _Straight(NamedTuple):
    """Weights, centres and levels of stretches; information on the slope, slope, weighted sum of squares of the rest.

    `spare` is the sum of weights less that of their shares in each stretch's total.
    """

    total: FloatArray
    centre: FloatArray
    level: FloatArray
    information: float
    slope: float
    square: float
    spare: float


def _straight(told: Told, group: NDArray[np.int64], weight: FloatArray) -> _Straight:
    """Weighted least squares of one slope and a level for each stretch."""
    total: FloatArray = np.bincount(group, weight).astype(float)
    centre, level = (np.bincount(group, weight * v) / total for v in (told.time, told.lag))
    s = told.time - centre[group]
    information = float(weight @ s**2)
    slope = float((weight * s) @ told.lag) / information if information > 0 else 0.0
    rest = told.lag - level[group] - slope * s
    spare = float(weight.sum() - (np.bincount(group, weight**2) / total).sum())
    if information > 0:
        spare -= float(weight**2 @ s**2) / information
    return _Straight(total, centre, level, information, slope, float(weight @ rest**2), max(spare, 1e-9))


def _near(told: Told) -> NDArray[np.bool_]:
    """Windows within 3.5 robust standard deviations of Theil-Sen lines of one slope."""
    size = told.time.size
    thin = np.arange(0, size, max(1, size // MOST_PAIRS + 1)) if size > MOST_PAIRS else np.arange(size)
    i, j = np.triu_indices(thin.size, 1)
    i, j = thin[i], thin[j]
    alike = (told.stretch[i] == told.stretch[j]) & (told.time[i] != told.time[j])
    i, j = i[alike], j[alike]
    if not i.size:
        return np.ones(size, bool)
    off = told.lag - float(np.median((told.lag[j] - told.lag[i]) / (told.time[j] - told.time[i]))) * told.time
    for g in np.unique(told.stretch):
        off[told.stretch == g] -= np.median(off[told.stretch == g])
    # A stretch of one window lies on its line whatever it is, and one of two nearly: the scatter expected is the least.
    error = np.hypot(told.se, RESOLUTION_S)
    scale = max(1.4826 * float(np.median(np.abs(off) / error)), 1.0)
    kept: NDArray[np.bool_] = np.abs(off) <= np.maximum(WINDOW_FAR_SD * scale * error, WINDOW_FAR_S)
    return kept
