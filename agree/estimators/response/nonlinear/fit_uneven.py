"""The two time constants of a lag that is slower one way, found in time, and a cheap look at whether there are two."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import UNEVEN_LEFT, UNEVEN_RATIO, UNEVEN_SCREEN, UNEVEN_SCREEN_T, WORKING_W
from agree.estimators.response.nonlinear.uneven import PIECE_S, Uneven
from agree.estimators.response.simplex import lowest

MOST_PIECES = 256     # pieces of 128 s that are fitted: those with the largest changes
LEAD_S = 60           # s before each piece from which its state is worked out
MARGIN_S = 6          # s of delay about that of the even lag
LEAST_KNOWN = 0.3     # share of a piece that must be work
CLIP_SD = 4.0         # robust standard deviations, beyond which an error counts as one of this size: it may be a fault
NORMAL = 1.4826
SIZES_S = (0.15, 25.0)
STEP = 1e-3
# Standard errors of the delay, s, and of both constants, as a fraction of each, that rounding and pieces make.
OWN_ERROR = (0.01, 0.01, 0.01)
NOISE_ALLOWED = 1.5
ROUNDED_W = 0.5       # W: readings are whole numbers of W
START = 1.5           # ratio of either constant to that of the even lag, to begin with


class TwoConstants(NamedTuple):
    """The filter, its constants upwards and downwards, and the delay beside it, s, with intervals."""

    filter: Uneven
    up: Estimate
    down: Estimate
    delay: Estimate


def unevenness(made: FloatArray, smooth: FloatArray) -> tuple[float, float]:
    """How far errors go with the size of changes whichever way they go, s, and its t.

    A lag that is slower upwards is below the even one both when power rises and when it falls. The errors are
    regressed on abs(du/dt), du/dt and u, those beyond 6 robust standard deviations counting as such.
    """
    works = np.isfinite(made) & np.isfinite(smooth) & ((made > WORKING_W) | (smooth > WORKING_W))
    change = np.full(made.size, np.nan)
    change[1:-1] = (made[2:] - made[:-2]) / 2
    works &= np.isfinite(change)
    if works.sum() < PIECE_S:
        return 0.0, 0.0
    u, v, change = made[works], smooth[works], change[works]
    error = v - float(np.median(v[u > WORKING_W] / u[u > WORKING_W])) * u if (u > WORKING_W).any() else v - u
    limit = 1.5 * CLIP_SD * NORMAL * float(np.median(np.abs(error - np.median(error))))
    rows = np.stack([np.abs(change), change, u])
    error = np.clip(error, -limit, limit)
    gram = rows @ rows.T
    if np.linalg.cond(gram) > 1e12:
        return 0.0, 0.0
    found = np.linalg.solve(gram, rows @ error)
    rest = error - found @ rows
    se = math.sqrt(float(rest @ rest) / rest.size * float(np.linalg.inv(gram)[0, 0]))
    return float(found[0]), float(found[0]) / se if se > 0 else 0.0


def two_constants(sharp: FloatArray, smooth: FloatArray, made: FloatArray, size: float, delay: float) -> (
        TwoConstants | None):
    """Fit a lag with two constants, if errors of the even one say so and it leaves clearly less.

    Parameters
    ----------
    sharp, smooth : (n,) array, W
        The two traces on one grid of seconds, NaN where unknown.
    made : (n,) array, W
        What the best linear filter makes of the sharper one.
    size, delay : float
        Time constant and delay of the even lag like that filter, s.
    """
    slope, t = unevenness(made, smooth)
    if abs(slope) < UNEVEN_SCREEN or abs(t) < UNEVEN_SCREEN_T:
        return None
    data = _pieces(sharp, smooth, made, round(delay))
    if data is None:
        return None
    turn = START if slope < 0 else 1 / START
    at, clip = np.array([delay - round(delay), math.log(size * turn), math.log(size / turn), data.usual]), CLIP_SD * (
        data.sd(data.even))
    for near in (100.0, 1.0):  # the first fit only tells which errors are large
        at = lowest(partial(data.left, clip), at + np.vstack([np.zeros(4), np.diag([0.3, 0.2, -0.2, 0.02])]),
                    xtol=1e-4 * near, ftol=1e-9 * near**2, most=250)
        clip = CLIP_SD * data.sd(data.errors(at))
    up, down = math.exp(at[1]), math.exp(at[2])
    even = float(np.mean(np.minimum(np.square(data.even), clip**2)))
    if data.left(clip, at) > UNEVEN_LEFT * even or not max(up / down, down / up) >= UNEVEN_RATIO:
        return None
    late, *constants = _estimates(data, at, clip)
    late = replace(late, value=late.value + round(delay), low=late.low + round(delay), high=late.high + round(delay))
    return TwoConstants(Uneven(up, down, late.value), constants[0], constants[1], late)


class Pieces(NamedTuple):
    """Pieces of both traces: readings of the sharper one with a lead, and of the smoother one, (seconds, pieces).

    `even` holds the errors of the even lag at the seconds that are known.
    """

    sharp: FloatArray
    smooth: FloatArray
    even: FloatArray
    usual: float

    def errors(self, at: Sequence[float] | FloatArray) -> FloatArray:
        """Errors, W, in the order of time, at delay, logarithms of the constants up and down, and scale."""
        whole = math.floor(at[0])
        part, first = at[0] - whole, MARGIN_S - whole
        seconds = LEAD_S + PIECE_S
        late = (1 - part) * self.sharp[first:first + seconds] + part * self.sharp[first - 1:first - 1 + seconds]
        made = Uneven(math.exp(at[1]), math.exp(at[2]), 0.0).along(late)[LEAD_S:]
        errors = (self.smooth - at[3] * made).T
        errors = errors[np.isfinite(errors)]
        result: FloatArray = errors - np.median(errors)  # a zero that is off is no matter of speed
        return result

    def left(self, clip: float, at: Sequence[float] | FloatArray) -> float:
        """Mean square of errors, those beyond a limit counting as such; infinite where it is not allowed."""
        low, high = (math.log(size) for size in SIZES_S)
        if abs(at[0]) > MARGIN_S - 2 or not all(low <= one <= high for one in at[1:3]) or not at[3] > 0:
            return math.inf
        return float(np.mean(np.minimum(np.square(self.errors(at)), clip**2)))

    def sd(self, errors: FloatArray) -> float:
        """Robust standard deviation."""
        return max(NORMAL * float(np.median(np.abs(errors))), ROUNDED_W)


def _pieces(sharp: FloatArray, smooth: FloatArray, made: FloatArray, late: int) -> Pieces | None:
    """The pieces with the largest changes, those of seconds unknown in either left out."""
    known = np.isfinite(sharp)
    if not known.any():
        return None
    at = np.arange(sharp.size)
    whole = np.interp(at, at[known], sharp[known])
    start = np.arange(0, max(sharp.size - PIECE_S + 1, 0), PIECE_S)
    # A filter of this length knows where a gap is near; coasting tells nothing, and would pass for small errors.
    judged = np.where((made > WORKING_W) | (np.isfinite(made) & (smooth > WORKING_W)), smooth, np.nan)
    inside = start[:, None] + np.arange(PIECE_S)
    many = np.isfinite(judged)[inside].mean(axis=1) >= LEAST_KNOWN
    change = np.abs(np.diff(whole, append=whole[-1]))[inside].sum(axis=1)
    chosen = np.sort(np.flatnonzero(many)[np.argsort(-change[many], kind="stable")[:MOST_PIECES]])
    if not chosen.size:
        return None
    begin = start[chosen]
    rows = np.arange(-LEAD_S - MARGIN_S, PIECE_S + MARGIN_S + 1)[:, None] + begin - late
    own = np.arange(PIECE_S)[:, None] + begin
    works = (made > WORKING_W) & (smooth > WORKING_W)
    usual = float(np.median(smooth[works] / made[works])) if works.any() else 1.0
    even = (judged - usual * made)[own].T
    return Pieces(whole[np.clip(rows, 0, sharp.size - 1)], judged[own], even[np.isfinite(even)], usual)


def _estimates(data: Pieces, at: FloatArray, clip: float) -> list[Estimate]:
    """Delay and constants with intervals, from the least-squares influence of each second, large errors left out.

    Noise of the sharper trace makes both seem longer. As much again as the errors have, put into it, tells by how much:
    the intervals reach that far down, times `NOISE_ALLOWED`.
    """
    errors = data.errors(at)
    good = np.abs(errors) <= clip
    slopes = np.array([(data.errors(at - step) - data.errors(at + step)) / (2 * STEP)
                       for step in STEP * np.eye(4)])
    rows = np.where(good, slopes, 0.0)
    phi = errors.size * np.linalg.pinv(rows @ rows.T, rcond=1e-12) @ (rows * errors)
    noise = np.random.default_rng(0).standard_normal(data.sharp.shape) * data.sd(errors)
    more = data._replace(sharp=np.where(data.sharp > 0, np.maximum(data.sharp + noise, 0.0), data.sharp))
    there = lowest(partial(more.left, CLIP_SD * data.sd(more.errors(at))), at + np.vstack([np.zeros(4), np.diag(
        [0.1, 0.05, 0.05, 0.01])]), xtol=1e-3, ftol=1e-7, most=120)
    found = []
    for k, (value, unit, shifted) in enumerate(((at[0], 1.0, there[0]), *(
            (math.exp(at[k]), math.exp(at[k]), math.exp(there[k])) for k in (1, 2)))):
        made = estimate(value, unit * phi[k], level=0.95, sampling="serial")
        error = math.hypot(made.standard_error, OWN_ERROR[k] * unit)
        half = t_quantile(0.95, made.df) * error
        # Noise makes constants longer, and the delay what is left of it.
        below, above = (NOISE_ALLOWED * max(sign * (shifted - value), 0.0) for sign in (1, -1))
        low = value - half - below
        found.append(replace(made, low=max(low, 0.0) if k else low, high=value + half + (0.0 if k else above),
                             standard_error=error, method=f"{made.method}, noise of the sharper trace allowed for"))
    return found
