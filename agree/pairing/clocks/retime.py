"""Clocks with steps put right: each step placed to the second, and the lost seconds put back as missing ones."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.pairs import ClockStep
from agree.core.thresholds import LEAST_STEP_S, WORKING_W
from agree.pairing.clocks import smoothness
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.lag_path import Stretch, shifted
from agree.pairing.grid import Grid

NEAR_S = 120  # a change is sought so far into the stretches on either side


class Change(NamedTuple):
    """A step of `size` whole seconds; on the reference's mended grid the new lag begins at `start`."""

    start: int
    size: int


def _errors(x: FloatArray, y: FloatArray, places: NDArray[np.int64], lag: int, scale: float) -> FloatArray:
    """Absolute differences of power at places of the reference; NaN where either is missing."""
    out: FloatArray = np.abs(shifted(y, places + lag) - scale * x[places])
    return out


def _place(x: FloatArray, y: FloatArray, before: Stretch, after: Stretch, scale: float) -> int:
    """First second of the reference that the lag before does not explain: where the sum of differences is least.

    Where the lag falls, the seconds lost by the device follow there; then the lag after holds. A second of work that is
    passed over counts as two usual differences: else a step would leave its stop for any second that differs more.
    """
    old, new = int(before.lags[-1]), int(after.lags[0])
    lost = max(old - new, 0)
    size, (fuller, first) = abs(new - old), (x, before.stop) if lost else (y, before.stop + old)
    low = max(before.stop - NEAR_S, (before.start + before.stop) // 2)
    high = max(min(after.start + NEAR_S, (after.start + after.stop) // 2) - lost, low)
    places = np.arange(low, min(high + lost, x.size))
    one, two = _errors(x, y, places, old, scale), _errors(x, y, places, new, scale)
    usual = np.fmin(one, two)[(places < before.stop) | (places >= after.start)]
    fill = float(np.nanmedian(usual)) if np.isfinite(usual).any() else 0.0
    total_one, total_two = (np.r_[0.0, np.cumsum(np.where(np.isfinite(e), e, fill))] for e in (one, two))
    splits = np.arange(max(places.size - lost, 0) + 1)
    work = np.r_[0, np.cumsum(shifted(fuller, low + first - before.stop + np.arange(splits.size + size)) > WORKING_W)]
    cost = (total_one[splits] - total_two[np.minimum(splits + lost, places.size)]
            + 2 * fill * (work[splits + size] - work[splits]))
    least = np.flatnonzero(cost <= cost.min() + 1e-9)
    return low + int(splits[least[-1]])  # where all are alike, as at a stop, the end: recorders go on with the rider


def _evened(x: FloatArray, y: FloatArray, stretches: list[Stretch]) -> tuple[FloatArray, FloatArray, float]:
    """Both equally smooth, and their ratio: else the tail of a slow trace at a stop is taken for what is beyond it."""
    longest = max(stretches, key=lambda s: s.stop - s.start)
    place = np.arange(longest.start, longest.stop)
    own, other = x[place], shifted(y, place + int(np.median(longest.lags)))
    work = (own > WORKING_W) & (other > WORKING_W)
    scale = float(np.median(other[work] / own[work])) if work.any() else float(np.nanmean(y) / np.nanmean(x))
    which, width = smoothness.evening(own, other, 0)
    pair = [x, y]
    if width > 1:
        pair[which] = smoothness.running_mean(pair[which], width)
    return pair[0], pair[1], scale


def mend(x: Grid, y: Grid, stretches: list[Stretch]) -> tuple[Grid, Grid, list[Change]]:
    """Put the lost seconds back into the clock that lost them, as missing ones: the lag before the first step holds."""
    in_x: list[int] = []
    in_y: list[int] = []
    changes = []
    one, two, scale = _evened(x.power, y.power, stretches)
    for before, after in pairwise(stretches):
        size = int(after.lags[0] - before.lags[-1])
        place = _place(one, two, before, after, scale)
        in_x += [place] * size
        in_y += [place + int(before.lags[-1])] * -size
        changes.append(Change(place + max(-size, 0) + len(in_x), size))
    spots_x, spots_y = (np.clip(np.array(spots, dtype=np.int64), 0, trace.size)
                        for spots, trace in ((in_x, x.power), (in_y, y.power)))
    return (x.map(lambda v: np.insert(v, spots_x, np.nan)), y.map(lambda v: np.insert(v, spots_y, np.nan)), changes)


def steps(changes: tuple[Change, ...], fine: Fine, first: int, seconds: int) -> tuple[tuple[ClockStep, ...], float]:
    """Steps with the fraction of a second found between stretches, and the sum of those before the pairs begin.

    `first` is the place of time 0, and `seconds` the length of the pairs: what lies outside of them is no step of
    theirs.
    """
    every = [ClockStep(time_s=float(change.start - first), step_s=change.size + part.told, se_s=part.se)
             for change, part in zip(changes, fine.extra, strict=True)]
    return (tuple(step for step in every if 0 < step.time_s < seconds),
            sum(step.step_s for step in every if step.time_s <= 0))


def no_step(changes: list[Change], fine: Fine) -> int | None:
    """Which change is none once the fraction of a second is known: less than a second is left of it; else None."""
    left = [abs(change.size + part.told) for change, part in zip(changes, fine.extra, strict=True)]
    return next((k for k, size in enumerate(left) if size < LEAST_STEP_S), None)


def without_change(stretches: list[Stretch], k: int) -> list[Stretch]:
    """Join stretches k and k + 1: the lag of the first holds in both."""
    before, after = stretches[k:k + 2]
    lags = np.concatenate([before.lags, after.lags - (after.lags[0] - before.lags[-1])])
    return [*stretches[:k], Stretch(before.start, after.stop, lags), *stretches[k + 2:]]
