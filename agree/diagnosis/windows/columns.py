"""Candidates that are fitted to window means: what the error would be of each cause."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import BEND_STRENGTH, CADENCE_RANGE, LEAST_WARMTH, POWER_RANGE, ROUNDING_SHARE
from agree.diagnosis.finding import WindowCause
from agree.diagnosis.windows.bend_shown import shows
from agree.diagnosis.windows.frame import TURN, Frame, spread_ratio
from agree.diagnosis.windows.gains import Gains
from agree.diagnosis.windows.in_time.time_courses import STRAIGHT, Course, Courses
from agree.diagnosis.windows.least_squares import level_off, regress, solve


class Columns(NamedTuple):
    """Candidates: (k, n) as they are, the same free of gains and slow faults, names and shapes; error, freed too.

    `knot` is the power, W, at which the error may bend, `course` the course in time of the drift among them, or of the
    warm-up in its place.
    """

    raw: FloatArray
    free: FloatArray
    causes: tuple[WindowCause, ...]
    shapes: tuple[str, ...]
    error: FloatArray
    floor: float                # W: scatter of window means below this is rounding, not evidence
    knot: float
    course: Course = STRAIGHT

    @property
    def timed(self) -> int:
        """Place of the drift, or of the warm-up in its place; -1 without one."""
        return next((k for k, cause in enumerate(self.causes) if cause in ("drift", "warm_up")), -1)

    def with_course(self, tried: Courses, number: int) -> Columns:
        """Candidates with another course in time."""
        raw, free, k, course = self.raw.copy(), self.free.copy(), self.timed, tried.courses[number]
        raw[k], free[k] = tried.raw[number], tried.free[number]
        return self._replace(
            raw=raw, free=free, course=course, causes=(*self.causes[:k], course.cause, *self.causes[k + 1:]),
            shapes=(*self.shapes[:k], "%" if course.share else "W", *self.shapes[k + 1:]))


def columns(data: Frame, own: Gains) -> Columns:
    """Candidates: scale, offset, N m, drift, temperature, a gain that changes with cadence, and a bend.

    Drifts are in W or in %, whichever fits better; the bend is at the knot that fits best beside scale and offset. Slow
    faults and differences between sessions are a matter of their own: they are in every set.
    """
    one, power = np.ones(data.error.size), data.power
    rows: list[FloatArray] = [power]
    causes: list[WindowCause] = ["scale"]
    shapes = ["%"]
    narrow = spread_ratio(data.power) < POWER_RANGE
    if not narrow:
        rows, causes, shapes = [power, one], ["scale", "offset"], ["%", "W"]
    if data.turning is not None and spread_ratio(data.turning) >= CADENCE_RANGE:
        rows, causes, shapes = [*rows, data.turning], [*causes, "torque_offset"], [*shapes, "N m"]
    free = [own.free(row) for row in rows]
    error = own.free(data.error)
    base = np.vstack([*free, own.free(one)]) if narrow else np.vstack(free)
    # From the start of each session, where a device is set to zero: a drift alone is then one cause, without an offset.
    trends: list[tuple[WindowCause, FloatArray]] = [("drift", data.hours)]
    if data.warmth is not None and np.ptp(data.warmth) >= LEAST_WARMTH:
        first = np.searchsorted(data.session, data.session)
        trends.append(("temperature_drift", data.warmth - data.warmth[first]))
    for cause, trend in trends:
        both = [trend, trend * power]
        freed = [own.free(row) for row in both]
        best = int(np.argmax([_gain(row, base, error) for row in freed]))
        rows, free = [*rows, both[best]], [*free, freed[best]]
        causes, shapes = [*causes, cause], [*shapes, ("W", "%")[best]]
    if "torque_offset" in causes:
        rows, causes, shapes = [*rows, by_cadence(data)], [*causes, "cadence_gain"], [*shapes, "%"]
        free = [*free, own.free(rows[-1])]
    knot, floor = math.nan, ROUNDING_SHARE * float(power.mean())
    if not narrow and data.knots.size:
        freed = [own.free(row) for row in data.above]
        best = int(np.argmax([_gain(row, base, error) for row in freed]))
        # What a scale and offsets explain as well is no bend, however well it fits alone.
        if level_off(regress(np.vstack([base, freed[best]]), error, floor)[-1]) >= BEND_STRENGTH and (
                shows(data, base, freed[best], error, floor)):
            knot = float(data.knots[best % data.knots.size])
            rows, free = [*rows, data.above[best]], [*free, freed[best]]
            causes, shapes = [*causes, "bend"], [*shapes, "%"]
    return Columns(np.vstack(rows), np.vstack(free), tuple(causes), tuple(shapes), error, floor, knot,
                   STRAIGHT._replace(share=shapes[causes.index("drift")] == "%"))


def by_cadence(data: Frame) -> FloatArray:
    """Error, W, of a gain that is 1 larger for each rev/min above the usual cadence, at which it is none."""
    if data.turned is None:
        return np.zeros(data.power.size)
    usual = float(data.turned.sum()) / float(data.power.sum())
    return (data.turned - usual * data.power) / TURN


def _gain(column: FloatArray, base: FloatArray, error: FloatArray) -> float:
    """Reduction of the sum of squares by a column beside the base."""
    before, after = (mean_square(rows, error) for rows in (base, np.vstack([base, column])))
    return before - after


def mean_square(rows: FloatArray, error: FloatArray) -> float:
    """Mean square of the error that rows (k, n) leave."""
    rest = solve(rows, error, 0.0).rest if rows.size else error
    return float(np.mean(rest * rest))
