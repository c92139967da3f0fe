"""Steady pedalling of a pair: what slow faults are looked for in, whole and in pieces of bounded length."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import CADENCE_RANGE, SLOW_LEAST_S, STEP_LASTING_S, STEP_WAVE_S
from agree.faults.slow.coefficient import Size

BESIDE_S = 4              # s beside a coasting in which filters of a few seconds smear
SMOOTH_S = 61             # s of pedalling over which slow power is averaged
SLOWING = 3.0             # time constants over which a drift that slows is looked at
COAST_S = 3               # s of both at 0, or of a gap, after which a step may come
ELSEWHERE_S = 30          # s of pedalling between places without a rest at which a step is tried
KNOWN_SHARE = 0.8         # of the seconds that must have a cadence for torque to be used
TURN = 2 * math.pi / 60   # rad/s per rev/min
# A long ride is searched in pieces, so that time and memory grow with its length only. What bears on a step lies
# within about one period of the fastest cosine beside it, so the neighbours are seen for that.
PIECE_S, OVERLAP_S = 10_800, 3_600

Shape = Literal["N m", "W", "%"]
Mask = NDArray[np.bool_]


class Warm(NamedTuple):
    """Course of a warm-up, 1 at its start; its change with the end; the other of the two courses, with the same end.

    Then the end, s; whether it is of power; whether it is straight.
    """

    shape: FloatArray
    slope: FloatArray
    other: FloatArray
    end: float
    of_power: bool
    straight: bool


@dataclass(frozen=True, slots=True)
class Ride:
    """Seconds of steady pedalling, (n,) each, and what was found in them so far."""

    place: NDArray[np.intp]     # in the pairs
    seconds: FloatArray         # since the first of them
    error: FloatArray
    power: FloatArray           # slow part of the mean of both
    fast: FloatArray            # the rest of it
    change: FloatArray          # W/s
    turning: FloatArray | None  # rad/s where the cadence is known
    tried: NDArray[np.intp]     # first second of pedalling after each place at which a step is tried
    moments: NDArray[np.intp]   # that place, in the pairs: the end of a coasting, or the second itself
    rested: Mask                # whether it is the end of a coasting
    shape: Shape = "W"          # of steps
    lean: bool = False          # no other slow change is allowed for beside a step
    steps: tuple[int, ...] = field(default=())
    warm: Warm | None = None
    warm_size: Size | None = None   # in W at mean power; with what courses differ that fit about as well

    def power_rows(self) -> FloatArray:
        """All that the error may owe to power (scale by fast and slow power, a bend, a delay), and a drift, W or %.

        Where the cadence varies, also what it may owe to that: an offset in N m and a gain by cadence.
        """
        part = self.power / float(self.power.mean()) - 1
        rows = np.stack([np.ones(self.place.size), part, self.fast, part**2, self.change, *self._turns(), self.seconds,
                         self.seconds * self.power])
        scaled: FloatArray = rows / np.abs(rows).max(axis=1, keepdims=True).clip(1e-300)
        return scaled

    def rows_of_level(self) -> list[int]:
        """Places in the base of what changes with the level of power and with cadence; also a drift of power."""
        turns = len(self._turns())
        return [1, 3, *range(5, 5 + turns), *(() if self.lean else (6 + turns,))]

    def _turns(self) -> tuple[FloatArray, ...]:
        if self.turning is None:
            return ()
        low, high = np.percentile(self.turning, (5, 95))
        apart = self.turning - self.turning.mean()
        return (apart, self.power * apart) if high >= CADENCE_RANGE * low else ()

    def unit(self) -> FloatArray:
        """Shape of a step of 1 N m, of 1 W, or of as many per cent as are 1 W at mean power, fast changes included.

        A cadence goes along with fast changes: without them a step of the scale is like one of torque in sprints.
        """
        if self.shape == "N m" and self.turning is not None:
            return self.turning
        whole = self.power + self.fast
        return whole / float(self.power.mean()) if self.shape == "%" else np.ones(self.error.size)

    def step_row(self, place: int) -> FloatArray:
        """Row of a step from a place on."""
        row = self.unit().copy()
        row[:place] = 0.0
        return row

    def waves(self) -> FloatArray:
        """Slow cosines that stand for any other change."""
        n = self.error.size
        phase = np.pi * (np.arange(n) + 0.5) / n
        return np.stack([np.cos(j * phase) for j in range(1, math.ceil(2 * n / STEP_WAVE_S) + 1)])

    def other_changes(self) -> FloatArray:
        """A drift, in W and of power, and slow cosines: what a lean search leaves out."""
        return np.vstack([self.power_rows()[-2:], self.waves()])

    def drifts(self) -> FloatArray:
        """Drifts over the whole of it, in W and of power: straight, and one that slows to a twentieth of its pace."""
        courses = [self.seconds, 1 - np.exp(-SLOWING * self.seconds / self.seconds[-1])]
        return np.stack([row for course in courses for row in (course, course * self.power)])

    def base(self, *, waves: bool) -> FloatArray:
        """Rows that explain the error besides what is looked for."""
        rows = [self.power_rows()[:-2] if waves and self.lean else self.power_rows()]
        if waves and not self.lean:
            rows.append(self.waves())
        if self.warm is not None:
            # With its change with the end, and the other course, so that one that is not quite right makes no step.
            rows.append(np.stack([self.warm.shape, self.warm.slope * self.warm.end, self.warm.other]))
        return np.vstack([*rows, *(self.step_row(place)[None] for place in self.steps)])


def steady_ride(x: FloatArray, y: FloatArray, time: FloatArray, used: Mask, cadence: FloatArray | None) -> Ride | None:
    """Seconds in which both pedal, and not beside a coasting; None if they are too few."""
    pedals = used & (x > 0) & (y > 0)
    place = np.flatnonzero(ndimage.binary_erosion(pedals, np.ones(2 * BESIDE_S + 1), border_value=1))
    if place.size < SLOW_LEAST_S:
        return None
    both = (x + y) / 2
    power = both[place]
    slow = ndimage.uniform_filter1d(power, SMOOTH_S, mode="nearest")
    turning = None
    if cadence is not None:
        known = np.isfinite(cadence[place]) & (cadence[place] > 0)
        if known.mean() > KNOWN_SHARE:
            turning = TURN * np.where(known, cadence[place], np.median(cadence[place][known]))
    rest = np.isnan(x) | np.isnan(y) | ((x == 0) & (y == 0))
    ends = np.array([stop for _, stop in runs(rest, COAST_S)], dtype=np.intp)
    ends = np.union1d(ends, 1 + np.flatnonzero(np.diff(time) > COAST_S))
    tried, moments, rested = _places(np.searchsorted(place, ends), ends, place)
    return Ride(place, time[place] - time[place[0]], (y - x)[place], slow, power - slow, np.gradient(both)[place],
                turning, tried, moments, rested)


def _places(coasts: NDArray[np.intp], ends: NDArray[np.intp], place: NDArray[np.intp]) -> tuple[
        NDArray[np.intp], NDArray[np.intp], Mask]:
    """Ends of coasting, and places at equal distances between them, that leave enough on either side."""
    inside = (coasts >= STEP_LASTING_S) & (coasts <= place.size - STEP_LASTING_S)
    coasts, first = np.unique(coasts[inside], return_index=True)
    ends = ends[inside][first]
    grid = np.arange(STEP_LASTING_S, place.size - STEP_LASTING_S + 1, ELSEWHERE_S)
    near = np.searchsorted(coasts, grid - ELSEWHERE_S // 2) < np.searchsorted(coasts, grid + ELSEWHERE_S // 2)
    grid = grid[~near]
    tried = np.r_[coasts, grid]
    order = np.argsort(tried, kind="stable")
    rested = np.r_[np.ones(coasts.size, bool), np.zeros(grid.size, bool)]
    return tried[order], np.r_[ends, place[grid]][order], rested[order]


class Piece(NamedTuple):
    """Part of a ride: the ride itself, where it begins, and the places whose steps are its own."""

    ride: Ride
    start: int
    own: range


def pieces(ride: Ride) -> Iterator[Piece]:
    """Parts of about three hours of pedalling, each seen with an hour of its neighbours."""
    n = ride.place.size
    count = max(1, math.ceil((n - OVERLAP_S) / PIECE_S))
    edges = np.linspace(0, n, count + 1).astype(int)
    for low, high in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        start, stop = max(0, low - OVERLAP_S), min(n, high + OVERLAP_S)
        span = slice(start, stop)
        inside = (ride.tried >= start + STEP_LASTING_S) & (ride.tried <= stop - STEP_LASTING_S)
        part = replace(
            ride, place=ride.place[span], seconds=ride.seconds[span] - ride.seconds[start], error=ride.error[span],
            power=ride.power[span], fast=ride.fast[span], change=ride.change[span],
            turning=None if ride.turning is None else ride.turning[span], tried=ride.tried[inside] - start,
            moments=ride.moments[inside], rested=ride.rested[inside])
        yield Piece(part, start, range(low, high))
