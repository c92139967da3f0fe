"""Three or more recordings of one effort on the grid of the first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError, MatchError
from agree.pairing.grid import to_grid
from agree.pairing.pair import pair_recordings
from agree.recordings.read import read_recording


class LinedUp(NamedTuple):
    """Readings of all devices on the first one's seconds, NaN where set aside; lags and names in the order given."""

    names: tuple[str, ...]
    readings: FloatArray
    lags_s: tuple[float, ...]


def line_up(sources: Sequence[Any], *, max_lag_s: float | None = None) -> LinedUp:
    """Match every recording with the first, and lay all of them on its grid.

    Raises
    ------
    InputError
        Fewer than 2 recordings.
    MatchError
        A recording that does not match the first, named.
    """
    if len(sources) < 2:
        raise InputError(f"at least 2 recordings are needed; got {len(sources)}")
    recordings = [read_recording(source) for source in sources]
    names = _apart([item.name for item in recordings])
    recordings = [replace(item, name=name) for item, name in zip(recordings, names, strict=True)]
    first = to_grid(recordings[0], "reference").power
    table = np.full((len(recordings), first.size), np.nan)
    used = np.ones(first.size, dtype=bool)
    lags = [0.0]
    for k, item in enumerate(recordings[1:], 1):
        try:
            pairs = pair_recordings(recordings[0], item, max_lag_s=max_lag_s)
        except MatchError as error:
            raise MatchError(f"{names[k]} and {names[0]}: {error}") from None
        start = _place(first, pairs.reference)
        span = slice(start, start + pairs.reference.size)
        table[k, span] = pairs.device
        table[0, span] = first[span]
        here = np.zeros(first.size, dtype=bool)
        here[span] = pairs.used
        used &= here
        lags.append(pairs.alignment.lag_s if pairs.alignment is not None else 0.0)
    table[:, ~used] = np.nan
    return LinedUp(tuple(names), table, tuple(lags))


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
