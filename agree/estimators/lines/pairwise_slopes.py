"""Pairwise slopes by rank, without listing them: O(n log n) time and O(n) memory.

With s = reference + device and t = device - reference, a pair's slope b of device on reference is
(1 + m)/(1 - m), m being the pair's slope of t on s, and the order of m is the shifted order of b that Passing &
Bablok (1983) ask for. The pairs with m below a trial value are those whose order by z = t - m s is the reverse of
their order by s: inversions of a permutation. Counting them places the trial value; two trial values with few pairs
between them leave few slopes to list (Matousek 1991; Dillencourt, Mount & Netanyahu 1992).

Points may come in blocks, with slopes within a block only; and pairs of points with one label may be left out: their
inversions are counted apart and taken away.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.estimators.lines.close_ranks import Known, Line, pairs_around
from agree.estimators.lines.equal_points import first_and_weight, ranked, weighted_inversions
from agree.estimators.lines.inversions import IntArray, count_inversions, inverse, inversions_of_each, list_inversions

LISTED = 60_000       # pairs worth listing at once; 2 n if that is more
SAMPLE = 12_000       # random pairs that place the first trial values
MAX_ROUNDS = 200
EPS = float(np.finfo(float).eps)
ALIKE = 8 * EPS       # sums that differ by less are one; |s| < 2 after scaling
MANY = 30_000         # points from which on close brackets are quicker; set on benchmarks/passing_bablok.py


class Labels(NamedTuple):
    """Labels of points: code of each, points in order of code, and how many share a code, or code and s."""

    code: IntArray
    order: IntArray
    same: IntArray
    tied: IntArray

    def within(self, ranks: IntArray) -> IntArray:
        """Permutation, in `order`, whose inversions are those of `ranks` between points of one label."""
        return inverse(np.lexsort((ranks[self.order], self.code[self.order])))


class Points(NamedTuple):
    """Pairs in order of block, s, then t; `group` is the number of points of the block with the same s."""

    x: FloatArray
    y: FloatArray
    s: FloatArray
    t: FloatArray
    order: IntArray
    group: IntArray
    n_slopes: int
    blur: float  # two m closer than this cannot be told apart by z
    n_listed: int  # slopes, those within a label included
    block: IntArray | None
    labels: Labels | None
    weight: IntArray | None = None  # how often each point comes; None: once


def points(x: FloatArray, y: FloatArray, label: IntArray | None = None, block: IntArray | None = None) -> Points:
    """Rotate by 45 degrees and sort. Values are scaled by a power of two first, which changes no digit.

    Pairs with equal `label` have no slope, nor have pairs with different `block`; a label lies in one block.
    """
    exponent = -int(np.frexp(max(np.abs(x).max(), np.abs(y).max()))[1])
    x, y = np.ldexp(x, exponent), np.ldexp(y, exponent)
    s, t = x + y, y - x
    order = np.argsort(s)
    if block is not None or not np.diff(s[order]).min(initial=1.0) > ALIKE:
        s = _alike(s, order)
        order = np.lexsort((t, s) if block is None else (t, s, block))
    x, y, s, t = x[order], y[order], s[order], t[order]
    block = None if block is None else block[order]
    group = _runs(s) if block is None else _runs(s, block)
    gaps = np.diff(s)
    blocks = np.array([s.size]) if block is None else np.bincount(block)
    n_listed = int((blocks * blocks).sum() - group.sum()) // 2
    labels = None if label is None else _labels(label[order], s)
    left_out = 0 if labels is None else int((labels.same - labels.tied).sum()) // 2
    blur = 16 * EPS / float(gaps[gaps > 0].min(initial=1.0))
    return Points(x, y, s, t, order, group, n_listed - left_out, blur, n_listed, block, labels)


def merged(p: Points) -> Points:
    """Equal points as one with a weight, where that leaves few: for `slope_of_rank` alone."""
    found = None if p.block is not None or p.labels is not None else first_and_weight(p.s, p.t)
    if found is None:
        return p
    first, weight = found
    group = _runs(p.s[first])
    listed = (first.size**2 - int(group.sum())) // 2
    return p._replace(x=p.x[first], y=p.y[first], s=p.s[first], t=p.t[first], order=p.order[first], group=group,
                      n_listed=listed, weight=weight)


def _runs(*columns: NDArray[Any]) -> IntArray:
    """Length of the run of neighbours equal in all columns that each element is in."""
    new = np.any([column[1:] != column[:-1] for column in columns], axis=0)
    size = np.diff(np.r_[np.flatnonzero(np.r_[True, new]), new.size + 1])
    return np.repeat(size, size)


def _labels(code: IntArray, s: FloatArray) -> Labels:
    order = np.argsort(code, kind="stable")
    tied = np.empty_like(order)
    tied[order] = _runs(s[order], code[order])
    return Labels(code, order, np.bincount(code)[code], tied)


def _alike(s: FloatArray, order: IntArray) -> FloatArray:
    """Make sums equal that differ by rounding only, such as 100 + 100.1 and 100.7 + 99.4."""
    step = np.diff(s[order]) > ALIKE
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
    order = np.argsort(z, kind="stable" if p.group.max() > 1 else None) if p.block is None else np.lexsort((z, p.block))
    ranks[order] = np.arange(n)
    return ranks


def count_below(p: Points, m: float) -> int:
    """Count the slopes below m."""
    ranks = ranks_at(p, m)
    return count_inversions(ranks) - (count_inversions(p.labels.within(ranks)) if p.labels else 0)


def n_pairs(x: FloatArray, y: FloatArray, label: IntArray | None = None) -> int:
    """Count the pairs of different labels that are not identical."""
    order = np.lexsort((y, x))
    total = x.size**2 - int(_runs(x[order], y[order]).sum())
    if label is not None:
        order = np.lexsort((y, x, label))
        total -= int(np.square(np.bincount(label)).sum() - _runs(label[order], x[order], y[order]).sum())
    return total // 2


def slopes(p: Points, i: IntArray, j: IntArray) -> FloatArray:
    """Slope of device on reference of each pair with s[i] < s[j]; +inf where the reference is equal."""
    with np.errstate(divide="ignore"):
        result: FloatArray = np.divide(p.y[j] - p.y[i], p.x[j] - p.x[i])
    return result


class _Bracket:
    """Two trial values of m with the wanted ranks between them."""

    def __init__(self, p: Points, first: int, last: int) -> None:
        self.p, self.first, self.last = p, first, last
        self.low, self.high, self.below, self.up_to = -math.inf, math.inf, 0, p.n_slopes
        self.at_low, self.at_high = ranks_at(p, self.low), ranks_at(p, self.high)
        self.all_below, self.all_up_to = 0, p.n_listed

    @property
    def inside(self) -> int:
        """Number of pairs that listing takes, those within a label included."""
        return self.all_up_to - self.all_below

    def try_value(self, m: float) -> None:
        """Count the slopes below m and draw in one side; a value that splits the wanted ranks is of no use."""
        if not self.low < m < self.high:
            return
        ranks = ranks_at(self.p, m)
        listed = count_inversions(ranks)
        count = (listed - (count_inversions(self.p.labels.within(ranks)) if self.p.labels else 0)
                 if self.p.weight is None else weighted_inversions(ranks, self.p.weight))
        if count < self.first:
            self.low, self.below, self.all_below, self.at_low = m, count, listed, ranks
        elif count >= self.last:
            self.high, self.up_to, self.all_up_to, self.at_high = m, count, listed, ranks

    def pairs(self) -> tuple[IntArray, IntArray]:
        """Return the indices of all pairs inside, the one with the smaller s first."""
        element = inverse(self.at_high)
        i, j = list_inversions(self.at_high[inverse(self.at_low)])
        i, j = element[i], element[j]
        if self.p.labels is not None:
            apart = self.p.labels.code[i] != self.p.labels.code[j]
            i, j = i[apart], j[apart]
        return np.minimum(i, j), np.maximum(i, j)

    def adjacent(self) -> tuple[IntArray, IntArray]:
        """Return some of the pairs inside: those side by side at the low end and reversed at the high."""
        element = inverse(self.at_low)
        down = np.flatnonzero(np.diff(self.at_high[element]) < 0)
        return np.minimum(element[down], element[down + 1]), np.maximum(element[down], element[down + 1])


def rotated(p: Points, i: IntArray, j: IntArray) -> FloatArray:
    """Slope m of t on s of each pair, sorted."""
    return np.sort((p.t[j] - p.t[i]) / (p.s[j] - p.s[i]))


def sample(p: Points) -> FloatArray:
    """Slopes m of random pairs, sorted; the seed is fixed, and no result depends on it."""
    pair = np.random.default_rng(1983).integers(0, p.s.size, (2, SAMPLE))
    i, j = pair.min(axis=0), pair.max(axis=0)  # within a block, in order of s
    keep = p.s[i] < p.s[j]
    if p.block is not None:
        keep &= p.block[i] == p.block[j]
    if p.labels is not None:
        keep &= p.labels.code[i] != p.labels.code[j]
    return rotated(p, i[keep], j[keep])


def _draw_in(bracket: _Bracket, sample: FloatArray, cap: int) -> bool:
    """Narrow the bracket until at most `cap` slopes are inside; True if one value alone fills it with more."""
    p, target = bracket.p, (bracket.first + bracket.last) / 2
    share = target / p.n_slopes
    if sample.size > 100:
        margin = 3.5 * math.sqrt(sample.size * share * (1 - share)) + 3
        low, mid, high = (int(np.clip(share * sample.size + k * margin, 0, sample.size - 1)) for k in (-1, 0, 1))
        # A value that makes up more than can be listed must be tried itself: no bracket leaves it out.
        heavy = (sample == sample[mid]).sum() > sample.size * cap / (p.n_listed if p.weight is not None else p.n_slopes
                                                                     ) + 1
        if heavy and _pinned(bracket, sample[mid], cap):
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
            at = bracket.low + width * (target - bracket.below) / max(bracket.up_to - bracket.below, 1)
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


def slope_of_rank(p: Points, first: int, last: int, sample: FloatArray, known: Known | None = None) -> float:
    """Mean of the slopes of ranks `first` to `last` (1-based, equal or neighbours) in shifted order.

    `sample` holds slopes m of random pairs, in order; it decides where to look first, not what is found. `known` are
    counts of former searches among these points; those of this one are added.
    """
    close = None
    if p.weight is None and p.s.size >= MANY and p.block is None and p.labels is None and p.group.max() == 1:
        close = pairs_around(Line((p.s, p.t)), first, last, sample, [] if known is None else known, p.n_slopes)
    if close is not None:
        i, j, below = close
        low, high = map(float, ranked(slopes(p, i, j), [k - below - 1 for k in (first, last)]))
        return low if low == high else (low + high) / 2
    cap = max(LISTED, 2 * p.s.size)
    bracket = _Bracket(p, first, last)
    if (p.n_slopes if p.weight is None else p.n_listed) > cap and _draw_in(bracket, sample, cap):
        return float(np.median(slopes(p, *bracket.adjacent())))  # all of them are one value
    i, j = bracket.pairs()
    b, places = slopes(p, i, j), [k - bracket.below - 1 for k in (first, last)]
    low, high = map(float, ranked(b, places, None if p.weight is None else p.weight[i] * p.weight[j]))
    return low if low == high else (low + high) / 2


def tau_scores(p: Points, m: float) -> FloatArray:
    """For each point, in the caller's order: sum over the others of the sign of (s_j - s_i)(z_j - z_i), over n - 1.

    Averaged over m a blur to either side, so that pairs with slope m count 0; pairs of one label count 0.
    """
    n, blur = p.s.size, p.blur * (1 + abs(m))
    total = (n - p.group).astype(float)
    for k in (-1, 1):
        ranks = ranks_at(p, m + k * blur)
        total -= inversions_of_each(ranks)
        if p.labels is not None:
            total[p.labels.order] += inversions_of_each(p.labels.within(ranks))
    if p.labels is not None:
        total -= p.labels.same - p.labels.tied
    scores = np.empty(n)
    scores[p.order] = total / (n - 1)
    return scores
