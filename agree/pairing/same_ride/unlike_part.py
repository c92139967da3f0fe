"""The part of a ride whose minutes are not alike, though those of the rest are, and what is said of it."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.results.note import Note
from agree.core.thresholds import (
    LEAST_REST_ALIKE,
    MOST_USUAL_ALIKE,
    UNLIKE_BEYOND_JUMP,
    UNLIKE_SURPRISE,
    UNRELATED_ALIKE,
)
from agree.pairing.same_ride.minutes import WINDOW_S, Likeness

UNLIKE = "pair_minutes_unlike"  # kind of the note
# Where the search for a part begins; the likelihood ratio then settles it, and UNLIKE_SURPRISE decides.
MATCHED_COSTS = 3.0  # another ride has a minute in some 20 that is alike by chance
ROUNDS = 3  # of settling which minutes are the rest, whose share of alike ones tells what is surprising


def _heaviest(weights: FloatArray) -> tuple[int, int]:
    """Return the windows, from and to, whose weights have the greatest sum."""
    total = np.r_[0.0, np.cumsum(weights)]
    stop = int((total - np.minimum.accumulate(total)).argmax())
    return int(total[:stop + 1].argmin()), stop


def unlike_part(matched: NDArray[np.bool_]) -> tuple[int, int]:
    """Return the windows, from and to, in which those that are not matched most outweigh those that are."""
    return _heaviest(np.where(matched, -MATCHED_COSTS, 1.0))


class Surprise(NamedTuple):
    """A part: its windows, from and to; log likelihood ratio of unrelated ones to ones like the rest; alike there."""

    first: int
    last: int
    size: float
    usual: float


def _weights(matched: NDArray[np.bool_], usual: float) -> FloatArray:
    """Log likelihood ratio of each minute, of unrelated ones to those of which a usual share is alike."""
    usual = max(usual, UNRELATED_ALIKE)
    out: FloatArray = np.where(matched, math.log(UNRELATED_ALIKE / usual), math.log(
        (1 - UNRELATED_ALIKE) / (1 - usual)))
    return out


def surprising_part(matched: NDArray[np.bool_]) -> Surprise:
    """Return the part that is most surely unlike the rest, of whose minutes some may be alike by chance.

    It is the segment of greatest log likelihood ratio (a scan, as CUSUM: Page 1954, Biometrika 41:100): in it a minute
    is alike with a chance of a fifth, outside as often as the rest has it.
    """
    part = _as_a_whole(matched, *unlike_part(matched))
    for _ in range(ROUNDS):
        first, last = _heaviest(_weights(matched, part.usual))
        if (first, last) == (part.first, part.last):
            break
        part = _as_a_whole(matched, first, last)
    return part


def _as_a_whole(matched: NDArray[np.bool_], first: int, last: int) -> Surprise:
    """A part that is given: nothing is surprising where the rest is no more alike than unrelated minutes."""
    rest = np.r_[matched[:first], matched[last:]]
    usual = min((int(rest.sum()) + 1) / (rest.size + 2), MOST_USUAL_ALIKE)
    return Surprise(first, last, float(_weights(matched[first:last], usual).sum()), usual)


def _beyond_jump(found: Likeness, jumps: tuple[int, ...]) -> Surprise | None:
    """All minutes between long steps of a clock, if they are like unrelated ones: steps may follow another ride.

    A long step is rare, and its lag was chosen among many, so that less is needed to doubt what is beyond it.
    """
    bounds = [0, *np.searchsorted(found.starts + WINDOW_S / 2, jumps).tolist(), found.starts.size]
    stretches = [_as_a_whole(found.matched, first, last) for first, last in pairwise(bounds)] if jumps else []
    doubtful = [part for part in stretches if part.size >= UNLIKE_BEYOND_JUMP]
    return max(doubtful, key=lambda part: part.size, default=None)


def unlike(found: Likeness, jumps: tuple[int, ...] = ()) -> tuple[Note, ...]:
    """Note on minutes that are not matched, in recordings that otherwise are; their seconds are the reference's.

    `jumps` are the places of long steps of a clock.
    """
    part: Surprise | None = surprising_part(found.matched)
    if part is None or part.size < UNLIKE_SURPRISE:
        part = _beyond_jump(found, jumps)
    if part is None:
        return ()
    first, last = part.first, part.last
    rest = np.r_[found.matched[:first], found.matched[last:]]
    if not rest.size or part.usual < LEAST_REST_ALIKE:
        return ()
    return (Note(kind=UNLIKE, severity="trust", values={
        "minutes": int((~found.matched[first:last]).sum()), "from_s": float(found.starts[first]),
        "to_s": float(found.starts[last - 1]) + WINDOW_S, "share": float(rest.mean())}),)


def timed(note: Note, first: int) -> Note:
    """The note with its seconds counted from place `first`, where the pairs begin."""
    if note.kind != UNLIKE:
        return note
    moved = {name: float(note.values[name]) - first for name in ("from_s", "to_s")}
    return replace(note, values={**note.values, **moved})
