"""Three or more recordings of one effort on the grid of the first, each two of them paired for themselves too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any, NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError, MatchError
from agree.pairing.grid import to_grid
from agree.pairing.pair import pair_recordings
from agree.recordings.read import read_recording
from agree.recordings.recording import Recording


class LinedUp(NamedTuple):
    """Readings of all devices on the first one's seconds, NaN where set aside, and the pairings of each two.

    A device's row is the first one's reading with the difference of the two added, as it is once both have one
    response: a lag of a part of a second, or a filter, is no error of the device.
    """

    names: tuple[str, ...]
    readings: FloatArray
    pairings: dict[tuple[int, int], Pairs]

    def lag_s(self, first: int, second: int) -> float:
        """Clock of the second minus that of the first, s."""
        if first == second:
            return 0.0
        if first > second:
            return -self.lag_s(second, first)
        alignment = self.pairings[first, second].alignment
        return 0.0 if alignment is None else alignment.lag_s


def line_up(sources: Sequence[Any], *, max_lag_s: float | None = None) -> LinedUp:
    """Match every recording with the first, lay all of them on its grid, and match each two.

    Raises
    ------
    InputError
        Fewer than 2 recordings, or two that hold the same readings.
    MatchError
        Recordings that do not match, named.
    """
    if len(sources) < 2:
        raise InputError(f"at least 2 recordings are needed; got {len(sources)}")
    recordings = [read_recording(source) for source in sources]
    names = _apart([item.name for item in recordings])
    recordings = [replace(item, name=name) for item, name in zip(recordings, names, strict=True)]
    pairings = {(i, j): _paired(recordings[i], recordings[j], max_lag_s)
                for i, j in combinations(range(len(recordings)), 2)}
    first = to_grid(recordings[0], "reference").power
    table = np.full((len(recordings), first.size), np.nan)
    used = np.ones(first.size, dtype=bool)
    for k in range(1, len(recordings)):
        pairs = pairings[0, k]
        start = _place(first, pairs.reference)
        span = slice(start, start + pairs.reference.size)
        table[k, span] = pairs.reference + pairs.matched_device - pairs.matched_reference
        table[0, span] = first[span]
        here = np.zeros(first.size, dtype=bool)
        here[span] = pairs.used & np.isfinite(pairs.reference)
        used &= here
    table[:, ~used] = np.nan
    return LinedUp(tuple(names), table, pairings)


def _paired(first: Recording, second: Recording, max_lag_s: float | None) -> Pairs:
    try:
        pairs = pair_recordings(first, second, max_lag_s=max_lag_s)
    except MatchError as error:
        raise MatchError(f"{second.name} and {first.name}: {error}") from None
    both = pairs.used & np.isfinite(pairs.reference) & np.isfinite(pairs.device)
    if np.array_equal(pairs.reference[both], pairs.device[both]):
        raise InputError(f"{first.name} and {second.name} hold the same readings in all {int(both.sum())} common "
                         "seconds: one recording given twice is one witness, and a third device would look wrong "
                         "beside it; leave one of them out")
    return pairs


def _apart(names: Sequence[str]) -> list[str]:
    """Give recordings of one name numbers."""
    return [name if list(names).count(name) == 1 else f"{name} ({k})" for k, name in enumerate(names, 1)]


def _place(whole: FloatArray, part: FloatArray) -> int:
    """Return where a stretch of the first recording begins in it."""
    for start in range(whole.size - part.size + 1):
        if np.array_equal(whole[start:start + 9], part[:9], equal_nan=True) and np.array_equal(
                whole[start:start + part.size], part, equal_nan=True):
            return start
    raise MatchError("the clock of the first recording steps: its pauses cannot be laid over more than one other; give "
                     "a recording without pauses first")
