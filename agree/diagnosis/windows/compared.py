"""What else would fit in the place of a cause, and beside it."""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.thresholds import APART_STRENGTH
from agree.diagnosis.finding import Cause, Compared, WindowCause
from agree.diagnosis.windows.columns import mean_square
from agree.diagnosis.windows.in_time.best_step import best_step
from agree.diagnosis.windows.least_squares import level_off
from agree.diagnosis.windows.long_windows import sizes_of
from agree.diagnosis.windows.order import TURNS, Choice, Search, left_beside, left_by_courses

# Causes that may look alike.
FAMILIES: tuple[set[WindowCause], ...] = (
    {"scale", "offset", "torque_offset"}, {"drift", "temperature_drift"}, {"warm_up", "temperature_drift"}, TURNS,
    {"bend", "cadence_gain"})
IN_TIME: set[WindowCause] = {"drift", "warm_up"}
BY_POWER: set[WindowCause] = {"scale", "offset", "torque_offset", "bend"}


def compared(choice: Choice, j: int, left: float, search: Search) -> tuple[Compared, ...]:
    """Other causes in place of one, and beside it."""
    made, chosen = choice
    found = []
    others = made.free[[k for k in chosen if k != chosen[j]]]
    for cause, row in _instead(choice, j, others, search):
        both = sizes_of(np.vstack([made.free[list(chosen)], row]), made.error, search.data, made.floor)
        more = mean_square(np.vstack([others, row]), made.error) / max(left, made.floor**2)
        # Of steps many places are tried, so that one which is not the cause fits better than a course by chance.
        least = _worse(more, search) if cause != "step" else float(more > 1)
        # Beside a course that is there nearly all along, what is there all along has hardly a size: it must fit better.
        own = level_off(both[j]) if both and chosen[j] == made.timed else float(bool(both))
        item = Compared(cause=cause, left=more, apart=min(own, least), too=level_off(both[-1]) if both else 0.0)
        # Nobody asks whether a plain scale is a drift: it is told of where it may be, or power goes with time.
        if chosen[j] == made.timed or search.power_in_time or item.apart < APART_STRENGTH:
            found.append(item)
    for other in sorted(set(range(len(made.causes))) - set(chosen)):
        if not _may_look_alike(made.causes[chosen[j]], made.causes[other], search):
            continue
        # At one power a gain by cadence is a zero error in N m with a scale against it.
        too = [0] if {made.causes[chosen[j]], made.causes[other]} == TURNS and 0 not in chosen else []
        if made.causes[chosen[j]] in IN_TIME and other == 0:  # a line of power may be one of time
            too = [k for k, cause in enumerate(made.causes) if cause == "offset" and k not in chosen]
        swapped = [*chosen[:j], other, *chosen[j + 1:], *too]
        both = sizes_of(made.free[[*chosen, other, *too]], made.error, search.data, made.floor)
        more = mean_square(made.free[swapped], made.error) / max(left, made.floor**2)
        apart = level_off(both[j]) if both else 0.0
        if made.causes[chosen[j]] in IN_TIME and made.causes[other] in BY_POWER:  # it must fit better as well
            apart = min(apart, _worse(more, search))
        found.append(Compared(cause=made.causes[other], left=more, apart=apart,
                              too=level_off(both[len(chosen)]) if both else 0.0))
    return tuple(found)


def _worse(more: float, search: Search) -> float:
    """Level at which another cause fits worse, that leaves so many times the mean square in the place of one."""
    return float(special.chdtr(1, search.n_eff * math.log(max(more, 1.0))))


def _may_look_alike(one: WindowCause, other: WindowCause, search: Search) -> bool:
    """Whether two causes may be taken for each other in these data.

    A cause that was found to change with time may be a constant one; where power goes with time, any that goes with
    power may be one that goes with time.
    """
    if one in IN_TIME and other in BY_POWER:
        return other == "scale" or search.power_in_time
    return any({one, other} <= family for family in FAMILIES)


def _instead(choice: Choice, j: int, others: FloatArray, search: Search) -> list[tuple[Cause, FloatArray]]:
    """What changes with time and may be taken for one of a set: columns (n,).

    In place of a drift the best step and the best warm-up, of a warm-up the best step and the best drift. In place of a
    scale or a zero the best course in time: a drift that slows soon is there all along, or nearly.
    """
    made, chosen = choice
    if chosen[j] != made.timed:
        if made.causes[chosen[j]] not in BY_POWER or (made.causes[chosen[j]] == "bend" and not search.power_in_time):
            return []
        squares = left_beside(others, made.error, search.tried)
        if made.timed in chosen:
            # Beside a drift a warm-up that is over by half of the ride, and the other way round: a longer one, with a
            # drift, is all that a scale or a zero with a drift is.
            half = float(search.data.hours.max()) / 2
            squares = np.array([square if one.cause != made.course.cause and (
                one.cause == "drift" or one.reach_h <= half) else math.inf
                for square, one in zip(squares, search.tried.courses, strict=True)])
        best = int(np.argmin(squares))
        if not math.isfinite(squares[best]):
            return []
        return [(search.tried.courses[best].cause, search.tried.free[best])]
    rows: list[tuple[Cause, FloatArray]] = []
    other: Cause = "drift" if made.course.cause == "warm_up" else "warm_up"
    step = best_step(search.data, search.own, others, made.error)
    if step is not None:
        rows.append(("step", step))
    squares = left_by_courses(made, chosen, search.tried)
    own = [k for k, one in enumerate(search.tried.courses) if one.cause == other]
    if own:
        rows.append((other, search.tried.free[min(own, key=lambda k: squares[k])]))
    return rows
