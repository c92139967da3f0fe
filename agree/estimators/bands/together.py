"""Bands looked at together: how their biases hang on each other over sessions, and what all say about each."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.over_sessions import numbered


def correlations_between_sessions(phi: FloatArray, inside: NDArray[np.bool_], session: NDArray[Any]) -> FloatArray:
    """Correlations of bands that rest on the means of the sessions that have them, each in units of its own error."""
    index, sizes = numbered(session)
    counts, sums = (np.stack([np.bincount(index, weights=row, minlength=sizes.size) for row in rows])
                    for rows in (inside.astype(float), phi))
    here = counts > 0
    means = sums / np.maximum(counts, 1)
    rest = here * (means - (means.sum(axis=1) / here.sum(axis=1))[:, None])
    length = np.sqrt(np.square(rest).sum(axis=1, keepdims=True))
    unit = rest / np.where(length > 0, length, 1)
    result: FloatArray = unit @ unit.T
    return result


def drawn_together(value: FloatArray, error: FloatArray, correlation: FloatArray
                   ) -> tuple[FloatArray, FloatArray, float]:
    """Values (k,) drawn towards their mean, their standard errors, and the SD of the true values.

    They are drawn the more, the less they differ beyond what chance does.

    `error` : their standard errors, of size 1; `correlation` : (k, k), of the values.
    """
    k = value.size
    w = error**-2.0
    about = np.diag(w) - np.outer(w, w) / w.sum()
    excess = value @ about @ value - np.trace(about @ (correlation * np.outer(error, error)))
    between = max(0.0, float(excess / np.trace(about)))
    share = 1 / (error**2 + between)
    away = value - share @ value / share.sum()
    draw = (k - 3) / (k - 1) * error**2 * share
    spread = np.sqrt(error**2 * (1 - (k - 1) / k * draw) + 2 / (k - 3) * (draw * away) ** 2)
    return value - draw * away, spread, math.sqrt(between)
