"""Clocks with steps put right: each step placed to the second, and the lost seconds put back as missing ones."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.pairs import ClockStep
from agree.pairing.clock import Fine
from agree.pairing.clock_steps import Segment
from agree.pairing.grid import Grid

NEAR_S = 120  # a change is sought so far into the stretches on either side
UNKNOWN_S = 30  # seconds between stretches that neither lag explains: more are missing


class Change(NamedTuple):
    """A step of `size` whole seconds; on the reference's mended grid the new lag begins at `start`."""

    start: int
    size: int


def _errors(x: FloatArray, y: FloatArray, places: NDArray[np.int64], lag: FloatArray, scale: float) -> FloatArray:
    """Absolute differences of power at places of the reference; NaN where either is missing."""
    other = places + np.rint(lag[places]).astype(np.int64)
    inside = (other >= 0) & (other < y.size)
    out: FloatArray = np.where(inside, np.abs(y[np.clip(other, 0, y.size - 1)] - scale * x[places]), np.nan)
    return out


def _place(x: FloatArray, y: FloatArray, before: Segment, after: Segment, bend: FloatArray, scale: float) -> int:
    """First second of the reference that the lag before does not explain: where the sum of differences is least.

    Where the lag falls, the seconds lost by the device follow there; then the lag after holds.
    """
    lost = max(before.lag - after.lag, 0)
    low = max(before.stop - NEAR_S, (before.start + before.stop) // 2)
    high = max(min(after.start + NEAR_S, (after.start + after.stop) // 2) - lost, low)
    places = np.arange(low, min(high + lost, x.size))
    one, two = (_errors(x, y, places, item.lag + bend, scale) for item in (before, after))
    usual = np.fmin(one, two)
    fill = float(np.nanmedian(usual)) if np.isfinite(usual).any() else 0.0
    total_one, total_two = (np.r_[0.0, np.cumsum(np.where(np.isfinite(e), e, fill))] for e in (one, two))
    splits = np.arange(max(places.size - lost, 0) + 1)
    cost = total_one[splits] - total_two[np.minimum(splits + lost, places.size)]
    least = np.flatnonzero(cost <= cost.min() + 1e-9)
    return low + int(splits[least[least.size // 2]])  # where all are alike, as at a stop, the middle


def mend(x: Grid, y: Grid, segments: list[Segment], bend: FloatArray) -> tuple[Grid, Grid, list[Change]]:
    """Put the lost seconds back into the clock that lost them, as missing ones: the lag before the first step holds."""
    in_x: list[int] = []
    in_y: list[int] = []
    unknown: list[slice] = []
    changes = []
    scale = float(np.nanmean(y.power) / np.nanmean(x.power))
    for before, after in pairwise(segments):
        size = after.lag - before.lag
        lost = max(-size, 0)
        between = after.start - before.stop - lost > UNKNOWN_S
        place = before.stop if between else _place(x.power, y.power, before, after, bend, scale)
        own = place + before.lag + round(float(bend[min(place, bend.size - 1)]))
        if between:
            unknown.append(slice(max(own, 0), max(own + after.start - before.stop + size, 0)))
        in_x += [place] * size
        in_y += [own] * -size
        changes.append(Change((after.start if between else place + lost) + len(in_x), size))
    places = np.clip(np.array(in_y, dtype=np.int64), 0, y.power.size)

    def mended(values: FloatArray) -> FloatArray:
        values = values.copy()
        for part in unknown:
            values[part] = np.nan
        out: FloatArray = np.insert(values, places, np.nan)
        return out

    return x.map(lambda v: np.insert(v, np.array(in_x, dtype=np.int64), np.nan)), y.map(mended), changes


def steps(changes: tuple[Change, ...], fine: Fine, first: int) -> tuple[ClockStep, ...]:
    """Steps with the fraction of a second found between stretches; `first` is the place of time 0."""
    return tuple(ClockStep(time_s=float(change.start - first), step_s=change.size + part.told, se_s=part.se)
                 for change, part in zip(changes, fine.extra, strict=True))


def _when(seconds: float) -> str:
    minutes, second = divmod(round(seconds), 60)
    hours, minute = divmod(minutes, 60)
    return f"{hours}:{minute:02}:{second:02}" if hours else f"{minute}:{second:02}"


def in_words(found: tuple[ClockStep, ...]) -> list[str]:
    """One note for each step."""
    notes = []
    for step in found:
        who, other = ("device", "reference") if step.step_s < 0 else ("reference", "device")
        error = f" (standard error {step.se_s:.2f})" if math.isfinite(step.se_s) else ""
        notes.append(f"the {who}'s clock lost {abs(step.step_s):.1f} s{error} against the {other}'s at "
                     f"{_when(step.time_s)}, as when a recorder pauses by itself or its clock is set: the device was "
                     "re-timed, and seconds that exist on one clock only are missing")
    return notes
