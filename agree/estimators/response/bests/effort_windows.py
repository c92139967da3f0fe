"""Means over windows of consecutive seconds, how far errors move them, and what choosing the best adds."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.engine import spread

ENOUGH = 16        # windows side by side from which on their own means tell how far errors move a window
BLOCK_S = 300      # errors are drawn in blocks of so many seconds, or an eighth of the recording if that is less
BLOCKS = 8
DRAWS = 100
SEED = 8191
LINE_S = 30        # s of the means that the straight line goes through
ROUNDS = 4         # of reweighting


class Errors(NamedTuple):
    """Errors about the straight line and what it foretells, second by second: NaN where unknown, 0 in coasting."""

    left: FloatArray
    foretold: FloatArray
    riding: NDArray[np.bool_]
    error: float       # standard error of the mean of `left`
    df: float
    drift: bool
    riders: int        # seconds in which not both coast
    turn: float = 0.0      # standard error of the line's slope
    centre: float = 0.0    # mean power, at which the slope does not matter


class Growth(NamedTuple):
    """Squared errors of means over windows as A + B power^2: both, which are free, and their influences."""

    unit: float
    part: FloatArray
    active: NDArray[np.bool_]
    influence: FloatArray


class Spreading(NamedTuple):
    """Variance of the error of a window's mean, and its degrees of freedom."""

    variance: float
    df: float


def means(values: FloatArray, duration: int) -> FloatArray:
    """Mean of each window of consecutive seconds, (n - duration + 1,); NaN if any is unknown."""
    known = np.isfinite(values)
    middle = float(values[known].mean()) if known.any() else 0.0
    total = np.r_[0.0, np.cumsum(np.where(known, values - middle, 0))]
    whole = _whole(known, duration)
    result: FloatArray = np.where(whole, (total[duration:] - total[:-duration]) / duration + middle, np.nan)
    return result


def _whole(known: NDArray[np.bool_], duration: int) -> NDArray[np.bool_]:
    count = np.r_[0, np.cumsum(known)]
    result: NDArray[np.bool_] = count[duration:] - count[:-duration] == duration
    return result


def _missing(whole: NDArray[np.bool_]) -> tuple[slice, FloatArray | None]:
    """Return the windows from the first whole one to the last, and -inf for those between that are not, if any."""
    at = np.flatnonzero(whole)
    inner = slice(int(at[0]), int(at[-1]) + 1)
    return inner, None if whole[inner].all() else np.where(whole[inner], 0.0, -np.inf)


def longest_run(known: NDArray[np.bool_]) -> int:
    """Length of the longest run of True."""
    change = np.flatnonzero(np.diff(np.r_[False, known, False].astype(np.int8)))
    return int((change[1::2] - change[::2]).max(initial=0))


def errors(reference: FloatArray, device: FloatArray) -> Errors:
    """Part the errors by a straight line on the reference, over the seconds in which not both are 0.

    Its slope is that through means of 30 s: from second to second a device that averages, or a noisy reference, would
    turn it, and power itself would pass for error.
    """
    riding = np.isfinite(reference) & np.isfinite(device) & ~((reference == 0) & (device == 0))
    x, e = reference[riding], (device - reference)[riding]
    blocks = x.size // LINE_S
    rows = (x, e) if blocks < BLOCKS else (column[:blocks * LINE_S].reshape(blocks, LINE_S).mean(axis=1)
                                           for column in (x, e))
    slow, moved = (row - row.mean() for row in rows)
    square = float(slow @ slow)
    slope = float(slow @ moved) / square if square > 0 else 0.0
    left = e - e.mean() - slope * (x - x.mean())
    turn = spread(slow * (moved - slope * slow), "serial", cautious=True).standard_error * slow.size
    result = spread(left, "serial", cautious=True)
    both = np.isfinite(reference) & np.isfinite(device)
    seconds = np.where(both, 0.0, np.nan), np.where(both, 0.0, np.nan)
    seconds[0][riding], seconds[1][riding] = left, x + e.mean() + slope * (x - x.mean())
    return Errors(*seconds, riding, result.standard_error, result.df, result.drift, x.size,
                  turn / square if square > 0 else 0.0, float(x.mean()))


def spreading(found: Errors, reference: FloatArray, duration: int, power: float) -> Spreading:
    """How far errors move the mean of a window of a given mean power.

    With many windows in the recording: A + B power^2, both at least 0, by weighted least squares of the squared window
    means of the errors on squared power; degrees of freedom 2 (V/se(V))^2 from the serial standard error of that V, and
    what the line took out, in level and in slope, added. With few: the long-run variance of the errors over the
    duration, 8 degrees of freedom.
    """
    return spreading_by_power(found, reference, duration)(power)


def spreading_by_power(found: Errors, reference: FloatArray, duration: int) -> Callable[[float], Spreading]:
    """Return `spreading` as a function of power: what all powers share is computed once."""
    made = growth(found, reference, duration)
    if made is None:
        return lambda power: Spreading(found.error**2 * found.riders / duration, found.df)

    def at_power(power: float) -> Spreading:
        at = np.array([1.0, power**2 / made.unit])[made.active]
        value = float(at @ made.part[made.active])
        error = spread(at @ made.influence, "serial").standard_error
        df = 2 * (value / error) ** 2 if error > 0 else math.inf
        value += 2 * (found.turn * (power - found.centre))**2
        return Spreading(value + 2 * found.error**2, min(max(df, 2.0), 1e6))

    return at_power


def growth(found: Errors, reference: FloatArray, duration: int) -> Growth | None:
    """How squared means of the errors over windows grow with power; None with too few windows to tell."""
    if found.riders < ENOUGH * duration or not found.error > 0:
        return None
    level, moved = means(reference, duration), means(found.left, duration)
    good = np.isfinite(moved)
    ridden = good & np.isfinite(means(np.where(found.riding, 0.0, np.nan), duration))
    good = ridden if ridden.sum() >= good.sum() / 4 else good  # coasting has no error, and would make it seem to grow
    square, p = moved[good]**2, level[good]**2
    unit = float(p.mean()) or 1.0
    rows = np.stack([np.ones(p.size), p / unit])
    expected = np.full(p.size, float(square.mean()))
    for _ in range(ROUNDS):
        w = expected**-2.0 if expected.min() > 0 else np.ones(p.size)
        part, active = _two(rows, square, w)
        expected = part @ rows
    normal = (rows[active] * w) @ rows[active].T / p.size
    phi = np.linalg.pinv(normal) @ (rows[active] * w * (square - expected))
    return Growth(unit, part, active, phi)


def _two(rows: FloatArray, square: FloatArray, w: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Weighted least squares with two coefficients of at least 0, and which of them are not held at 0."""
    normal, right = (rows * w) @ rows.T, (rows * w) @ square
    both = np.linalg.pinv(normal) @ right
    if (both > 0).all():
        return both, np.ones(2, bool)
    alone = right / np.diag(normal)
    keep = np.arange(2) == int(np.argmax(alone * right))
    return np.where(keep, alone, 0.0), keep


def selection(found: Errors, reference: FloatArray, durations: list[int]) -> list[float]:
    """By how much the best of means with errors is above the best without, on average, for each duration.

    Errors in units of their SD at that power, drawn in blocks with replacement, are put on what the line foretells.
    """
    known = np.isfinite(found.left)
    low, high = (item.variance for item in map(spreading_by_power(found, reference, 1), (0.0, 1.0)))
    sd = np.sqrt(np.maximum(low + (high - low) * reference[known]**2, 0)) * found.riding[known]
    z = np.divide(found.left[known], sd, out=np.zeros(sd.size), where=sd > 0)
    block = max(min(BLOCK_S, sd.size // BLOCKS), 1)
    starts = np.random.default_rng(SEED).integers(sd.size, size=(DRAWS, math.ceil(sd.size / block)))
    whole = [(one, _missing(_whole(known, one))) for one in durations]
    total, best = np.zeros(known.size + 1), np.empty((len(durations), DRAWS + 1))
    place, foretold, round_z = np.flatnonzero(known) + 1, found.foretold[known], np.r_[z, z[:block]]
    drawn, moved = np.zeros(known.size + 1), np.empty(known.size)
    for k in range(DRAWS + 1):  # one by one: all at once, a ride of 200,000 s took 800 MB
        if k:
            errors = np.concatenate([round_z[start:start + block] for start in starts[k - 1]])[:sd.size]
            drawn[place] = foretold + sd * errors
        else:
            drawn[place] = foretold
        np.cumsum(drawn, out=total)
        for row, (one, (at, never)) in enumerate(whole):
            apart = np.subtract(total[one:][at], total[:-one][at], out=moved[:at.stop - at.start])
            best[row, k] = (apart if never is None else np.add(apart, never, out=apart)).max() / one
    return [max(float(item[1:].mean() - item[0]), 0.0) for item in best]
