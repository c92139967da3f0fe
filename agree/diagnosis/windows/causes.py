"""Causes that show in window means: which set of them fits the error, and what else would."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import (
    APART_STRENGTH,
    COURSE_STRENGTH,
    LEAST_CAUSE_WINDOWS,
    NAMED_STRENGTH,
    WORTHWHILE_PERCENT,
)
from agree.diagnosis.finding import Cause, Compared, WindowCause
from agree.diagnosis.windows.columns import Columns, columns
from agree.diagnosis.windows.compared import BY_POWER, compared
from agree.diagnosis.windows.frame import Frame, frame
from agree.diagnosis.windows.gains import Gains, gains
from agree.diagnosis.windows.in_time.course_doubt import by_course
from agree.diagnosis.windows.in_time.time_courses import Course, Courses, Form, time_courses
from agree.diagnosis.windows.least_squares import at_least, effective_windows, level_off, mixed, solve, widened
from agree.diagnosis.windows.long_windows import sizes_of
from agree.diagnosis.windows.order import Choice, Search, cancel, in_order, left_by_courses
from agree.diagnosis.windows.session_gains import gains_differ, scale_over_sessions
from agree.faults.slow.coefficient import coefficient
from agree.verdict.columns import Table


class Part(NamedTuple):
    """One cause of the fitting set."""

    cause: WindowCause
    shape: str                  # "W", "%" or "N m"
    coefficient: Estimate       # in W, N m or as a fraction; per hour, degree or rev/min
    percent: float              # RMS of its part, per cent of mean power
    strength: float
    compared: tuple[Compared, ...]
    course: Course | None = None          # of a drift or a warm-up
    forms: frozenset[Form] = frozenset()  # of its cause, that fit about as well
    perhaps: tuple[WindowCause, ...] = ()  # beside it, certain with this course but not with others

    @property
    def rivals_in_time(self) -> set[Cause]:
        """Drift or warm-up that the data cannot tell from it."""
        return {one.cause for one in self.compared if one.apart < APART_STRENGTH} & {"drift", "warm_up"}


@dataclass(frozen=True, slots=True)
class Fit:
    """The fitting set of causes, and the data it rests on."""

    parts: tuple[Part, ...]
    explained: float            # share of the mean square of window errors, free of slow faults
    residual: FloatArray        # free of slow faults and of what sessions have of their own
    frame: Frame
    gains: Gains
    by_power: FloatArray        # W: what scale, offset and bend make of the error in each window, (n,)
    knot: float                 # W, at which the error may bend
    bend: FloatArray            # W, (n,): what a bend by one watt each watt makes of each window; zeros without one

    def causes(self) -> set[WindowCause]:
        """Names of the parts."""
        return {part.cause for part in self.parts}

    def part(self, cause: WindowCause) -> Part | None:
        """Part of one name."""
        return next((part for part in self.parts if part.cause == cause), None)


def fit(table: Table) -> Fit | None:
    """Find the set of causes that fits the error of window means; None where windows are too few.

    Sets of up to 4 causes, with a drift or a warm-up of any course in time, are ordered by
    n_eff ln(mean square left) + 2 ln(n_eff) for each cause; the first is taken in which every cause has an interval
    (engine, serial; the scale of several sessions also from session to session) that misses 0 at the level 0.99 and a
    part of at least 0.3 % of mean power. Of these a scale, a zero or a bend is named only if it is as certain with any
    other course in time that fits about as well. Steps and warm-ups that the pairing found are in every set, and so is
    a gain of each session. The power is that of both, (reference + device)/2, which suits errors of about equal size
    in both.
    """
    data = frame(table)
    if data.error.size < LEAST_CAUSE_WINDOWS or not data.power.mean() > 0:
        return None
    own = gains(data)
    made = columns(data, own)
    tried = time_courses(data, own)
    search = Search(data, own, tried, _effective(made, tried, data))
    (made, chosen), parts = _first_certain(in_order(made, search.n_eff, tried), search)
    rest, by_power = made.error, np.zeros(data.error.size)
    if chosen:
        solved = solve(made.free[list(chosen)], made.error, 0.0)
        rest = solved.rest
        for k, value in zip(chosen, solved.beta, strict=True):
            by_power = by_power + (value * made.raw[k] if made.causes[k] in BY_POWER else 0.0)
    base = float(np.mean(made.error**2))
    return Fit(parts, 1 - float(np.mean(rest * rest)) / base if base > 0 else 0.0, rest, data, own, by_power, made.knot,
               made.raw[made.causes.index("bend")] if "bend" in made.causes else np.zeros(data.error.size))


def _first_certain(ordered: list[Choice], search: Search) -> tuple[Choice, tuple[Part, ...]]:
    """First set of which every cause is certain, with its parts.

    Where its drift or warm-up is not told from what is there all along, a set with a scale or an offset in its place is
    taken, if all of that is certain: it is the commoner error, and says that it may be one in time.
    """
    for number, choice in enumerate(ordered):
        parts = set_of_parts(choice, search)
        if parts is None:
            continue
        timed = next((part for part in parts if part.course is not None), None)
        if timed is None or all(one.cause != "scale" or one.apart >= APART_STRENGTH for one in timed.compared):
            return choice, parts
        names = [choice.columns.causes[k] for k in choice.chosen]
        rest = {name for name in names if name != timed.cause}
        for other in ordered[number + 1:]:
            causes = {other.columns.causes[k] for k in other.chosen}
            if rest < causes and causes - rest <= {"scale", "offset"}:
                plain = set_of_parts(other, search)
                if plain is not None and any(part.rivals_in_time for part in plain):
                    return other, plain
        return choice, parts
    return Choice(ordered[0].columns, ()), ()


def set_of_parts(choice: Choice, search: Search) -> tuple[Part, ...] | None:
    """Parts of one set with what else was tried; None if one of them is not certain or not worth while."""
    made, chosen = choice
    data, own = search.data, search.own
    if not chosen:
        return ()
    solved = solve(made.free[list(chosen)], made.error, made.floor)
    sizes = _sizes(choice, solved.rest, data)
    if sizes is None:
        return None
    scaled, differ = chosen[0] == 0, False
    strengths = [level_off(item) for item in sizes]
    if len(own.bounds) > 1:
        first = int(scaled)
        others = solved.beta[first:] @ made.raw[list(chosen[first:])] if len(chosen) > first else 0.0
        differ = gains_differ(own, data.error - others)
        if scaled:
            sizes[0], strengths[0] = scale_over_sessions(data, own, data.error - others, sizes[0])
    mean = float(data.power.mean())
    percents = [100 * math.sqrt(float(np.mean((item.value * made.raw[k]) ** 2))) / mean
                for item, k in zip(sizes, chosen, strict=True)]
    least = [COURSE_STRENGTH if k == made.timed and made.course.form != "straight" else NAMED_STRENGTH for k in chosen]
    sure = [strength >= level and percent >= WORTHWHILE_PERCENT
            for strength, level, percent in zip(strengths, least, percents, strict=True)]
    # Where the scale differs between sessions, it is free in each: else another cause takes up what it does.
    own_parts = np.array([[item.value] for item in sizes]) * made.raw[list(chosen)]
    if not all(sure[1:] if differ else sure) or (differ and not scaled) or cancel(
            [made.causes[k] for k in chosen], own_parts):
        return None
    doubt = by_course(choice, sizes, strengths, search)
    slope = sizes[0].value if scaled else 0.0
    left = float(np.mean(solved.rest**2))
    named = [one and doubt.strengths[j] >= NAMED_STRENGTH for j, one in enumerate(sure)]
    perhaps = tuple(made.causes[k] for j, k in enumerate(chosen) if sure[j] and not named[j])
    return tuple(Part(made.causes[k], made.shapes[k], of_reference(doubt.sizes[j], slope, scale=k == 0), percents[j],
                      doubt.strengths[j], compared(choice, j, left, search),
                      *((made.course, doubt.forms, perhaps) if k == made.timed else ()))
                 for j, k in enumerate(chosen) if named[j])


def _sizes(choice: Choice, rest: FloatArray, data: Frame) -> list[Estimate] | None:
    """Coefficients of a set that leaves such a rest; None where windows are too few.

    The error of a scale takes in what the power owes to the error itself, that of a course in time no less than the
    noise of neighbouring frequencies: of a course that is over soon few windows tell.
    """
    made, chosen = choice
    rows = made.free[list(chosen)]
    sizes = sizes_of(rows, made.error, data, made.floor)
    if sizes is None:
        return None
    for j, k in enumerate(chosen):
        if k == 0:
            sizes[j] = widened(sizes[j], mixed(rows, j, rest))
        elif k == made.timed:
            sizes[j] = at_least(sizes[j], coefficient(rows[j], np.delete(rows, j, axis=0), made.error).se)
    return sizes


def _effective(made: Columns, tried: Courses, data: Frame) -> float:
    """Effective number of windows, by what all causes leave with the best course in time."""
    best = int(np.argmin(left_by_courses(made, tuple(range(len(made.causes))), tried)))
    return effective_windows(solve(made.with_course(tried, best).free, made.error, 0.0).rest, data.session)


def of_reference(item: Estimate, slope: float, *, scale: bool) -> Estimate:
    """From power = (reference + device)/2 to the reference: exact for a scale and an offset."""
    turn = 1 / (1 - slope / 2)
    factor = turn * turn if scale else turn
    half, value = t_quantile(0.95, item.df) * item.standard_error * factor, item.value * turn
    return replace(item, value=value, low=value - half, high=value + half, standard_error=item.standard_error * factor)
