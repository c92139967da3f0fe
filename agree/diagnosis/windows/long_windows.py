"""Coefficients in means over 4 minutes, in which what the two answer in unlike times cancels."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import LONG_LEFT_OVER, LONG_OF_WINDOWS
from agree.diagnosis.windows.frame import Frame
from agree.diagnosis.windows.least_squares import regress


def in_long_windows(rows: FloatArray, error: FloatArray, data: Frame, floor: float) -> list[Estimate] | None:
    """Return the coefficients of rows (k, n) in means over runs of windows, session by session; None if too few."""
    found = []
    both = np.vstack([rows, error])
    for session in np.unique(data.session):
        own = both[:, data.session == session]
        count = own.shape[1] // LONG_OF_WINDOWS
        found.append(own[:, :count * LONG_OF_WINDOWS].reshape(len(both), count, LONG_OF_WINDOWS).mean(axis=2))
    means: FloatArray = np.hstack(found)
    return None if means.shape[1] < len(rows) + LONG_LEFT_OVER else regress(means[:-1], means[-1], floor)


def sizes_of(rows: FloatArray, error: FloatArray, data: Frame, floor: float) -> list[Estimate] | None:
    """Coefficients of rows (k, n) in the error; of long windows where no filter says how the two respond."""
    return regress(rows, error, floor) if data.answered else in_long_windows(rows, error, data, floor)
