"""Recordings on 1-s grids, and one laid over the other."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree._check import FloatArray
from agree.errors import InputError, SampleSizeError
from agree.recordings.clock import MIN_OVERLAP_S, Fine
from agree.recordings.read import Recording

LONGEST_S = 7 * 86400
BINNED_S, LINEAR_S = 1.05, 2.5  # median intervals up to which seconds are binned, or filled between neighbours
WHOLE_S = 0.1  # a remaining shift below this is left alone


class Grid(NamedTuple):
    """A recording on a 1-s grid: timestamp of place 0, power, cadence, and what the reader must know of it."""

    first: float
    power: FloatArray
    cadence: FloatArray | None
    note: str = ""


class Overlap(NamedTuple):
    """The device on the reference's grid.

    `place` is the second of the reference, `nearest` and `other` the native seconds of the device it lies
    between, `share` (0 to 0.5) what it covers of the other, and `device` the reading there.
    """

    place: NDArray[np.int64]
    nearest: NDArray[np.int64]
    other: NDArray[np.int64]
    share: FloatArray
    device: FloatArray


def to_grid(recording: Recording, role: str) -> Grid:
    """Put a recording on a 1-s grid of means; a second without a reading is NaN.

    Raises
    ------
    InputError
        Readings more than 2.5 s apart by the median, or stamps that span more than 7 days.
    SampleSizeError
        Fewer than 60 power readings.
    """
    time, power, cadence = recording.time, recording.power, recording.cadence
    who = f"the {role} ({recording.name})"
    readings = int(np.isfinite(power).sum())
    if readings < MIN_OVERLAP_S:
        raise SampleSizeError(f"{who} holds {readings} power readings; at least {MIN_OVERLAP_S} are needed")
    if time[-1] - time[0] > LONGEST_S:
        raise InputError(f"{who} spans {(time[-1] - time[0]) / 86400:.1f} days, at most {LONGEST_S // 86400} are "
                         "allowed; look for a wrong timestamp, or cut the recording")
    steps = np.diff(time)
    steps = steps[steps > 0]
    step = float(np.median(steps)) if steps.size else 0.0
    if step > LINEAR_S:
        raise InputError(f"{who} has a reading every {step:.3g} s; one every second is needed, or every 2 s: set the "
                         "recorder to 1-s recording")
    if step > BINNED_S:
        at = time[0] + np.arange(math.floor(time[-1] - time[0]) + 1)
        return Grid(float(time[0]), _between(time, power, at), None if cadence is None else _between(time, cadence, at),
                    f"a reading every {step:.3g} s: the seconds between are interpolated")
    # Stamps a second apart may jitter: the seconds are centred on their usual phase, so that one that comes a
    # little early does not fall into the second before. Stamps closer than that are binned from the first on.
    if step > 0.6:
        start = float(np.angle(np.exp(2j * np.pi * (time % 1)).mean())) / (2 * np.pi) - 0.5
    else:
        start = float(time[0]) - 1e-6
    place = np.floor(time - start).astype(np.int64)
    offset = float(np.median(time - place))
    first = int(place[0])
    place -= first
    return Grid(first + offset, _binned(place, power), None if cadence is None else _binned(place, cadence))


def _binned(place: NDArray[np.int64], values: FloatArray) -> FloatArray:
    """Mean of the readings in each second; NaN where there is none."""
    valid = np.isfinite(values)
    count = np.bincount(place[valid], minlength=int(place[-1]) + 1)
    total = np.bincount(place[valid], values[valid], minlength=int(place[-1]) + 1)
    means: FloatArray = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return means


def _between(time: FloatArray, values: FloatArray, at: FloatArray) -> FloatArray:
    """Linear between neighbours no further apart than 2.5 s, NaN elsewhere."""
    time, index = np.unique(time, return_index=True)
    values = values[index]
    after = np.clip(np.searchsorted(time, at, side="left"), 1, time.size - 1)
    width = time[after] - time[after - 1]
    share = (at - time[after - 1]) / width
    out: FloatArray = np.where(width <= LINEAR_S, (1 - share) * values[after - 1] + share * values[after], np.nan)
    for edge, one in ((share == 0, values[after - 1]), (share == 1, values[after])):
        out[edge] = one[edge]
    return out


def lay_over(x: FloatArray, y: FloatArray, fine: Fine) -> Overlap:
    """Give each second of the reference its reading of the device.

    A shift within 0.1 s, or 2 standard errors, of a whole second leaves the readings untouched. Else the reading is
    the mean of the two native seconds a grid second straddles, each weighted by what it covers: so energy is kept,
    and a second of which either is missing is missing.
    """
    place = np.arange(x.size)
    spot = np.clip(place + fine.at(place.astype(float)), -2.0, y.size + 1.0)  # beyond the device all is one
    near = WHOLE_S
    if not fine.drifting and math.isfinite(fine.lag_se):
        near = max(WHOLE_S, 2 * fine.lag_se)
    nearest = np.rint(spot).astype(np.int64)
    share = np.where(np.abs(spot - nearest) <= near, 0.0, spot - nearest)
    other = nearest + np.sign(share).astype(np.int64)
    both = (np.minimum(nearest, other) >= 0) & (np.maximum(nearest, other) < y.size)
    place, nearest, other, share = place[both], nearest[both], other[both], np.abs(share[both])
    return Overlap(place, nearest, other, share, mix(y[nearest], y[other], share))


def mix(nearest: FloatArray, other: FloatArray, share: FloatArray) -> FloatArray:
    """Mean of two seconds, the other one weighted by `share`; where that is 0, a NaN in the other is no matter."""
    mixed: FloatArray = np.where(share > 0, (1 - share) * nearest + share * other, nearest)
    return mixed
