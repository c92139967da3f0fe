"""Lasting steps of the error: at the end of a coasting, where a device sets its zero, or anywhere else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    STEP_FREE_SHARE,
    STEP_LASTING_S,
    STEP_LEAST_W,
    STEP_PLACE_GAIN,
    STEP_T,
    STEP_T_ELSEWHERE,
)
from agree.faults.slow.coefficient import Beside, Size
from agree.faults.slow.steady_ride import Ride

MOST_STEPS = 12


def gains(ride: Ride, beside: Beside | None = None) -> FloatArray:
    """Reduction of the sum of squares by a step at each place tried; `beside` is from `beside_ride`, if it is known.

    0 too near to another step, and where power and cadence change with the step, so that they explain it but for a
    trifle: what is left of it, however certain, is how far their curves are from the true ones.
    """
    by_power, beside = ride.rows_of_level(), beside or beside_ride(ride)
    basis, rest = beside.basis, beside.rest
    unit = ride.unit()

    def after(values: FloatArray) -> FloatArray:
        total = np.cumsum(values[::-1])[::-1]
        found: FloatArray = total[ride.tried]
        return found

    whole = after(unit**2)
    taken = [after(unit * column) ** 2 for column in basis.T]
    alone = whole - sum(taken[:-len(by_power)])
    square = alone - sum(taken[-len(by_power):])
    told = (square > 1e-6 * whole) & (square > STEP_FREE_SHARE * alone)
    found: FloatArray = np.where(told, after(unit * rest) ** 2 / np.maximum(square, 1e-300), 0.0)
    for place in ride.steps:
        found[np.abs(ride.tried - place) < STEP_LASTING_S] = 0.0
    return found


def size_of(ride: Ride, place: int) -> Size:
    """Size of a step at a place, of a ride without it."""
    return beside_ride(ride).coefficient(ride.step_row(place))


def beside_ride(ride: Ride) -> Beside:
    """The error and all that explains it, what changes with the level of power last."""
    base, by_power = ride.base(waves=True), ride.rows_of_level()
    return Beside(np.vstack([np.delete(base, by_power, axis=0), base[by_power]]), ride.error)


def alike(ride: Ride, size: Size, found: FloatArray) -> np.ndarray:
    """Places that fit about as well as the best."""
    mask: np.ndarray = found >= found.max() * (1 - STEP_PLACE_GAIN / max(size.t, 2.0) ** 2)
    return mask


def _best(ride: Ride) -> int | None:
    """Place of the best step, if one is certain: the end of a coasting, unless another place fits clearly better."""
    if not ride.tried.size:
        return None
    beside = beside_ride(ride)
    found = gains(ride, beside)
    if found.max() <= 0:
        return None
    place = int(ride.tried[found.argmax()])
    size = beside.coefficient(ride.step_row(place))
    rested = ride.rested & (found > 0)
    if not (rested & alike(ride, size, found)).any():
        if _certain(ride, size, STEP_T_ELSEWHERE):
            return place
        if not rested.any():
            return None
    place = int(ride.tried[np.where(rested, found, -1.0).argmax()])
    return place if _certain(ride, beside.coefficient(ride.step_row(place)), STEP_T) else None


def _certain(ride: Ride, size: Size, least: float) -> bool:
    return size.t >= least and abs(size.value) * float(ride.unit().mean()) >= STEP_LEAST_W


def with_steps(ride: Ride) -> Ride:
    """Add the best step until one is not certain; then move each to where it fits best, and drop what is not needed."""
    ride = replace(ride, steps=())
    while len(ride.steps) < MOST_STEPS:
        best = _best(ride)
        if best is None:
            break
        ride = replace(ride, steps=tuple(sorted([*ride.steps, best])))
    for place in ride.steps:
        rest = replace(ride, steps=tuple(other for other in ride.steps if other != place))
        best = _best(rest)
        ride = rest if best is None else replace(rest, steps=tuple(sorted([*rest.steps, best])))
    return ride
