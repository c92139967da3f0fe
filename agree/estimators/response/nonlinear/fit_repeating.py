"""What a trace that repeats its reading for some seconds reads when a new one comes, from the other trace."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import REPEAT_LEAST, WORKING_W
from agree.estimators.response.kernels import LEFT_OVER, Kernel, smoothed
from agree.estimators.response.nonlinear.any_filter import answered
from agree.estimators.response.nonlinear.fit_holding import held_seconds
from agree.estimators.response.nonlinear.repeating import Repeating, repeated_at
from agree.estimators.response.own_readings import every_s, first_seconds

MOST_READINGS = 3000  # of a long ride, evenly strewn, that tell the filter
BESIDE_S = 6          # whole seconds on either side of what the linear filter says that are tried
WIDTHS = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30)   # running means, s
LAGS = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0)    # first-order lags, s
FINER = (0.8, 0.9, 1.0, 1.1, 1.25)   # times the best of these
PARTS = (0.0, 0.25, 0.5, 0.75)       # of a second
SIMPLER = 0.98  # of what a shorter filter leaves, that a longer one must fall below


class _Fit(NamedTuple):
    left: float
    kernel: Kernel


def repeating(sharp: FloatArray, smooth: FloatArray, late_s: float) -> Repeating | None:
    """The filter of a trace that repeats its reading, from the other one; None if it does not.

    Parameters
    ----------
    sharp, smooth : (n,) array, W
        The two traces on one grid of seconds, NaN where unknown; the latter repeats its reading.
    late_s : float
        Mean delay of it behind the other one, s, near which the delay is looked for.

    Notes
    -----
    Running means and first-order lags, later by whole and quarter seconds, are tried on the seconds at which a new
    reading comes alone. The one counts whose mean absolute error is least, a shorter one if it is nearly as good. What
    it leaves at stops tells whether the last reading is held there.
    """
    every = every_s(smooth)
    if every == 1:
        return None
    first = first_seconds(smooth, every)
    at = repeated_at(first, smooth.size)
    first = first[first >= 0]
    strewn = first[::-(-first.size // MOST_READINGS)]
    strewn = strewn[np.isfinite(smooth[strewn]) & (smooth[strewn] > WORKING_W)]
    if strewn.size < REPEAT_LEAST:
        return None
    middle = late_s - (every - 1) / 2
    shapes = [(0, width) for width in WIDTHS] + [(1, lag) for lag in LAGS]
    kind, size = _best([(shape, _shifted(sharp, smooth, strewn, _shape(*shape), middle)) for shape in shapes])
    finer = [(kind, size * times) for times in FINER] if (kind, size) != (0, 1) else [(0, 1.0)]
    found = [(shape, _parts(sharp, smooth, strewn, _shape(*shape), middle)) for shape in finer]
    by = Repeating(every, min((fit for _, fit in found), key=lambda fit: fit.left).kernel, at)
    return by._replace(held_s=held_seconds(answered(sharp, by), smooth, Kernel(0, np.ones(1))))


def _left(made: FloatArray, seen: FloatArray) -> float:
    works = made > WORKING_W
    usual = float(np.median(seen[works] / made[works])) if works.any() else 1.0
    return float(np.abs(seen - usual * made).mean())


def _shape(kind: int, size: float) -> FloatArray:
    """Weights of a running mean (0), which may end with a part of a second, or a first-order lag (1)."""
    if kind == 0:
        row = np.minimum(size - np.arange(math.ceil(size)), 1.0)
    else:
        row = np.exp(-np.arange(max(math.ceil(-math.log(LEFT_OVER) * size), 2)) / size)
    whole: FloatArray = row / row.sum()
    return whole


def _best(found: list[tuple[tuple[int, float], _Fit]]) -> tuple[int, float]:
    """The shape that leaves least, or the shortest one that leaves next to no more."""
    least = min(fit.left for _, fit in found)
    return min((shape for shape, fit in found if SIMPLER * fit.left <= least), key=lambda shape: _shape(*shape).size)


def _fit(made: FloatArray, smooth: FloatArray, at: NDArray[np.intp], by: Kernel) -> _Fit:
    """What a filter leaves at these seconds; `made` is the sharper trace through its weights from second 0 on."""
    where = at - by.start
    seen = smooth[at]
    value = np.where((where >= 0) & (where < made.size), made[np.clip(where, 0, made.size - 1)], np.nan)
    known = np.isfinite(value)
    return _Fit(_left(value[known], seen[known]), by) if known.sum() >= REPEAT_LEAST else _Fit(math.inf, by)


def _shifted(sharp: FloatArray, smooth: FloatArray, at: NDArray[np.intp], row: FloatArray, middle: float) -> _Fit:
    """The best whole second for a shape."""
    begin = round(middle - float(np.arange(row.size) @ row))
    made = smoothed(sharp, Kernel(0, row))
    return min((_fit(made, smooth, at, Kernel(begin + more, row)) for more in range(-BESIDE_S, BESIDE_S + 1)),
               key=lambda fit: fit.left)


def _parts(sharp: FloatArray, smooth: FloatArray, at: NDArray[np.intp], row: FloatArray, middle: float) -> _Fit:
    """The best quarter of a second beside that."""
    whole = _shifted(sharp, smooth, at, row, middle)
    rows = [np.convolve(row, [1 - part, part]) for part in PARTS[1:]]
    finer = min((_fit(made, smooth, at, Kernel(whole.kernel.start + before, between))
                 for between in rows for made in [smoothed(sharp, Kernel(0, between))] for before in (-1, 0)),
                key=lambda fit: fit.left)
    return finer if finer.left < SIMPLER * whole.left else whole
