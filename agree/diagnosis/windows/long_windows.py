"""Coefficients in means over 4 minutes, in which what the two answer in unlike times cancels."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.diagnosis.windows.frame import Frame
from agree.diagnosis.windows.least_squares import regress

LONG = 8       # windows of 30 s in a long one: several times the slowest response that is looked for, 60 s
LEFT_OVER = 3  # long windows more than coefficients: below, their scatter is not known


def in_long_windows(rows: FloatArray, error: FloatArray, data: Frame, floor: float) -> list[Estimate] | None:
    """Return the coefficients of rows (k, n) in means over runs of windows, session by session; None if too few."""
    found = []
    both = np.vstack([rows, error])
    for session in np.unique(data.session):
        own = both[:, data.session == session]
        count = own.shape[1] // LONG
        found.append(own[:, :count * LONG].reshape(len(both), count, LONG).mean(axis=2))
    means: FloatArray = np.hstack(found)
    return None if means.shape[1] < len(rows) + LEFT_OVER else regress(means[:-1], means[-1], floor)
