"""Parts of a course of the lag at which the traces do not agree, and the lags nearby at which they do.

Windows of a minute propose lags where power changes much; before a first stop, or between two that are close together,
none may be proposed. There the course stays at a neighbour's lag, and the traces differ by far more than elsewhere.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import GOOD, LEAST_POOR_PIECES, LIVELY_SD, POOR, WORKING_W
from agree.pairing.clocks.lag_path import shifted

PIECE_S = 30
FAR_S = 330  # lags looked at on either side


class Course(NamedTuple):
    """Seconds `start` to `stop` of the reference, and the whole-second lag there."""

    start: int
    stop: int
    lag: int


def costs(own: FloatArray, other: FloatArray, sd: float, worst: float) -> FloatArray:
    """Log likelihood that each second costs, at most `worst`; NaN where either lacks."""
    out: FloatArray = np.minimum(0.5 * ((other - own) / sd) ** 2, worst)
    return out


def _best(own: FloatArray, two: FloatArray, start: int, about: int, sd: float, worst: float) -> int | None:
    """Lag at which a part agrees; None if it does at no lag nearby, or is too steady to tell."""
    lags = np.arange(about - FAR_S, about + FAR_S + 1)
    near = sliding_window_view(shifted(two, np.arange(start + lags[0], start + own.size + lags[-1])), own.size)
    found = costs(own, near, sd, worst)
    known = np.isfinite(found).sum(axis=1)
    mean = np.where(known > 0.8 * np.isfinite(own).sum(), np.nansum(found, axis=1) / np.maximum(known, 1), np.inf)
    best = int(mean.argmin())
    if mean[best] > GOOD or float(np.nanstd(own)) < LIVELY_SD * sd:
        return None
    return int(lags[best])


def mended(own: FloatArray, two: FloatArray, courses: list[Course], sd: float, worst: float) -> list[Course]:
    """Courses with the lags put in at which poor parts agree.

    Parameters
    ----------
    own, two : (n,) array
        The reference times the usual ratio, and the device, W.
    courses : list of Course
        In order of time.
    sd, worst : float
        Standard deviation of what is left, W, and the most that one second may cost.
    """
    own = np.where(own > WORKING_W, own, np.nan)  # a stop may be one that the device did not count
    out: list[Course] = []
    for course in courses:
        here = slice(course.start, course.stop)
        cost = costs(own[here], shifted(two, np.arange(course.start, course.stop) + course.lag), sd, worst)
        edges = np.r_[np.arange(0, cost.size - PIECE_S // 2, PIECE_S), cost.size]
        poor = np.array([bool(np.isfinite(cost[a:b]).any()) and float(np.nanmean(cost[a:b])) > POOR
                         for a, b in pairwise(edges)])
        at = 0
        for first, last in runs(poor):
            if last - first < LEAST_POOR_PIECES:
                continue
            start, stop = course.start + int(edges[first]), course.start + int(edges[last])
            lag = _best(own[start:stop], two, start, course.lag, sd, worst)
            if lag is not None and lag != course.lag:
                out += [Course(course.start + at, start, course.lag), Course(start, stop, lag)]
                at = stop - course.start
        out.append(Course(course.start + at, course.stop, course.lag))
    return [course for course in out if course.stop > course.start]
