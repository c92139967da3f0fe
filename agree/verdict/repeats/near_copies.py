"""Sessions whose references follow each other second by second, as no two rides do: one ride with other noise."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from agree.core.checks import FloatArray
from agree.core.thresholds import ALIKE_RIDES, LEAST_ALIKE_S, NEAR_COPY, RIVAL_SHARE

BESIDE_S = 10      # s beside the best lag, where a smooth trace resembles itself
CLIPPED_AT = 2.0   # robust standard deviations: the starts of a programme's ramps do not outweigh the rider
ALL_COMPARED = 150  # sessions; of more, each is compared with as many neighbours, since the pairs grow as the square
NEIGHBOURS = 50
AT_ONCE = 32


class Alike(NamedTuple):
    """Two sessions, counted from 0, and the correlation of their references' second differences at the best lag."""

    one: int
    other: int
    correlation: float
    backwards: bool = False  # they are alike if one of them is played backwards

    @property
    def one_ride(self) -> bool:
        """Whether no two rides are so alike."""
        return self.correlation >= NEAR_COPY


def alike(references: Sequence[FloatArray]) -> tuple[Alike, ...]:
    """Return the pairs of recordings that resemble each other second by second.

    Second differences, clipped at two robust standard deviations, are held against each other at every lag, as they
    are and with one of the two played backwards: no rider repeats a ride from its end to its start. A ride
    with noise of 10 W added to it keeps a correlation of 0.84 to 0.93 with itself, two devices on one ride 0.5, rides
    of different days below 0.15. Two days of one programme in which targets come every 20 s or more reach 0.3, every
    5 to 20 s up to 0.8 (tests/verdict/test_near_copies.py): that is doubted, and not refused.
    """
    curves = [_turns(one) for one in references]
    most = max((one.size for one in curves), default=0)
    if most < LEAST_ALIKE_S or len(curves) < 2:
        return ()
    size = fft.next_fast_len(2 * most, real=True)
    spectra = np.stack([_spectrum(one, size) for one in curves])
    lengths = np.array([one.size for one in curves])
    energy = np.stack([_energy(one, most) for one in curves])
    found = []
    for i, own in enumerate(curves[:-1]):
        last = len(curves) if len(curves) <= ALL_COMPARED else min(i + NEIGHBOURS + 1, len(curves))
        ways = ((spectra[i], energy[i]), (_spectrum(own[::-1], size), _energy(own[::-1], most)))
        for start in range(i + 1, last, AT_ONCE):
            others = slice(start, min(start + AT_ONCE, last))
            onward, backward = (_correlations(fft.irfft(np.conj(spectrum) * spectra[others], size, axis=1), squares,
                                              energy[others], own.size, lengths[others]) for spectrum, squares in ways)
            found += [Alike(i, start + k, max(one, turned), bool(turned > one)) for k, (one, turned) in enumerate(
                zip(onward, backward, strict=True)) if max(one, turned) >= ALIKE_RIDES]
    return tuple(found)


def rides_of(found: Sequence[Alike]) -> tuple[tuple[int, ...], ...]:
    """Return the sessions of each ride, counted from 0: what is like the same session is one ride.

    Examples
    --------
    >>> from agree.verdict.repeats.near_copies import Alike, rides_of
    >>> rides_of([Alike(0, 4, 0.7), Alike(1, 2, 0.6), Alike(2, 4, 0.5), Alike(3, 5, 0.8)])
    ((0, 1, 2, 4), (3, 5))
    """
    rides: list[set[int]] = []
    for item in found:
        pair = {item.one, item.other}
        pair = pair.union(*(ride for ride in rides if ride & pair))
        rides = [ride for ride in rides if not ride & pair] + [pair]
    return tuple(sorted(tuple(sorted(ride)) for ride in rides))


def _spectrum(turns: FloatArray, size: int) -> NDArray[np.complexfloating]:
    return np.asarray(fft.rfft(np.pad(turns, (0, size - turns.size))))


def _energy(turns: FloatArray, most: int) -> FloatArray:
    """Running sums of squares; beyond the end they stay."""
    sums: FloatArray = np.r_[0.0, np.cumsum(np.square(np.pad(turns, (0, most - turns.size))))]
    return sums


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


def _correlations(sums: FloatArray, energy: FloatArray, energies: FloatArray, length: int,
                  lengths: NDArray[np.intp]) -> FloatArray:
    """Correlations at the best lags; 0 where a lag has a rival, or too few seconds are in common.

    `sums`, (k, size), are those of products at every lag; energies are running sums of squares.
    """
    rows = np.arange(len(sums))
    best = sums.argmax(axis=1)
    lag = np.where(best < lengths, best, best - sums.shape[1])
    low, high = np.maximum(0, -lag), np.minimum(length, lengths - lag)
    common = high - low
    low, high, lag = (np.where(common > 0, one, 0) for one in (low, high, lag))  # nothing in common: no places
    square = (energy[high] - energy[low]) * (energies[rows, high + lag] - energies[rows, low + lag])
    peak = sums[rows, best].astype(float)
    r: FloatArray = np.where((square > 0) & (common >= LEAST_ALIKE_S), peak / np.sqrt(np.maximum(square, 1e-9)), 0.0)
    for k in np.flatnonzero(r >= ALIKE_RIDES):
        away = np.roll(sums[k], -best[k])[BESIDE_S + 1:-BESIDE_S]
        if float(away.max()) > RIVAL_SHARE * peak[k]:
            r[k] = 0.0
    return r
