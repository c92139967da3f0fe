"""Causes that show in window means: which set of them fits the error, and what else would."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.engine import estimate, t_quantile
from agree.core.estimate import Estimate
from agree.diagnosis.frame import Frame, frame, spread_ratio
from agree.verdict.columns import Table

LEAST_WINDOWS = 20        # below, causes are not told apart
NAMED_STRENGTH = 0.99     # level of the interval that must miss 0 for a cause to be named
HINT_STRENGTH = 0.9       # level from which scale or offset may be there too
APART_STRENGTH = 0.9      # level at which a cause must fit better than another to exclude it
WORTHWHILE_PERCENT = 0.3  # least size of a cause: RMS of its part in window means, per cent of mean power
POWER_RANGE = 1.5         # 95th over 5th percentile of power, below which scale and offset look alike
CADENCE_RANGE = 1.1       # the same for cadence, W and N m
LEAST_WARMTH = 2.0        # range of temperature, degrees C
STEP_WINDOWS = 10         # least windows on either side of a step
STEP_COST = 3.0           # a step's place is searched for: it must gain as much as 3 constants
MOST_CAUSES = 4
FAMILIES = ({"scale", "offset", "torque"}, {"drift", "step", "temperature"})  # causes that may look alike
FLOOR = 1e-4              # of mean power: scatter below this is rounding, not evidence


class Rival(NamedTuple):
    """Another cause in place of one, or beside it."""

    left: float                 # mean square it leaves in its place, over that of the set
    apart: float                # level at which the cause is still needed with the other beside it
    too: float                  # level of the other beside it


class Part(NamedTuple):
    """One cause of the fitting set."""

    name: str
    shape: str                  # "W", "%" or "N m"
    coefficient: Estimate       # in W, N m or as a fraction; per hour or degree for drift and temperature
    percent: float              # RMS of its part, per cent of mean power
    strength: float
    rivals: dict[str, Rival]


@dataclass(frozen=True, slots=True)
class Fit:
    """The fitting set of causes, and the data it rests on."""

    parts: tuple[Part, ...]
    explained: float            # share of the mean square of window errors
    residual: FloatArray
    frame: Frame
    step: int                   # first window after the likeliest step


class Columns(NamedTuple):
    """Candidate columns, (k, n), their names and shapes; the first `fixed` rows belong to every set."""

    rows: FloatArray
    names: tuple[str, ...]
    shapes: tuple[str, ...]
    fixed: int
    step: int


def level_off(item: Estimate) -> float:
    """Level of the symmetric t interval that just reaches 0."""
    if not item.standard_error > 0:
        return float(item.value != 0)
    return float(2 * special.stdtr(item.df, abs(item.value) / item.standard_error) - 1)


def _free(columns: FloatArray, base: FloatArray) -> FloatArray:
    """Columns (k, n) without what the base rows explain."""
    basis, _ = np.linalg.qr(base.T)
    free: FloatArray = columns - (columns @ basis) @ basis.T
    return free


def _gain(columns: FloatArray, error: FloatArray) -> FloatArray:
    """Reduction of the sum of squares by each column, all free of the base."""
    square = np.einsum("ij,ij->i", columns, columns)
    gain: FloatArray = np.where(square > 0, (columns @ error) ** 2 / np.where(square > 0, square, 1), 0)
    return gain


def columns(data: Frame) -> Columns:
    """Candidates: scale, offset, N m, drift, temperature and the likeliest step, the last three in W or in %."""
    one, power = np.ones(data.error.size), data.power
    sessions = int(data.session.max()) + 1
    # Differences between sessions are a matter of their own: each further session has a gain of its own.
    inside = (data.session[None] == np.arange(1, sessions)[:, None]).astype(float)
    own = power * (inside - inside.mean(axis=1, keepdims=True))
    rows, names, shapes = [power], ["scale"], ["%"]
    narrow = spread_ratio(data.power) < POWER_RANGE
    if not narrow:
        rows, names, shapes = [power, one], ["scale", "offset"], ["%", "W"]
    if data.turning is not None and spread_ratio(data.turning) >= CADENCE_RANGE:
        rows, names, shapes = [*rows, data.turning], [*names, "torque"], [*shapes, "N m"]
    base = np.vstack([own, *rows, one]) if narrow else np.vstack([own, *rows])
    error = _free(data.error[None], base)[0]
    # From the start of each session, where a device is set to zero: a drift alone is then one cause, without an offset.
    trends = [("drift", data.hours)]
    if data.warmth is not None and np.ptp(data.warmth) >= LEAST_WARMTH:
        trends.append(("temperature", data.warmth - data.warmth[np.searchsorted(data.session, data.session)]))
    for name, trend in trends:
        both = np.stack((trend, trend * power))
        best = int(_gain(_free(both, base), error).argmax())
        rows, names, shapes = [*rows, both[best]], [*names, name], [*shapes, ("W", "%")[best]]
    place, step, shape = _step(data, base, error)
    if place:
        rows, names, shapes = [*rows, step], [*names, "step"], [*shapes, shape]
    return Columns(np.vstack([own, *rows]), tuple(names), tuple(shapes), sessions - 1, place)


def _step(data: Frame, base: FloatArray, error: FloatArray) -> tuple[int, FloatArray, str]:
    """Likeliest change point within a session, of the error in W or in per cent."""
    n = data.error.size
    index = np.arange(n)
    begin = np.searchsorted(data.session, data.session)
    end = np.searchsorted(data.session, data.session, side="right")
    places = index[(index - begin >= STEP_WINDOWS) & (end - index >= STEP_WINDOWS)]
    if not places.size:
        return 0, error, ""
    after = ((index[None] >= places[:, None]) & (data.session[None] == data.session[places][:, None])).astype(float)
    gains = np.stack([_gain(_free(rows, base), error) for rows in (after, after * data.power)])
    shape, row = np.unravel_index(int(gains.argmax()), gains.shape)
    step = after[row] * (data.power if shape else 1)
    return int(places[row]), step, ("W", "%")[int(shape)]


class Solved(NamedTuple):
    """Coefficients (k,), residual (n,), influences (k, n), and the standard errors rounding alone may give (k,)."""

    beta: FloatArray
    rest: FloatArray
    phi: FloatArray
    rounding: FloatArray


def solve(rows: FloatArray, error: FloatArray, floor: float) -> Solved:
    """Least squares; `floor` is the scatter of window means, W, below which there is rounding and no evidence.

    Where a cause explains the error exactly, what is left is the residue of the arithmetic, which differs from
    processor to processor and may point anywhere. Scatter of `floor` in every window would give coefficients the
    variances floor^2 [(R R^T)^-1]_jj; they are added to those found.
    """
    size = np.sqrt(np.mean(rows * rows, axis=1, keepdims=True))
    unit = rows / size
    inverse = np.linalg.pinv(unit @ unit.T / error.size)
    beta = inverse @ unit @ error / error.size
    rest = error - beta @ unit
    rounding = floor * np.sqrt(np.diag(inverse).clip(0) / error.size) / size[:, 0]
    return Solved(beta / size[:, 0], rest, inverse @ unit * rest / size, rounding)


def coefficients(made: Solved) -> list[Estimate]:
    """Coefficients with serial intervals that rounding cannot make narrow."""
    found = []
    for value, row, rounding in zip(made.beta, made.phi, made.rounding, strict=True):
        item = estimate(float(value), row, level=0.95, sampling="serial")
        error = math.hypot(item.standard_error, float(rounding))
        half = t_quantile(0.95, item.df) * error
        found.append(replace(item, low=item.value - half, high=item.value + half, standard_error=error))
    return found


def regress(rows: FloatArray, error: FloatArray, floor: float) -> list[Estimate]:
    """Coefficients of rows (k, n) with serial intervals."""
    return coefficients(solve(rows, error, floor))


def _mean_square(rows: FloatArray, error: FloatArray) -> float:
    if not rows.size:
        return float(np.mean(error * error))
    rest = solve(rows, error, 0.0).rest
    return float(np.mean(rest * rest))


def effective_windows(residual: FloatArray, session: NDArray[np.intp]) -> float:
    """Return n (1 - r)/(1 + r), with r the correlation of neighbouring windows, 0 to 0.9."""
    same = session[1:] == session[:-1]
    square = float(residual @ residual)
    r = float(residual[1:][same] @ residual[:-1][same]) / square if square > 0 else 0.0
    r = min(max(r, 0.0), 0.9)
    return residual.size * (1 - r) / (1 + r)


def fit(table: Table) -> Fit | None:
    """Find the set of causes that fits the error of window means; None where windows are too few.

    Sets of up to 4 causes are ordered by n_eff ln(mean square left) + 2 ln(n_eff) for each cause (3 times as much
    for a step); the first is taken in which every cause has an interval (engine, serial) that misses 0 at the
    level 0.99 and a part of at least 0.3 % of mean power. The power is that of both, (reference + device)/2, which
    suits errors of about equal size in both.
    """
    data = frame(table)
    n = data.error.size
    if n < LEAST_WINDOWS or not data.power.mean() > 0:
        return None
    made = columns(data)
    fixed, error = made.fixed, data.error
    mean = float(data.power.mean())
    n_eff = effective_windows(solve(made.rows, error, 0.0).rest, data.session)
    costs = 2 * math.log(max(n_eff, 3)) * np.array([STEP_COST if name == "step" else 1.0 for name in made.names])
    sets = []
    for count in range(MOST_CAUSES + 1):
        for chosen in combinations(range(len(made.names)), count):
            left = _mean_square(made.rows[[*range(fixed), *(fixed + k for k in chosen)]], error) + (FLOOR * mean) ** 2
            sets.append((n_eff * math.log(left) + float(costs[list(chosen)].sum()), chosen))
    for _, chosen in sorted(sets):
        parts = _parts(made, chosen, data, mean)
        if parts is not None:
            break
    rows = made.rows[[*range(fixed), *(fixed + k for k in chosen)]]
    rest = solve(rows, error, 0.0).rest if rows.size else error
    base = _mean_square(made.rows[:fixed], error)
    return Fit(tuple(parts or ()), 1 - float(np.mean(rest * rest)) / base if base > 0 else 0.0, rest, data,
               made.step)


def _parts(made: Columns, chosen: tuple[int, ...], data: Frame, mean: float) -> list[Part] | None:
    """Parts of one set with their rivals; None if one of them is not certain or not worth while."""
    if not chosen:
        return []
    fixed, error = made.fixed, data.error
    place = [*range(fixed), *(fixed + k for k in chosen)]
    solved = solve(made.rows[place], error, FLOOR * mean)
    beta, rest, sizes = solved.beta, solved.rest, coefficients(solved)
    slope = float(beta[fixed + chosen.index(0)]) if 0 in chosen else 0.0
    # From power = (reference + device)/2 to the reference: exact for a scale and an offset.
    turn = 1 / (1 - slope / 2)
    parts = []
    for j, k in enumerate(chosen, fixed):
        item = sizes[j]
        strength = level_off(item)
        own = beta[j] * made.rows[fixed + k]
        percent = 100 * math.sqrt(float(np.mean(own * own))) / mean
        if strength < NAMED_STRENGTH or percent < WORTHWHILE_PERCENT:
            return None
        factor = turn * turn if k == 0 else turn
        half, value = t_quantile(0.95, item.df) * item.standard_error * factor, item.value * turn
        shown = replace(item, value=value, low=value - half, high=value + half,
                        standard_error=item.standard_error * factor)
        parts.append(Part(made.names[k], made.shapes[k], shown, percent, strength, {}))
    for j, k in enumerate(chosen):
        for other in set(range(len(made.names))) - set(chosen):
            if any({made.names[k], made.names[other]} <= family for family in FAMILIES):
                swapped = [*place[:fixed + j], fixed + other, *place[fixed + j + 1:]]
                left = _mean_square(made.rows[swapped], error)
                both = regress(made.rows[[*place, fixed + other]], error, FLOOR * mean)
                still, too = both[fixed + j], both[len(place)]
                ratio = left / max(float(np.mean(rest * rest)), (FLOOR * mean) ** 2)
                parts[j].rivals[made.names[other]] = Rival(ratio, level_off(still), level_off(too))
    return parts
