"""Pairwise slopes by rank, without listing them: O(n log n) time and O(n) memory.

With s = reference + device and t = device - reference, a pair's slope b of device on reference is
(1 + m)/(1 - m), m being the pair's slope of t on s, and the order of m is the shifted order of b that Passing &
Bablok (1983) ask for. The pairs with m below a trial value are those whose order by z = t - m s is the reverse of
their order by s: inversions of a permutation. Counting them places the trial value; two trial values with few pairs
between them leave few slopes to list (Matousek 1991; Dillencourt, Mount & Netanyahu 1992).
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree._check import FloatArray

IntArray = NDArray[np.intp]
LISTED = 60_000       # pairs worth listing at once; 2 n if that is more
SAMPLE = 20_000       # random pairs that place the first trial values
MAX_ROUNDS = 200
LEAF = 4              # blocks of 2^LEAF are compared outright
EPS = float(np.finfo(float).eps)


class Points(NamedTuple):
    """Pairs in order of s, then t; `group` is the number of points with the same s."""

    x: FloatArray
    y: FloatArray
    s: FloatArray
    t: FloatArray
    order: IntArray
    group: IntArray
    n_slopes: int
    blur: float  # two m closer than this cannot be told apart by z


def points(x: FloatArray, y: FloatArray) -> Points:
    """Rotate by 45 degrees and sort. Values are scaled by a power of two first, which changes no digit."""
    exponent = -int(np.frexp(max(np.abs(x).max(), np.abs(y).max()))[1])
    x, y = np.ldexp(x, exponent), np.ldexp(y, exponent)
    s, t = x + y, y - x
    s = _alike(s)
    order = np.lexsort((t, s))
    x, y, s, t = x[order], y[order], s[order], t[order]
    first = np.flatnonzero(np.r_[True, s[1:] != s[:-1]])
    size = np.diff(np.r_[first, s.size])
    gap = np.diff(s[first]).min() if first.size > 1 else 1.0
    n = int(s.size)
    n_slopes = n * (n - 1) // 2 - int((size * (size - 1) // 2).sum())
    return Points(x, y, s, t, order, np.repeat(size, size), n_slopes, 16 * EPS / float(gap))


def _alike(s: FloatArray) -> FloatArray:
    """Make sums equal that differ by rounding only, such as 100 + 100.1 and 100.7 + 99.4."""
    order = np.argsort(s)
    step = np.diff(s[order]) > 8 * EPS  # |s| < 2 after scaling
    first = np.flatnonzero(np.r_[True, step])
    result = np.empty_like(s)
    result[order] = s[order][first].repeat(np.diff(np.r_[first, s.size]))
    return result


def ranks_at(p: Points, m: float) -> IntArray:
    """Rank of each point by z = t - m s; points with equal s keep their order, so that they are no inversion."""
    n = p.s.size
    if m == -math.inf:
        return np.arange(n)
    z = -p.s if m == math.inf else p.t - m * p.s
    ranks = np.empty(n, np.intp)
    # The stable sort is slower, and only points with equal s need it.
    ranks[np.argsort(z, kind="stable" if p.group.max() > 1 else None)] = np.arange(n)
    return ranks


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
    """Number of pairs i < j with ranks[i] > ranks[j].

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
    leaves = np.ascontiguousarray(array.reshape(-1, 1 << LEAF).T)
    return total + sum(int(np.count_nonzero(leaves[:-k] > leaves[k:])) for k in range(1, 1 << LEAF))


def inversions_of_each(ranks: IntArray) -> IntArray:
    """Number of inversions each element takes part in."""
    array, bits = _padded(ranks)
    counts = np.zeros(array.size, np.intp)
    for bit in range(bits - 1, -1, -1):
        before = array
        level, array = _split(before, bit)
        counts[before[level.zeros]] += level.ones_before()
        counts[before[level.ones]] += level.zeros_after()
    return counts[ranks]


def list_inversions(ranks: IntArray) -> tuple[IntArray, IntArray]:
    """All pairs of ranks (smaller, larger) that stand in reverse order; memory grows with their number."""
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


def slopes(p: Points, i: IntArray, j: IntArray) -> FloatArray:
    """Slope of device on reference of each pair with s[i] < s[j]; +inf where the reference is equal."""
    with np.errstate(divide="ignore"):
        result: FloatArray = np.divide(p.y[j] - p.y[i], p.x[j] - p.x[i])
    return result


def ranked(b: FloatArray, rank: list[int]) -> FloatArray:
    """Slopes of the given ranks (0-based) in the order from just above -1 to infinity, minus infinity to -1."""
    places = (np.array(rank) + int((b < -1).sum())) % b.size
    result: FloatArray = np.partition(b, places)[places]
    return result


def inverse(permutation: IntArray) -> IntArray:
    """Inverse of a permutation."""
    result = np.empty_like(permutation)
    result[permutation] = np.arange(permutation.size)
    return result


class _Bracket:
    """Two trial values of m with the wanted ranks between them."""

    def __init__(self, p: Points, first: int, last: int) -> None:
        self.p, self.first, self.last = p, first, last
        self.low, self.high, self.below, self.up_to = -math.inf, math.inf, 0, p.n_slopes
        self.at_low, self.at_high = ranks_at(p, self.low), ranks_at(p, self.high)

    @property
    def inside(self) -> int:
        return self.up_to - self.below

    def try_value(self, m: float) -> None:
        """Count the slopes below m and draw in one side; a value that splits the wanted ranks is of no use."""
        if not self.low < m < self.high:
            return
        ranks = ranks_at(self.p, m)
        count = count_inversions(ranks)
        if count < self.first:
            self.low, self.below, self.at_low = m, count, ranks
        elif count >= self.last:
            self.high, self.up_to, self.at_high = m, count, ranks

    def pairs(self) -> tuple[IntArray, IntArray]:
        """Indices of all pairs inside, the one with the smaller s first."""
        element = inverse(self.at_high)
        i, j = list_inversions(self.at_high[inverse(self.at_low)])
        i, j = element[i], element[j]
        return np.minimum(i, j), np.maximum(i, j)

    def adjacent(self) -> tuple[IntArray, IntArray]:
        """Some of the pairs inside: those that stand side by side at the low end and are reversed at the high."""
        element = inverse(self.at_low)
        down = np.flatnonzero(np.diff(self.at_high[element]) < 0)
        return np.minimum(element[down], element[down + 1]), np.maximum(element[down], element[down + 1])


def rotated(p: Points, i: IntArray, j: IntArray) -> FloatArray:
    """Slope m of t on s of each pair, sorted."""
    return np.sort((p.t[j] - p.t[i]) / (p.s[j] - p.s[i]))


def sample(p: Points) -> FloatArray:
    """Slopes m of random pairs, sorted; the seed is fixed, and no result depends on it."""
    pair = np.random.default_rng(1983).integers(0, p.s.size, (2, SAMPLE))
    i, j = pair.min(axis=0), pair.max(axis=0)
    keep = p.s[i] < p.s[j]
    return rotated(p, i[keep], j[keep])


def _draw_in(bracket: _Bracket, sample: FloatArray, cap: int) -> bool:
    """Narrow the bracket until at most `cap` slopes are inside; True if one value alone fills it with more."""
    p, target = bracket.p, (bracket.first + bracket.last) / 2
    share = target / p.n_slopes
    if sample.size > 100:
        margin = 3.5 * math.sqrt(sample.size * share * (1 - share)) + 3
        low, mid, high = (int(np.clip(share * sample.size + k * margin, 0, sample.size - 1)) for k in (-1, 0, 1))
        if sample[max(mid - 1, 0)] == sample[mid] and _pinned(bracket, sample[mid], cap):
            return True
        bracket.try_value(sample[low])
        bracket.try_value(sample[high])
    widen = 0.006
    for _ in range(MAX_ROUNDS):
        before = bracket.inside
        if before <= cap:
            return False
        if math.isfinite(bracket.low) and math.isfinite(bracket.high):
            width = bracket.high - bracket.low
            at = bracket.low + width * (target - bracket.below) / before
            half = width * max(widen, 0.3 * cap / before)
            bracket.try_value(at - half)
            bracket.try_value(at + half)
        if bracket.inside > before // 3:
            widen = min(2 * widen, 0.25)
            near = rotated(p, *bracket.adjacent())
            if _pinned(bracket, near[near.size // 2], cap):
                return True
    raise AssertionError("slopes could not be bracketed")  # pragma: no cover


def _pinned(bracket: _Bracket, m: float, cap: int) -> bool:
    """Try m a blur to either side; True if the wanted ranks all lie there and are too many to list."""
    blur = bracket.p.blur * (1 + abs(m))
    bracket.try_value(m - blur)
    bracket.try_value(m + blur)
    return bracket.inside > cap and bracket.low >= m - blur and bracket.high <= m + blur


def slope_of_rank(p: Points, first: int, last: int, sample: FloatArray) -> float:
    """Mean of the slopes of ranks `first` to `last` (1-based, equal or neighbours) in shifted order.

    `sample` holds slopes m of random pairs, in order; it decides where to look first, not what is found.
    """
    cap = max(LISTED, 2 * p.s.size)
    bracket = _Bracket(p, first, last)
    if p.n_slopes > cap and _draw_in(bracket, sample, cap):
        return float(np.median(slopes(p, *bracket.adjacent())))  # all of them are one value
    low, high = map(float, ranked(slopes(p, *bracket.pairs()), [k - bracket.below - 1 for k in (first, last)]))
    return low if low == high else (low + high) / 2


def tau_scores(p: Points, m: float) -> FloatArray:
    """For each point, in the caller's order: mean over the others of the sign of (s_j - s_i)(z_j - z_i).

    Averaged over m a blur to either side, so that pairs with slope m count 0.
    """
    n, blur = p.s.size, p.blur * (1 + abs(m))
    reversed_ = sum(inversions_of_each(ranks_at(p, m + k * blur)) for k in (-1, 1))
    scores = np.empty(n)
    scores[p.order] = (n - p.group - reversed_) / (n - 1)
    return scores
