"""Recordings that leave out stops: with a 0 in each of their gaps, or, where time is counted on, beside the other's.

A recorder that pauses by itself does so some seconds after the rider stops, and counts on when the rider goes on. Left
out of the fuller recording, the same seconds make both alike at one lag, if that is what the other recorder did: with
many stops no single lag stands out, and windows of a minute lie across them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import GAP_STOP_S, GAP_STOPS, LEAST_PAUSES, MIN_STEP_S, PAUSED_CORRELATION
from agree.pairing.clocks import clock
from agree.pairing.clocks.lag_path import Stretch
from agree.pairing.grid import Grid

LONGEST_S = 600   # s; of a longer gap nothing is said
KEPT_S = (1, 2, 3, 5, 8, 12, 20, 30)  # seconds of a stop that a recorder counts before it pauses


def stops(grid: Grid) -> list[tuple[int, int]]:
    """Gaps of 3 s and more between readings of power; none if there are fewer than three."""
    found = [(start, stop) for start, stop in runs(~np.isfinite(grid.power))
             if start and stop < grid.power.size and GAP_STOP_S <= stop - start <= LONGEST_S]
    return found if len(found) >= GAP_STOPS else []


def as_stops(grid: Grid) -> Grid:
    """The recording as if the rider stood in each of its gaps."""
    power = grid.power.copy()
    for start, stop in stops(grid):
        power[start:stop] = 0.0
    return grid._replace(power=power)


class _Pauses(NamedTuple):
    """Seconds of a trace that are kept, and how well that makes it like the other one."""

    own: NDArray[np.int64]
    found: clock.Candidate


def between_pauses(x: Grid, y: Grid, lowest: float, highest: float, least: float = 0.0) -> list[Stretch]:
    """Stretches between stops of which one recorder leaves out all but the first seconds; none if that is not seen.

    Parameters
    ----------
    x, y : Grid
        Reference and device.
    lowest, highest : float
        Lags to consider, of the first stretch.
    least : float
        Strength of the match that is needed.
    """
    best: tuple[_Pauses, bool] | None = None
    for fuller, other, device_paused in ((x, y, True), (y, x, False)):
        told = _likeliest(fuller, other.power)
        if told is not None and (best is None or told.found.strength > best[0].found.strength):
            best = told, device_paused
    if best is None or best[0].found.strength < least:
        return []
    (own, found), device_paused = best
    made = _between(own, found.lag, device_paused, x.power.size, y.power.size)
    return made if made and lowest <= made[0].lags[0] <= highest else []


def _likeliest(fuller: Grid, other: FloatArray) -> _Pauses | None:
    """Seconds that are left, if those of stops are left out, where that makes a trace most like the other one."""
    best: _Pauses | None = None
    stops = [fuller.power <= 0] + ([] if fuller.cadence is None else [fuller.cadence <= 0])
    for stands in stops:
        pauses = runs(stands)
        for kept in KEPT_S:
            left = np.ones(stands.size, bool)
            long = [(start + kept, stop) for start, stop in pauses if stop - start - kept >= MIN_STEP_S]
            if len(long) < LEAST_PAUSES:
                continue
            for start, stop in long:
                left[start:stop] = False
            own = np.flatnonzero(left)
            found = clock.candidates(fuller.power[own], other, -np.inf, np.inf)
            if found and found[0].correlation >= PAUSED_CORRELATION and (
                    best is None or found[0].strength > best.found.strength):
                best = _Pauses(own, found[0])
    return best


def _between(own: NDArray[np.int64], lag: int, device_paused: bool, size: int, other_size: int) -> list[Stretch]:
    """Stretches of the reference in which the lag is one."""
    counted = np.arange(own.size) + lag  # second of the other recording
    place, at = (own, counted) if device_paused else (counted, own)
    inside = (place >= 0) & (place < size) & (at >= 0) & (at < (other_size if device_paused else own[-1] + 1))
    place, at = place[inside], at[inside]
    cuts = np.flatnonzero(np.diff(at - place)) + 1
    return [Stretch(int(part[0]), int(part[-1]) + 1, np.full(max(part.size // 30, 1), int(lags[0])))
            for part, lags in zip(np.split(place, cuts), np.split(at - place, cuts), strict=True) if part.size]
