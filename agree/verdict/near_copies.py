"""Sessions whose references follow each other second by second, as no two rides do: one ride with other noise."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np
from scipy import fft

from agree.core.checks import FloatArray
from agree.core.thresholds import ALIKE_RIDES, LEAST_ALIKE_S, NEAR_COPY

RIVAL = 0.5        # of the best sum of products: a programme that repeats itself fits at other lags as well
BESIDE_S = 10      # s beside the best lag, where a smooth trace resembles itself
CLIPPED_AT = 2.0   # robust standard deviations: the starts of a programme's ramps do not outweigh the rider
ALL_COMPARED = 150  # sessions; of more, each is compared with as many neighbours, since the pairs grow as the square
NEIGHBOURS = 50


class Alike(NamedTuple):
    """Two sessions, counted from 0, and the correlation of their references' second differences at the best lag."""

    one: int
    other: int
    correlation: float

    @property
    def one_ride(self) -> bool:
        """Whether no two rides are so alike."""
        return self.correlation >= NEAR_COPY


def alike(references: Sequence[FloatArray]) -> tuple[Alike, ...]:
    """Return the pairs of recordings that resemble each other second by second.

    Second differences, clipped at two robust standard deviations, are held against each other at every lag. A ride
    with noise of 10 W added to it keeps a correlation of 0.84 to 0.93 with itself, two devices on one ride 0.5, rides
    of different days below 0.15. Two days of one programme in which targets come every 20 s or more reach 0.3, every
    5 to 20 s up to 0.8 (tests/verdict/test_near_copies.py): that is doubted, and not refused.
    """
    curves = [_turns(one) for one in references]
    most = max((one.size for one in curves), default=0)
    if most < LEAST_ALIKE_S or len(curves) < 2:
        return ()
    size = fft.next_fast_len(2 * most, real=True)
    spectra = [fft.rfft(one, size) for one in curves]
    found = []
    for i, j in combinations(range(len(curves)), 2):
        if len(curves) <= ALL_COMPARED or j - i <= NEIGHBOURS:
            r = _correlation(curves[i], curves[j], fft.irfft(np.conj(spectra[i]) * spectra[j], size))
            if r >= ALIKE_RIDES:
                found.append(Alike(i, j, r))
    return tuple(found)


def _turns(readings: FloatArray) -> FloatArray:
    """Second differences in robust standard deviations, clipped; nothing of a recording that hardly moves."""
    known = np.nan_to_num(readings)
    turns = np.diff(known, 2)
    moving = turns[turns != 0]
    if moving.size < LEAST_ALIKE_S or moving.size < turns.size / 2:
        return np.zeros(0, np.float32)
    scale = 1.4826 * float(np.median(np.abs(moving)))
    clipped: FloatArray = np.clip(turns / scale, -CLIPPED_AT, CLIPPED_AT).astype(np.float32)
    return clipped


def _correlation(one: FloatArray, other: FloatArray, sums: FloatArray) -> float:
    """Correlation at the best lag; 0 where it has a rival, or too few seconds are in common."""
    best = int(np.argmax(sums))
    lag = best if best < other.size else best - sums.size
    low, high = max(0, -lag), min(one.size, other.size - lag)
    if high - low < LEAST_ALIKE_S:
        return 0.0
    a, b = one[low:high], other[low + lag:high + lag]
    energy = float(a @ a) * float(b @ b)
    r = float(a @ b) / float(np.sqrt(energy)) if energy > 0 else 0.0
    if r < ALIKE_RIDES:
        return r
    away = np.roll(sums, -best)[BESIDE_S + 1:-BESIDE_S]
    return r if float(away.max()) <= RIVAL * float(sums[best]) else 0.0
