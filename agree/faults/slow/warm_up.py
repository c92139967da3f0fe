"""A warm-up: an error that is largest at the start and settles, straight or dying away."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import WARM_COURSE_GAIN, WARM_SHARE, WARM_T
from agree.faults.slow.coefficient import Size, coefficient
from agree.faults.slow.steady_ride import Ride, Warm

SETTLE_S = (360.0, 480.0, 600.0, 750.0, 900.0, 1200.0, 1500.0, 1800.0)  # ends of a warm-up that are tried
SETTLED = 3.0             # time constants after which 5 % are left: the end, where it dies away


def course(t: FloatArray, end: float, *, straight: bool) -> tuple[FloatArray, FloatArray]:
    """Course of a warm-up over seconds since its start, 1 at its start; and its change with the end, 1/s."""
    if straight:
        return np.maximum(1 - t / end, 0.0), np.where(t < end, t / end**2, 0.0)
    decay = np.exp(-SETTLED * t / end)
    return decay, decay * SETTLED * t / end**2


def _courses(ride: Ride) -> Iterator[Warm]:
    """Warm-ups that are over in half of the ride: straight or dying away, in W or in proportion to power."""
    for end in (end for end in SETTLE_S if 2 * end <= ride.seconds[-1]):
        for straight in (False, True):
            shape, slope = course(ride.seconds, end, straight=straight)
            for power in (None, ride.power / float(ride.power.mean())):
                times = 1.0 if power is None else power
                other = course(ride.seconds, end, straight=not straight)[0] * times
                yield Warm(shape * times, slope * times, other, end, power is not None, straight)


class Tried(NamedTuple):
    """A course beside a base: the reduction of the sum of squares, and its size, W."""

    gain: float
    value: float
    warm: Warm


def _tried(ride: Ride, base: FloatArray) -> list[Tried]:
    """All courses beside a base."""
    basis, _ = np.linalg.qr(base.T)
    rest = ride.error - basis @ (basis.T @ ride.error)
    made = []
    for warm in _courses(ride):
        free = warm.shape - basis @ (basis.T @ warm.shape)
        square, value = float(free @ free), float(free @ rest)
        made.append(Tried(value**2 / square, value / square, warm))
    return made


def best_course(ride: Ride) -> Warm | None:
    """Course that fits best, certain or not; None of a ride too short for any."""
    tried = _tried(ride, ride.base(waves=True))
    return max(tried, key=lambda one: one.gain).warm if tried else None


def with_warm_up(ride: Ride) -> Ride:
    """Find the best of the warm-ups that are over in half of the ride, if it is certain."""
    ride = replace(ride, warm=None)
    base = ride.base(waves=False)
    tried = _tried(ride, base)
    if not tried:
        return ride
    best = max(tried, key=lambda one: one.gain)
    size = coefficient(best.warm.shape, base, ride.error)
    if size.t < WARM_T or abs(size.value) < WARM_SHARE * float(ride.power.mean()):
        return ride
    like = [one.value for one in tried if one.gain >= best.gain * (1 - WARM_COURSE_GAIN / size.t**2)]
    return replace(ride, warm=best.warm, warm_size=Size(size.value, math.hypot(size.se, np.ptp(like) / 2)))


def end_of(ride: Ride, warm: Warm, size: Size) -> Size:
    """When a warm-up is over, s since its start: one step of Gauss and Newton from the nearest end tried."""
    turn = coefficient(warm.slope, np.vstack([replace(ride, warm=None).base(waves=False), warm.shape]), ride.error)
    end = warm.end + min(max(turn.value / size.value, -warm.end / 4), warm.end / 4)
    return Size(end, turn.se / abs(size.value))
