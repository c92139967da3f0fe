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

import numpy as np

from agree.core.checks import FloatArray
from agree.estimators.lines.close_ranks import Known, pairs_around
from agree.estimators.lines.equal_points import ranked, weighted_inversions
from agree.estimators.lines.inversions import IntArray, count_inversions, inverse, inversions_of_each, list_inversions
from agree.estimators.lines.sorted_points import Points, run_lengths

LISTED = 60_000       # pairs worth listing at once; 2 n if that is more
SAMPLE = 12_000       # random pairs that place the first trial values
MAX_ROUNDS = 200
MANY = 30_000         # points from which on close brackets are quicker; set on benchmarks/passing_bablok.py


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
    total = x.size**2 - int(run_lengths(x[order], y[order]).sum())
    if label is not None:
        order = np.lexsort((y, x, label))
        total -= int(np.square(np.bincount(label)).sum() - run_lengths(label[order], x[order], y[order]).sum())
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


def _closely(p: Points, first: int, last: int, sample: FloatArray, known: Known) -> float | None:
    """As `slope_of_rank` by a close bracket; None if there is none, or a slope lies as near its end as rounding."""
    if p.weight is not None or p.s.size < MANY or p.apart is None:
        return None
    line, unsure = p.apart
    close = pairs_around(line, first, last, sample, known, p.n_slopes)
    if close is None:
        return None
    i, j, below, ends = close
    low, high = map(float, ranked(slopes(p, i, j), [k - below - 1 for k in (first, last)]))
    # An end splits slopes that are nearer to it than `unsure` at random: their order is not known.
    turned = [(b - 1) / (b + 1) for b in (low, high) if math.isfinite(b) and b != -1]
    if unsure > 0 and min((abs(m - end) for m in turned for end in ends), default=1.0) <= unsure:
        return None
    return low if low == high else (low + high) / 2


def slope_of_rank(p: Points, first: int, last: int, sample: FloatArray, known: Known | None = None) -> float:
    """Mean of the slopes of ranks `first` to `last` (1-based, equal or neighbours) in shifted order.

    `sample` holds slopes m of random pairs, in order; it decides where to look first, not what is found. `known` are
    counts of former searches among these points; those of this one are added.
    """
    found = _closely(p, first, last, sample, [] if known is None else known)
    if found is not None:
        return found
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
