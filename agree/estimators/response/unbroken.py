"""Readings on an unbroken grid of seconds, unknown where they are not used; coasting is a known 0."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.pairs import Pairs

LONGEST_GAP_S = 120  # a longer gap is stored as one of this length: nothing reaches over it


class Grid(NamedTuple):
    """Readings second by second (NaN where not used), their times, and the place of each given row."""

    reference: FloatArray
    device: FloatArray
    time: FloatArray
    place: NDArray[np.intp]


def of_pairs(pairs: Pairs, *, every: bool = False) -> Grid:
    """Readings as recorded where neither is faulty, coasting included; on request the faulty ones too."""
    columns = [column if every else np.where(pairs.sound, column, np.nan)
               for column in (pairs.reference, pairs.device)]
    return _grid(columns[0], columns[1], pairs.time)


def of_columns(reference: ArrayLike, device: ArrayLike | None, time: ArrayLike | None) -> Grid:
    """Columns as given, unknown where either is NaN."""
    if device is None:
        raise InputError("`device` is needed: the device's readings, beside the reference's")
    x, y = checks.vector(reference, "reference"), checks.vector(device, "device")
    if x.size != y.size:
        raise InputError(f"`reference` and `device` must have equal lengths; got {x.size} and {y.size}")
    known = checks.present(x, "reference", "omit") & checks.present(y, "device", "omit")
    at = np.arange(x.size, dtype=float) if time is None else checks.vector(time, "time")
    if at.shape != x.shape:
        raise InputError(f"`time` must have the length of `reference`, {x.size}; got {at.size}")
    if not np.isfinite(at).all():
        raise InputError("`time` must hold finite numbers, seconds")
    return _grid(np.where(known, x, np.nan), np.where(known, y, np.nan), at)


def _grid(x: FloatArray, y: FloatArray, time: FloatArray) -> Grid:
    step = np.rint(np.diff(time))
    if (step < 1).any():
        raise InputError("`time` must increase by whole seconds, at least 1 from each reading to the next; the first "
                         f"that does not is at index {int(np.flatnonzero(step < 1)[0]) + 1}")
    place = np.concatenate([[0], np.cumsum(np.minimum(step, LONGEST_GAP_S))]).astype(np.intp)[:x.size]
    rows = np.full((3, int(place[-1]) + 1 if place.size else 0), np.nan)
    rows[:, place] = x, y, time
    return Grid(rows[0], rows[1], rows[2], place)
