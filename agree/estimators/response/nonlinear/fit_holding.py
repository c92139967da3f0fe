"""For how many seconds a device goes on with its last reading after pedalling ends, as most of its stops show."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.held_readings import held
from agree.core.data.runs import runs
from agree.core.thresholds import HOLD_LEFT, HOLD_SCREEN, HOLD_STOPS, HOLD_STOPS_SHARE, WORKING_W
from agree.estimators.response.kernels import Kernel, smoothed

LONGEST_S = 8       # s for which a reading may be held
FIRST_S = 3         # s of a stop that are looked at first
BEYOND_S = 4        # s of a stop that are judged after the longest hold
LEAST_W = 30.0      # last reading before a stop, below which noise hides whether it is held


class Stops(NamedTuple):
    """Stops of the sharper trace: first second, length, and the last reading before each, W."""

    start: NDArray[np.intp]
    length: NDArray[np.intp]
    last: FloatArray


def stops_of(sharp: FloatArray) -> Stops:
    """Runs of 0 after a reading that is known and well above 0."""
    spans = np.array(runs(sharp == 0), np.intp).reshape(-1, 2)
    spans = spans[spans[:, 0] > 0]
    last = sharp[spans[:, 0] - 1]
    good = np.isfinite(last) & (last > LEAST_W)
    return Stops(spans[good, 0], (spans[:, 1] - spans[:, 0])[good], last[good])


def may_hold(sharp: FloatArray, smooth: FloatArray, kernel: Kernel) -> bool:
    """Whether at most stops the smoother trace is above what a linear filter leaves: a look that costs little."""
    stops = stops_of(sharp)
    if stops.start.size < HOLD_STOPS:
        return False
    made = smoothed(sharp, kernel)
    left = _errors(stops, made, smooth, _usual(made, smooth), kernel, FIRST_S, signed=True)
    return bool(np.nanmedian(left) >= HOLD_SCREEN) if np.isfinite(left).any() else False


def held_seconds(sharp: FloatArray, smooth: FloatArray, kernel: Kernel) -> int:
    """Whole seconds for which the smoother trace holds its last reading; 0 if it does not.

    Parameters
    ----------
    sharp, smooth : (n,) array, W
        The two traces on one grid of seconds, NaN where unknown.
    kernel : Kernel
        What the smoother trace does besides.

    Notes
    -----
    At each stop the mean of abs(error)/last reading, at most 1, over the stop and at most 12 s, tells how well it is
    foretold. The time counts that leaves least in the mean over stops; if that is at most half of what is left without
    holding, over all and in most stops, of which there must be four. So must be those that are longer, most of which
    show that it ends: a device that loses single readings is no sharper trace than one that would hold through each.
    """
    stops = stops_of(sharp)
    usual = _usual(smoothed(sharp, kernel), smooth)
    rows = np.array([_errors(stops, smoothed(held(sharp, seconds), kernel), smooth, usual, kernel,
                             LONGEST_S + BEYOND_S) for seconds in range(LONGEST_S + 1)])
    rows = rows[:, np.isfinite(rows).all(axis=0)]
    if rows.shape[1] < HOLD_STOPS:
        return 0
    best = int(rows.mean(axis=1).argmin())
    enough = rows[best].mean() <= HOLD_LEFT * rows[0].mean()
    if not enough or (rows[best] <= HOLD_LEFT * rows[0]).mean() < HOLD_STOPS_SHARE:
        return 0
    long = stops.length > best
    longer = Stops(stops.start[long], stops.length[long], stops.last[long])
    beyond = _errors(longer, smoothed(held(sharp, best), kernel), smooth, usual, kernel, LONGEST_S + BEYOND_S,
                     after=best)
    beyond = beyond[np.isfinite(beyond)]
    ends = beyond.size >= HOLD_STOPS and (beyond <= HOLD_LEFT).mean() >= HOLD_STOPS_SHARE
    return best if ends else 0


def _usual(made: FloatArray, smooth: FloatArray) -> float:
    """Median ratio of the smoother trace to what is foretold of it."""
    works = (made > WORKING_W) & (smooth > WORKING_W)
    return float(np.median(smooth[works] / made[works])) if works.any() else 1.0


def _errors(stops: Stops, made: FloatArray, smooth: FloatArray, usual: float, kernel: Kernel, seconds: int, *,
            signed: bool = False, after: int = 0) -> FloatArray:
    """Mean error of each stop, or mean size of it, as a share of the last reading; NaN where nothing is known.

    Of the first `seconds` of each stop, but for the first `after`.
    """
    late = kernel.start
    at = stops.start[:, None] + late + np.arange(seconds)
    inside = (np.arange(seconds) < stops.length[:, None]) & (np.arange(seconds) >= after) & (at >= 0) & (at < made.size)
    at = np.clip(at, 0, made.size - 1)
    error = (smooth[at] / usual - made[at]) / stops.last[:, None]
    error = np.clip(error if signed else np.abs(error), -1.0, 1.0)
    known = inside & np.isfinite(error)
    total = np.where(known, error, 0.0).sum(axis=1)
    mean: FloatArray = np.divide(total, known.sum(axis=1), out=np.full(total.size, np.nan), where=known.any(axis=1))
    return mean
