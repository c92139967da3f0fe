"""Stretches of another lag that are there by chance: readings that the lag beside them explains better."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import MOST_CLOCK_STEPS, WORKING_W
from agree.pairing.clocks.lag_path import Stretch, shifted


def without_chance(x: FloatArray, y: FloatArray, stretches: list[Stretch]) -> list[Stretch]:
    """Join a stretch to the longer one beside it whose lag explains most of its seconds at least as well as its own.

    Correlation finds another lag for a minute full of dropouts, which is alike to some other minute by chance. What
    tells the two apart is the median difference in seconds of work: faults do not move it.

    Parameters
    ----------
    x, y : array
        Traces of reference and device, equally smooth.
    stretches : list of Stretch
        In order of time.
    """
    kept = list(stretches)
    if not 1 < len(kept) <= MOST_CLOCK_STEPS + 1:  # so many are refused
        return kept
    scale = float(np.nanmean(y) / np.nanmean(x))
    gains: dict[tuple[int, int, int, int], float] = {}

    def gain(k: int, into: int) -> float:
        own, other = kept[k], kept[into]
        name = own.start, own.stop, other.start, other.stop
        if name not in gains:
            gains[name] = _gain(scale * x, y, own, other, own.start > other.start)
        return gains[name]

    while len(kept) > 1:
        k, into = min(((k, into) for k in range(len(kept)) for into in (k - 1, k + 1) if 0 <= into < len(kept)),
                      key=lambda pair: gain(*pair))
        if gain(k, into) > 0:
            break
        kept = _joined(kept, k, into)
    return kept


def _gain(x: FloatArray, y: FloatArray, own: Stretch, other: Stretch, after: bool) -> float:
    """How much smaller the median difference is at a stretch's own lag than at that of its longer neighbour."""
    if own.stop - own.start >= other.stop - other.start:
        return np.inf
    place = np.arange(own.start, own.stop)
    lags = int(np.median(own.lags)), int(other.lags[-1 if after else 0])  # the neighbour's at the side that is near
    parts = [shifted(y, place + lag) for lag in lags]
    one = x[place]
    works = ((one > WORKING_W) | (parts[0] > WORKING_W)) & np.isfinite([one, *parts]).all(axis=0)
    if not works.any():
        return np.inf
    apart = [float(np.median(np.abs(part - one)[works])) for part in parts]
    return apart[1] - apart[0]


def _joined(kept: list[Stretch], k: int, into: int) -> list[Stretch]:
    """The list with one stretch given to its neighbour."""
    own, other = kept[k], kept[into]
    lags = np.full(own.lags.size, other.lags[-1 if into < k else 0])
    first, second = min(k, into), max(k, into)
    whole = [other.lags, lags] if into < k else [lags, other.lags]
    return [*kept[:first], Stretch(kept[first].start, kept[second].stop, np.concatenate(whole)), *kept[second + 1:]]
