"""Sets of causes, and courses in time, in the order of what they leave for their number."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import CANCEL_SHARE, CAUSE_COST, COURSE_COST, COURSE_GAIN, MOST_CAUSES, POWER_IN_TIME
from agree.diagnosis.finding import WindowCause
from agree.diagnosis.windows.columns import Columns, mean_square
from agree.diagnosis.windows.frame import Frame
from agree.diagnosis.windows.gains import Gains
from agree.diagnosis.windows.in_time.time_courses import Courses

TURNS: set[WindowCause] = {"torque_offset", "cadence_gain"}
ALIKE: set[WindowCause] = {"offset", *TURNS}  # zeros, whose columns differ by how cadence goes with power alone
NEARLY_NONE = 1e-6  # of a course's sum of squares: what is left of it beside other causes is rounding


class Choice(NamedTuple):
    """Some of the candidates, by place, whose drift has one course or is a warm-up."""

    columns: Columns
    chosen: tuple[int, ...]


class Search(NamedTuple):
    """What sets are tried on: windows, gains of sessions, courses in time, effective number of windows."""

    data: Frame
    own: Gains
    tried: Courses
    n_eff: float

    @property
    def power_in_time(self) -> bool:
        """Whether power rises or falls with time, so that what goes with one goes with the other."""
        data = self.data
        return bool(data.power.std() > 0) and abs(float(np.corrcoef(data.power, data.hours)[0, 1])) >= POWER_IN_TIME


def in_order(made: Columns, n_eff: float, tried: Courses | None = None) -> list[Choice]:
    """Sets of causes; first the one that leaves least for its number of causes.

    A zero in N m with a gain by cadence against it is nearly one in W: the two count as three. A course in time that is
    no straight drift costs more, since many are tried; of each set the best drift and the best warm-up are kept.
    """
    unit = CAUSE_COST * math.log(max(n_eff, 3))
    found: list[tuple[float, tuple[int, ...], int]] = []
    for count in range(MOST_CAUSES + 1):
        for chosen in combinations(range(len(made.causes)), count):
            cost = unit * (count + ({made.causes[k] for k in chosen} >= TURNS))
            left = mean_square(made.free[list(chosen)], made.error)
            found.append((n_eff * math.log(left + made.floor**2) + cost, chosen, -1))
            if tried is None or made.timed not in chosen:
                continue
            squares = left_by_courses(made, chosen, tried)
            for cause in ("drift", "warm_up"):
                own = [k for k, one in enumerate(tried.courses) if one.cause == cause and one.form != "straight"]
                if own:
                    best = min(own, key=lambda k: squares[k])
                    found.append((n_eff * math.log(squares[best] + made.floor**2) + cost + COURSE_COST * unit,
                                  chosen, best))
    return [Choice(made if number < 0 or tried is None else made.with_course(tried, number), chosen)
            for _, chosen, number in sorted(found)]


def cancel(causes: Sequence[WindowCause], parts: FloatArray) -> bool:
    """Whether two kinds of zero take away most of one another: what is fitted is how cadence goes with power.

    Parameters
    ----------
    causes : sequence of str
        Names of the set.
    parts : (k, n) array, W
        What each of them makes of each window.

    Notes
    -----
    An error that none of them describes, as that of a ceiling or of a filter, may be fitted by their small difference:
    -433 W beside 48 N m. No device has two such zeros, and the sizes are far from any of one alone.
    """
    zeros = [row for cause, row in zip(causes, parts, strict=True) if cause in ALIKE]
    return any(float(np.mean((one + two)**2)) < CANCEL_SHARE**2 * max(float(np.mean(one**2)), float(np.mean(two**2)))
               for one, two in combinations(zeros, 2))


def left_by_courses(made: Columns, chosen: tuple[int, ...], tried: Courses) -> FloatArray:
    """Mean square that a set leaves with each of the courses, in place of its own or beside it, (courses,)."""
    return left_beside(made.free[[k for k in chosen if k != made.timed]], made.error, tried)


def left_beside(rows: FloatArray, error: FloatArray, tried: Courses) -> FloatArray:
    """Mean square of an error (n,) that rows (k, n) leave with each of the courses beside them, (courses,)."""
    rest, inside = error, np.zeros(len(tried.courses))
    if rows.size:
        length = np.sqrt(np.sum(rows * rows, axis=1, keepdims=True))
        _, singular, basis = np.linalg.svd(rows / np.where(length > 0, length, 1.0), full_matrices=False)
        basis = basis[singular > NEARLY_NONE * singular.max(initial=0.0)]
        rest = rest - basis.T @ (basis @ rest)
        inside = np.sum((tried.free @ basis.T) ** 2, axis=1)
    whole = np.sum(tried.free**2, axis=1)
    square = whole - inside
    gain = np.where(square > NEARLY_NONE * whole, (tried.free @ rest) ** 2 / np.maximum(square, 1e-300), 0.0)
    found: FloatArray = np.maximum(float(rest @ rest) - gain, 0.0) / rest.size
    return found


def alike(made: Columns, chosen: tuple[int, ...], tried: Courses, n_eff: float) -> list[tuple[int, float]]:
    """Courses that may be the true one in place of that of a set, best first, and chi-squared by which they fit worse.

    That is n ln of the ratio of mean squares left, of n effective windows.
    """
    squares = left_by_courses(made, chosen, tried) + made.floor**2
    own = mean_square(made.free[list(chosen)], made.error) + made.floor**2
    if not own > 0:
        return []
    worse = n_eff * np.log(np.maximum(squares / own, 1.0))
    return [(int(k), float(worse[k])) for k in np.argsort(squares, kind="stable") if worse[k] <= COURSE_GAIN]
