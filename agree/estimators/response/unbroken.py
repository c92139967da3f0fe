"""Readings on an unbroken grid of seconds, unknown where they are not used; coasting is a known 0."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.data.ceiling_edges import with_edges
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.thresholds import CEILING_SLOW_S, CEILING_UNTOLD_S

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


def telling(pairs: Pairs) -> Grid:
    """Readings that tell how the two answer: as `of_pairs`, without the sprints that a ceiling cuts.

    A slow trace shows these for longer than they are left out, and so keeps them.
    """
    grid = of_pairs(pairs)
    cut = pairs.has_reason("reference_saturation", "device_saturation")
    slow = pairs.matched is not None and pairs.matched.size_s > CEILING_SLOW_S
    if slow or not cut.any():
        return grid
    whole, there = of_pairs(pairs, every=True), np.zeros(grid.time.size, bool)
    there[grid.place[cut]] = True
    near = with_edges(there, whole.reference, whole.device, *CEILING_UNTOLD_S)
    return grid._replace(reference=np.where(near, np.nan, grid.reference), device=np.where(near, np.nan, grid.device))


class Traces(NamedTuple):
    """Each trace by itself, as recorded and at one response: NaN where unknown, or faulty by a fault of its own.

    `capped` are the seconds in which either is at its ceiling.
    """

    recorded: tuple[FloatArray, ...]
    alike: tuple[FloatArray, ...]
    time: FloatArray
    capped: NDArray[np.bool_]

    def over(self, unit: float) -> Traces:
        """Readings in another unit."""
        return Traces(tuple(column / unit for column in self.recorded), tuple(column / unit for column in self.alike),
                      self.time, self.capped)


def of_matched(pairs: Pairs) -> Grid:
    """Columns with one response where they are used, or where both coast."""
    there = pairs.used | (pairs.reason == "both_coasting")
    columns = [np.where(there, column, np.nan) for column in (pairs.matched_reference, pairs.matched_device)]
    return _grid(columns[0], columns[1], pairs.time)


def own_traces(pairs: Pairs) -> Traces:
    """Each trace where it is not faulty by itself; what sits at its ceiling is what it reads, and stays."""
    spoiled = pairs.has_reason("beside_fault", "beside_gap")  # in the sharper trace, where it is filtered
    own = [~(np.char.startswith(pairs.reason, f"{role}_") | np.char.startswith(pairs.reason, "either_"))
           | (pairs.reason == f"{role}_saturation") for role in ("reference", "device")]
    recorded = [np.where(good, column, np.nan)
                for good, column in zip(own, (pairs.reference, pairs.device), strict=True)]
    smoother = "" if pairs.matched is None else pairs.matched.smoother
    alike = [np.where(good & ~(spoiled & (smoother not in ("", role))), column, np.nan) for good, role, column in zip(
        own, ("reference", "device"), (pairs.matched_reference, pairs.matched_device), strict=True)]
    one, two = _grid(recorded[0], recorded[1], pairs.time), _grid(alike[0], alike[1], pairs.time)
    capped = np.zeros(one.time.size, bool)
    capped[one.place[pairs.has_reason("reference_saturation", "device_saturation")]] = True
    return Traces((one.reference, one.device), (two.reference, two.device), one.time, capped)


def of_columns(reference: ArrayLike, device: ArrayLike | None, time: ArrayLike | None) -> Grid:
    """Columns as given, unknown where either is NaN."""
    if device is None:
        raise InputError("`device` is needed: the device's readings, beside the reference's", option="device")
    x, y = checks.vector(reference, "reference"), checks.vector(device, "device")
    if x.size != y.size:
        raise InputError(f"`reference` and `device` must have equal lengths; got {x.size} and {y.size}",
                         option="reference")
    known = checks.present(x, "reference", "omit") & checks.present(y, "device", "omit")
    at = np.arange(x.size, dtype=float) if time is None else checks.vector(time, "time")
    if at.shape != x.shape:
        raise InputError(f"`time` must have the length of `reference`, {x.size}; got {at.size}", option="time")
    if not np.isfinite(at).all():
        raise InputError("`time` must hold finite numbers, seconds", option="time")
    return _grid(np.where(known, x, np.nan), np.where(known, y, np.nan), at)


def _grid(x: FloatArray, y: FloatArray, time: FloatArray) -> Grid:
    step = np.rint(np.diff(time))
    if (step < 1).any():
        raise InputError("`time` must increase by whole seconds, at least 1 from each reading to the next; the first "
                         f"that does not is at index {int(np.flatnonzero(step < 1)[0]) + 1}", option="time")
    place = np.concatenate([[0], np.cumsum(np.minimum(step, LONGEST_GAP_S))]).astype(np.intp)[:x.size]
    rows = np.full((3, int(place[-1]) + 1 if place.size else 0), np.nan)
    rows[:, place] = x, y, time
    return Grid(rows[0], rows[1], rows[2], place)
