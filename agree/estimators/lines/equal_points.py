"""Points that come many times, as whole watts do: each is counted once, with a weight."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.estimators.lines.inversions import IntArray

FEWER = 8  # points to each distinct one, from which on weights are quicker


def first_and_weight(s: FloatArray, t: FloatArray) -> tuple[IntArray, IntArray] | None:
    """First of each run of equal points, in order of s and t, and their number; None if runs are short."""
    first = np.flatnonzero(np.r_[True, (s[1:] != s[:-1]) | (t[1:] != t[:-1])])
    return (first, np.diff(np.r_[first, s.size])) if first.size * FEWER <= s.size else None


def weighted_inversions(ranks: IntArray, weight: IntArray) -> int:
    """Sum of weight[i] weight[j] over the pairs i < j with ranks[i] > ranks[j]: blocks of ranks are split by bits."""
    bits = int(ranks.size - 1).bit_length()
    array, w = np.arange(1 << bits), np.zeros(1 << bits, np.int64)
    array[:ranks.size], w[:ranks.size] = ranks, weight
    total = 0
    for bit in range(bits - 1, -1, -1):
        one = (array >> bit & 1).astype(bool).reshape(-1, 2 << bit)
        blocks, ranked_blocks = w.reshape(one.shape), array.reshape(one.shape)
        total += int((np.cumsum(np.where(one, blocks, 0), axis=1) * np.where(one, 0, blocks)).sum())
        halves = (one.shape[0], 1 << bit)
        array, w = (np.stack([rows[~one].reshape(halves), rows[one].reshape(halves)], axis=1).ravel()
                    for rows in (ranked_blocks, blocks))
    return total


def ranked(b: FloatArray, rank: list[int], weight: IntArray | None = None) -> FloatArray:
    """Slopes of the given ranks (0-based) in the order from just above -1 to infinity, minus infinity to -1.

    Each counts `weight` times, or once.
    """
    if weight is None:
        places = (np.array(rank) + int((b < -1).sum())) % b.size
        result: FloatArray = np.partition(b, places)[places]
        return result
    order = np.lexsort((b, b < -1))
    result = b[order[np.searchsorted(np.cumsum(weight[order]), rank, side="right")]]
    return result
