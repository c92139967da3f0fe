"""Causes that show in window means: which set of them fits the error, and what else would."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import (
    BEND_STRENGTH,
    CADENCE_RANGE,
    CAUSE_COST,
    LEAST_CAUSE_WINDOWS,
    LEAST_WARMTH,
    MOST_CAUSES,
    NAMED_STRENGTH,
    POWER_RANGE,
    ROUNDING_SHARE,
    WORTHWHILE_PERCENT,
)
from agree.diagnosis.finding import Cause, Compared, WindowCause
from agree.diagnosis.windows.bend_shown import shows
from agree.diagnosis.windows.best_step import best_step
from agree.diagnosis.windows.best_warm_up import best_warm_up
from agree.diagnosis.windows.frame import TURN, Frame, frame, spread_ratio
from agree.diagnosis.windows.gains import Gains, gains
from agree.diagnosis.windows.least_squares import effective_windows, level_off, regress, solve
from agree.diagnosis.windows.long_windows import in_long_windows
from agree.diagnosis.windows.session_gains import gains_differ, scale_over_sessions
from agree.verdict.columns import Table

TURNS: set[WindowCause] = {"torque_offset", "cadence_gain"}
# Causes that may look alike.
FAMILIES: tuple[set[WindowCause], ...] = (
    {"scale", "offset", "torque_offset"}, {"drift", "temperature_drift"}, TURNS,
    {"bend", "cadence_gain"})
BY_POWER: set[WindowCause] = {"scale", "offset", "torque_offset", "bend"}


class Part(NamedTuple):
    """One cause of the fitting set."""

    cause: WindowCause
    shape: str                  # "W", "%" or "N m"
    coefficient: Estimate       # in W, N m or as a fraction; per hour, degree or rev/min
    percent: float              # RMS of its part, per cent of mean power
    strength: float
    compared: tuple[Compared, ...]


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


class Columns(NamedTuple):
    """Candidates: (k, n) as they are, the same free of gains and slow faults, names and shapes; error, freed too.

    `knot` is the power, W, at which the error may bend.
    """

    raw: FloatArray
    free: FloatArray
    causes: tuple[WindowCause, ...]
    shapes: tuple[str, ...]
    error: FloatArray
    floor: float                # W: scatter of window means below this is rounding, not evidence
    knot: float


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
    return Columns(np.vstack(rows), np.vstack(free), tuple(causes), tuple(shapes), error, floor, knot)


def by_cadence(data: Frame) -> FloatArray:
    """Error, W, of a gain that is 1 larger for each rev/min above the usual cadence, at which it is none."""
    if data.turned is None:
        return np.zeros(data.power.size)
    usual = float(data.turned.sum()) / float(data.power.sum())
    return (data.turned - usual * data.power) / TURN


def _gain(column: FloatArray, base: FloatArray, error: FloatArray) -> float:
    """Reduction of the sum of squares by a column beside the base."""
    before, after = (_mean_square(rows, error) for rows in (base, np.vstack([base, column])))
    return before - after


def _mean_square(rows: FloatArray, error: FloatArray) -> float:
    rest = solve(rows, error, 0.0).rest if rows.size else error
    return float(np.mean(rest * rest))


def fit(table: Table) -> Fit | None:
    """Find the set of causes that fits the error of window means; None where windows are too few.

    Sets of up to 4 causes are ordered by n_eff ln(mean square left) + 2 ln(n_eff) for each cause; the first is taken
    in which every cause has an interval (engine, serial; the scale of several sessions also from session to session)
    that misses 0 at the level 0.99 and a part of at least 0.3 % of mean power. Steps and warm-ups that the pairing
    found are in every set, and so is a gain of each session. The power is that of both, (reference + device)/2, which
    suits errors of about equal size in both.
    """
    data = frame(table)
    if data.error.size < LEAST_CAUSE_WINDOWS or not data.power.mean() > 0:
        return None
    own = gains(data)
    made = columns(data, own)
    parts: tuple[Part, ...] = ()
    chosen: tuple[int, ...] = ()
    for chosen in in_order(made, effective_windows(solve(made.free, made.error, 0.0).rest, data.session)):
        tried = _parts(made, chosen, data, own)
        if tried is not None:
            parts = tried
            break
    rest, by_power = made.error, np.zeros(data.error.size)
    if chosen:
        solved = solve(made.free[list(chosen)], made.error, 0.0)
        rest = solved.rest
        for k, value in zip(chosen, solved.beta, strict=True):
            by_power = by_power + (value * made.raw[k] if made.causes[k] in BY_POWER else 0.0)
    base = float(np.mean(made.error**2))
    return Fit(parts, 1 - float(np.mean(rest * rest)) / base if base > 0 else 0.0, rest, data, own, by_power, made.knot,
               made.raw[made.causes.index("bend")] if "bend" in made.causes else np.zeros(data.error.size))


def in_order(made: Columns, n_eff: float) -> list[tuple[int, ...]]:
    """Sets of causes, by places in the columns; first the one that leaves least for its number of causes.

    A zero in N m with a gain by cadence against it is nearly one in W: the two count as three.
    """
    cost = CAUSE_COST * math.log(max(n_eff, 3))
    sets = [(n_eff * math.log(_mean_square(made.free[list(chosen)], made.error) + made.floor**2)
             + cost * (count + ({made.causes[k] for k in chosen} >= TURNS)), chosen)
            for count in range(MOST_CAUSES + 1) for chosen in combinations(range(len(made.causes)), count)]
    return [chosen for _, chosen in sorted(sets)]


def _parts(made: Columns, chosen: tuple[int, ...], data: Frame, own: Gains) -> tuple[Part, ...] | None:
    """Parts of one set with what else was tried; None if one of them is not certain or not worth while."""
    if not chosen:
        return ()
    solved = solve(made.free[list(chosen)], made.error, made.floor)
    sizes = _sizes(made, made.free[list(chosen)], data)
    if sizes is None:
        return None
    strengths = [level_off(item) for item in sizes]
    scaled, differ = chosen[0] == 0, False
    if len(own.bounds) > 1:
        first = int(scaled)
        others = solved.beta[first:] @ made.raw[list(chosen[first:])] if len(chosen) > first else 0.0
        differ = gains_differ(own, data.error - others)
        if scaled:
            sizes[0], strengths[0] = scale_over_sessions(data, own, data.error - others, sizes[0])
    mean = float(data.power.mean())
    percents = [100 * math.sqrt(float(np.mean((item.value * made.raw[k]) ** 2))) / mean
                for item, k in zip(sizes, chosen, strict=True)]
    sure = [strength >= NAMED_STRENGTH and percent >= WORTHWHILE_PERCENT
            for strength, percent in zip(strengths, percents, strict=True)]
    # Where the scale differs between sessions, it is free in each: else another cause takes up what it does.
    if not all(sure[1:] if differ else sure) or (differ and not scaled):
        return None
    slope = sizes[0].value if scaled else 0.0
    left = float(np.mean(solved.rest**2))
    return tuple(Part(made.causes[k], made.shapes[k], of_reference(sizes[j], slope, scale=k == 0), percents[j],
                      strengths[j], _compared(made, chosen, j, left, data, own))
                 for j, k in enumerate(chosen) if sure[j])


def _sizes(made: Columns, rows: FloatArray, data: Frame) -> list[Estimate] | None:
    """Coefficients of rows (k, n) in the error; of long windows where no filter says how the two respond."""
    if data.answered:
        return regress(rows, made.error, made.floor)
    return in_long_windows(rows, made.error, data, made.floor)


def of_reference(item: Estimate, slope: float, *, scale: bool) -> Estimate:
    """From power = (reference + device)/2 to the reference: exact for a scale and an offset."""
    turn = 1 / (1 - slope / 2)
    factor = turn * turn if scale else turn
    half, value = t_quantile(0.95, item.df) * item.standard_error * factor, item.value * turn
    return replace(item, value=value, low=value - half, high=value + half, standard_error=item.standard_error * factor)


def _instead_of_a_drift(data: Frame, own: Gains, base: FloatArray, error: FloatArray) -> list[tuple[Cause, FloatArray]]:
    """The best step, and the best warm-up unless one was found already: columns (n,)."""
    rows: list[tuple[Cause, FloatArray | None]] = [("step", best_step(data, own, base, error))]
    if not any(fault.cause == "warm_up" for faults in data.slow for fault in faults):
        rows.append(("warm_up", best_warm_up(data, own, base, error)))
    return [(cause, row) for cause, row in rows if row is not None]


def _compared(made: Columns, chosen: tuple[int, ...], j: int, left: float, data: Frame, own: Gains) -> tuple[
        Compared, ...]:
    """Other causes in place of one, and beside it."""
    found = []
    if made.causes[chosen[j]] == "drift":
        others = made.free[[k for k in chosen if k != chosen[j]]]
        for cause, row in _instead_of_a_drift(data, own, others, made.error):
            both = _sizes(made, np.vstack([made.free[list(chosen)], row]), data)
            found.append(Compared(
                cause=cause, left=_mean_square(np.vstack([others, row]), made.error) / max(left, made.floor**2),
                apart=level_off(both[j]) if both else 0.0, too=level_off(both[-1]) if both else 0.0))
    for other in sorted(set(range(len(made.causes))) - set(chosen)):
        if not any({made.causes[chosen[j]], made.causes[other]} <= family for family in FAMILIES):
            continue
        # At one power a gain by cadence is a zero error in N m with a scale against it.
        too = [0] if {made.causes[chosen[j]], made.causes[other]} == TURNS and 0 not in chosen else []
        swapped = [*chosen[:j], other, *chosen[j + 1:], *too]
        both = _sizes(made, made.free[[*chosen, other, *too]], data)
        found.append(Compared(
            cause=made.causes[other], left=_mean_square(made.free[swapped], made.error) / max(left, made.floor**2),
            apart=level_off(both[j]) if both else 0.0, too=level_off(both[len(chosen)]) if both else 0.0))
    return tuple(found)
