"""What a line through medians may be where readings are rounded coarsely: ties pull it to the slopes of the grid."""

from __future__ import annotations

import math

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import ROUNDED_COARSELY
from agree.estimators.trials.common_step import common_step

FIRST = 1000  # pairs looked at before all are
# Steps, of the unit interval, of two sequences whose points fill the square evenly.
ALONG, ACROSS = (math.sqrt(5) - 1) / 2, math.sqrt(2) - 1


def coarse_step(x: FloatArray, y: FloatArray, residual: FloatArray) -> float:
    """Return the step that readings are rounded to, where it exceeds half the residuals' SD; else 0."""
    size = math.frexp(max(float(np.abs(x).max()), float(np.abs(y).max())))[1]
    x, y, residual = (np.ldexp(values, -size) for values in (x, y, residual))  # exact, and no square overflows
    scatter = float(residual.std())
    step = common_step(x[:FIRST], y[:FIRST])
    if step <= ROUNDED_COARSELY * scatter or (x.size > FIRST and common_step(x, y) != step):
        return 0.0
    return math.ldexp(step, size)


def spread_over_step(x: FloatArray, y: FloatArray, step: float) -> tuple[FloatArray, FloatArray]:
    """Return the readings moved within the step each was rounded to, evenly, whatever the order of the pairs."""
    place = np.empty(x.size)
    place[np.lexsort((y, x))] = np.arange(1, x.size + 1)
    return (x + step * ((place * ALONG) % 1 - 0.5), y + step * ((place * ACROSS) % 1 - 0.5))
