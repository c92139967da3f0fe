"""Inversions of a permutation: counted, counted for each element, listed."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.intp]
LEAF = 5              # blocks of 2^LEAF are compared outright


def _padded(ranks: IntArray) -> tuple[NDArray[Any], int]:
    """Pad a permutation at its end to a power of two, at least one leaf, which adds no inversion."""
    bits = max(int(ranks.size - 1).bit_length(), LEAF)
    full = np.arange(1 << bits, dtype=np.int16 if bits < 16 - 1 else np.int32)
    full[:ranks.size] = ranks
    return full, bits


class _Level(NamedTuple):
    """One split of all blocks: positions of zeros and ones, and for each the columns within its block."""

    half: int
    zeros: IntArray
    ones: IntArray

    def ones_before(self) -> IntArray:
        """For each zero, the ones before it in its block."""
        zero_order = np.arange(self.zeros.size) & (self.half - 1)
        return (self.zeros & (2 * self.half - 1)) - zero_order

    def zeros_after(self) -> IntArray:
        """For each one, the zeros after it in its block."""
        one_order = np.arange(self.ones.size) & (self.half - 1)
        return self.half - ((self.ones & (2 * self.half - 1)) - one_order)


def _split(array: NDArray[Any], bit: int) -> tuple[_Level, NDArray[Any]]:
    """Split every block of 2^(bit + 1) ranks stably by one bit; each half of a block is full."""
    half = 1 << bit
    one = (array & half).astype(bool)
    level = _Level(half, np.flatnonzero(~one), np.flatnonzero(one))
    after = np.empty((array.size >> bit + 1, 2, half), array.dtype)
    after[:, 0] = array.take(level.zeros).reshape(-1, half)
    after[:, 1] = array.take(level.ones).reshape(-1, half)
    return level, after.ravel()


def count_inversions(ranks: IntArray) -> int:
    """Count the pairs i < j with ranks[i] > ranks[j].

    From the highest bit down, every block holds a run of consecutive ranks, half of them with the bit set. In a
    block, ones before zeros are inversions: column minus order of each zero. A stable split makes the next blocks;
    the last small blocks are compared outright.
    """
    array, bits = _padded(ranks)
    total = 0
    for bit in range(bits - 1, LEAF - 1, -1):
        level, array = _split(array, bit)
        orders = level.half * (level.half - 1) // 2
        total += int((level.zeros & (2 * level.half - 1)).sum()) - (array.size >> bit + 1) * orders
    leaves = (array & ((1 << LEAF) - 1)).astype(np.int8).reshape(-1, 1 << LEAF).T.copy()
    return total + sum(int(np.count_nonzero(leaves[:-k] > leaves[k:])) for k in range(1, 1 << LEAF))


def inversions_of_each(ranks: IntArray) -> IntArray:
    """Count the inversions each element takes part in."""
    array, bits = _padded(ranks)
    counts = np.zeros(array.size, np.intp)
    for bit in range(bits - 1, -1, -1):
        before = array
        level, array = _split(before, bit)
        counts[before[level.zeros]] += level.ones_before()
        counts[before[level.ones]] += level.zeros_after()
    return counts[ranks]


def list_inversions(ranks: IntArray) -> tuple[IntArray, IntArray]:
    """List all pairs of ranks (smaller, larger) that stand in reverse order; memory grows with their number."""
    array, bits = _padded(ranks)
    small, large = [], []
    for bit in range(bits - 1, -1, -1):
        before = array
        level, array = _split(before, bit)
        zeros, ones, repeats = before[level.zeros], before[level.ones], level.ones_before()
        which = np.repeat(np.arange(zeros.size), repeats)
        within = np.arange(which.size) - np.repeat(np.cumsum(repeats) - repeats, repeats)
        small.append(zeros[which])
        large.append(ones[(which & ~(level.half - 1)) + within])
    return np.concatenate(small).astype(np.intp), np.concatenate(large).astype(np.intp)


def inverse(permutation: IntArray) -> IntArray:
    """Return the inverse of a permutation."""
    result = np.empty_like(permutation)
    result[permutation] = np.arange(permutation.size)
    return result
