"""Held values: one value repeated longer than chance repeats it, while the other trace changes; some stand for none."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import (
    CLAIM_UNKNOWN,
    HELD_COMMON,
    HELD_EXPECTED,
    HELD_LATE,
    HELD_LEAST_S,
    HELD_LIKE,
    HELD_ODD,
    HELD_POWER,
    HELD_RARE,
    HELD_TAIL,
    MARKER_BEYOND,
    MARKER_HELD,
    MARKER_RUNS,
    STOP_HELD_S,
    WORKING_W,
)
from agree.estimators.response.own_readings import every_s
from agree.faults.view import Mask, View, usual_error

LONG_S = 6        # runs of so many seconds do not count for how often chance repeats a value
STUCK_S = 60      # s of one value that would be half of what tells the constant error
SHORTER_S, LEAST_WINDOWS = (60, 30, 15, 8), 20  # windows, s, tried in place of one as long, and how many there must be
STEPS = 2000      # windows of the ride that tell how much they misfit by themselves


def held(view: View) -> list[tuple[int, int]]:
    """Runs of one value, not 0; the first second is genuine, and is not in the run.

    Where usual power changes as little as in the run, or less, chance repeats a value in a share r of the seconds; so
    it makes n r^(L - 1) runs of L seconds in n. These, times the share of windows of that length that misfit as much,
    must be below 0.001, and that share at most 5 %; or half if chance makes fewer than 0.0001 such runs.

    A trace that repeats its reading for some seconds counts as one reading in so many: runs and changes alike. Where it
    is foretold reading by reading, two alike may do, and a misfit beyond all others counts as rarer than these by a
    power of it (Hill 1975, Ann Stat 3:1163: the mean log of the largest tells the power). If it is rare that a reading
    lasts for longer than usual, one that does so for less than another reading is held too, where the seconds by which
    it does misfit so much that fewer than 0.001 of these would by chance. Runs of a few seconds at the end of pedalling
    are how a device stops.
    """
    y, every = view.y, view.every_s[0]
    foretold = every > 1 and every_s(view.usual) == every
    least = max(2 * every, HELD_LEAST_S) if foretold else HELD_LEAST_S * every
    spans = [(start, stop + 1) for start, stop in runs((y[1:] == y[:-1]) & (y[1:] != 0), least - 1)]
    late = _late(y, every) if foretold else []
    if not spans and not late:
        return []
    same = (y[every:] == y[:-every]) & (y[every:] != 0)
    change = np.abs(view.usual[every:] - view.usual[:-every])
    ridden = view.known & (np.nan_to_num(y) > 0)
    rest = np.where(view.known, view.usual - np.nan_to_num(y), 0.0)
    rest = rest - _usual_error(rest, view.working, spans)
    square = np.r_[0.0, np.cumsum(rest**2)]
    apart = np.zeros(y.size, bool)  # windows of the ride without repeats tell how much they misfit by themselves
    for start, stop in [*spans, *late]:
        apart[start:stop] = True
    repeated = np.r_[0, np.cumsum(apart | ~ridden)]
    likes = [_like(square, repeated, start, stop, beyond=foretold) for start, stop in spans]
    odd = [(start, stop) for (start, stop), like in zip(spans, likes, strict=True)
           if not tells_of_chance((stop - start) / every, like if foretold else 1.0)]
    repeats, count = _repeats(same, change, ridden, odd, every), int(ridden.sum()) if foretold else y.size
    found = []
    for (start, stop), like in zip(spans, likes, strict=True):
        if view.known[start:stop].mean() < (1 - CLAIM_UNKNOWN if stop - start >= STUCK_S else 1):
            continue
        share = repeats(float(change[start:stop - every].mean()))
        expected = count / every * share ** ((stop - start) / every - 1)
        if is_held(expected, like) and not ends_pedalling(view, start, stop, STOP_HELD_S + every):
            found.append((start + every, stop))
    for start, stop in late:
        like = _like(square, repeated, start + every, stop, beyond=True)
        if view.known[start:stop].all() and is_held(len(late), like) and not ends_pedalling(
                view, start, stop, STOP_HELD_S + every):
            found.append((start + every, stop))
    return sorted(found)


def _late(y: FloatArray, every: int) -> list[tuple[int, int]]:
    """Readings that last longer than usual, but for less than two, if that is rare."""
    spans = [(start, stop + 1) for start, stop in runs((y[1:] == y[:-1]) & (y[1:] != 0))]
    late = [(start, stop) for start, stop in spans if every < stop - start < 2 * every]
    return late if len(late) <= HELD_LATE * len(spans) else []


def _usual_error(rest: FloatArray, working: Mask, spans: list[tuple[int, int]]) -> FloatArray:
    """Constant error; in long runs that of the seconds around them, since they would be taken for it themselves."""
    long = [(start, stop) for start, stop in spans if stop - start >= STUCK_S]
    around = working.copy()
    for start, stop in long:
        around[start:stop] = False
    error = usual_error(rest, around)
    at = np.flatnonzero(around)
    for start, stop in long:
        if at.size:
            error[start:stop] = np.interp(np.arange(start, stop), at, error[at])
    return error


def ends_pedalling(view: View, start: int, stop: int, most_s: int) -> bool:
    """Whether a run may be how a device stops: it holds its last reading while the other coasts, then coasts too."""
    coasts = bool((view.judge[max(stop - 1, 0):stop + 1] <= WORKING_W).any())
    return stop - start <= most_s and coasts and bool((np.nan_to_num(view.y[stop:stop + 1]) <= WORKING_W).all())


def is_held(expected: float, like: float) -> bool:
    """Whether a run is held: so many chance would make of its length, and such a share of windows misfit as much."""
    return (like <= HELD_LIKE and expected * like < HELD_EXPECTED) or (like <= HELD_COMMON and expected < HELD_RARE)


def tells_of_chance(readings: float, like: float) -> bool:
    """Whether a run says how often chance repeats a value: it is short, and misfits as some windows do."""
    return readings < LONG_S and like > HELD_ODD


class _Repeats:
    """Share of readings in which chance repeats a value, by how much usual power changes."""

    def __init__(self, change: FloatArray, same: Mask) -> None:
        order = np.argsort(change)
        self.change, self.count = change[order], np.r_[0, np.cumsum(same[order])]

    def __call__(self, change: float) -> float:
        number = int(np.searchsorted(self.change, change, side="right"))
        return (float(self.count[number]) + 1) / (number + 2)


def _repeats(same: Mask, change: FloatArray, ridden: Mask, odd: list[tuple[int, int]], every: int) -> _Repeats:
    fair: NDArray[np.bool_] = ridden[every:] & ridden[:-every]
    for start, stop in odd:
        fair[start:stop - every] = False
    return _Repeats(change[fair], same[fair])


def _like(square: FloatArray, repeated: NDArray[np.int_], start: int, stop: int, *, beyond: bool) -> float:
    """Share of windows of the same length, without repeats, that misfit as much as this one.

    If none does, one in so many, or less by what the largest of them say, if that is asked for.
    """
    own = square[stop] - square[start]
    # A ride may have no window so long without coasting: then shorter ones tell, second by second.
    for length in (stop - start, *(shorter for shorter in SHORTER_S if shorter < stop - start)):
        begins = np.arange(0, square.size - length, max(1, square.size // STEPS))
        begins = begins[repeated[begins + length] == repeated[begins]]
        if begins.size >= LEAST_WINDOWS and own > 0:
            misfit = square[begins + length] - square[begins]
            here = own * length / (stop - start)
            share = (misfit >= here).mean()
            more = rarer(misfit, here) if beyond and not share else 1.0
            return float(share + more / (begins.size + 1))
    return 1.0


def rarer(misfit: FloatArray, here: float) -> float:
    """How much rarer than the largest of some misfits a larger one is, by the power law that the largest follow."""
    largest = np.maximum(np.sort(misfit)[-HELD_TAIL:], 1e-9 * here)
    logs = float(np.log(largest[-1] / largest).sum())
    power = min((largest.size - 1) / max(logs, 1e-9), HELD_POWER)
    return float((largest[-1] / here) ** power)


def with_marker(view: View, spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Held runs, and all other seconds of a value that stands for no reading, if there is one.

    It is held more than once, and is the highest or lowest of all, while what the other trace foretells is short of it
    in nearly every such second: at the most that a sensor can read, it is not. Or it is neither, and nearly every
    second of it is held. Then no second of it is genuine, the first of each run included.
    """
    values = [float(view.y[start]) for start, _ in spans]
    for value in {one for one in values if values.count(one) >= MARKER_RUNS}:
        if _no_reading(view, value, sum(stop - start for start, stop in spans if view.y[start] == value)):
            of_value = runs((view.y == value) & view.known)
            return sorted([*(span for span in spans if view.y[span[0]] != value), *of_value])
    return spans


def _no_reading(view: View, value: float, held_s: int) -> bool:
    at = view.y == value
    rest = view.y[np.isfinite(view.y) & ~at]
    for sign in (1, -1):
        if (sign * (value - rest) > 0).all():
            return bool((sign * (value - view.usual[at & view.known]) > 0).mean() >= MARKER_BEYOND)
    return bool(held_s >= MARKER_HELD * at.sum())
