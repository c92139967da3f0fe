"""Slopes of given ranks among very many points: the count at a few trial values leads to a bracket that hardly moves.

Between two near trial values few points change places, and none by much. What is inside such a bracket is listed by
comparing each point with its next neighbours, instead of by counting once more.
"""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.estimators.lines.inversions import IntArray, count_inversions

Known = list[tuple[float, int]]  # trial values, and the number of slopes below each

INSIDE = 0.6      # slopes wanted inside the bracket, per point
MOST_MOVED = 64   # places; a bracket in which a point moves farther is too wide
TRIES = 4
NEAR = 0.03       # share of the sample to either side that gives the first density
STEP = 8 * float(np.finfo(float).eps)  # of t, between points that are equal: what t - m s is still told apart by


class Line(tuple[FloatArray, FloatArray]):
    """Points in order of s, then t, no two equal: (s, t)."""

    def order(self, m: float) -> IntArray:
        """Points in order of z = t - m s."""
        s, t = self
        result: IntArray = np.argsort(t - m * s)
        return result


def parted(s: FloatArray, t: FloatArray) -> tuple[Line, float] | None:
    """Line of points in order of s, then t, and how far from a trial value slopes may be taken for the other side.

    Points of equal s are to keep their order at every trial value. Equal ones among them are moved apart by the least
    that keeps it; None if others are as near as that.
    """
    tied = np.flatnonzero(s[1:] == s[:-1]) + 1
    if tied.size == 0:
        return Line((s, t)), 0.0
    gap = t[tied] - t[tied - 1]
    equal = tied[gap == 0]
    new = np.ones(s.size, bool)
    new[equal] = False
    first = np.flatnonzero(new)
    place = np.arange(s.size) - np.repeat(first, np.diff(np.r_[first, s.size]))
    most = STEP * (int(place.max()) + 2)
    if float(gap[gap > 0].min(initial=1.0)) < 2 * most:
        return None
    steps = np.diff(s)
    nearest = float(steps[steps > 0].min(initial=1.0))
    return Line((s, t + STEP * place)), 4 * most / nearest


def guess(known: Known, target: float, per_slope: float) -> float:
    """Value at which `target` slopes are below, from the two counts nearest to it; `per_slope` if there is one."""
    near = sorted(known, key=lambda item: abs(item[1] - target))
    (m, count), other = near[0], near[1:2]
    if other and other[0][1] != count and other[0][0] != m:
        per_slope = (other[0][0] - m) / (other[0][1] - count)
    return m + (target - count) * per_slope


def moved_pairs(places: IntArray) -> tuple[IntArray, IntArray] | None:
    """Pairs (i, j), i < j, with places[i] > places[j]; None if a place is more than MOST_MOVED away."""
    farthest = int(np.abs(places - np.arange(places.size)).max())
    if farthest > MOST_MOVED:
        return None
    places = places.astype(np.int32)
    first, second = [], []
    for k in range(1, 2 * farthest):  # of a pair i < j, i lies below places[i] + farthest, j above places[j] - farthest
        found = np.flatnonzero(places[:-k] > places[k:])
        first.append(found)
        second.append(found + k)
    if not first:
        return np.empty(0, np.intp), np.empty(0, np.intp)
    return np.concatenate(first), np.concatenate(second)


def pairs_around(
    line: Line, first: int, last: int, sample: FloatArray, known: Known, n_slopes: int
) -> tuple[IntArray, IntArray, int, tuple[float, float]] | None:
    """Pairs of points, in order of s, among which the slopes of rank `first` to `last` are, and how many lie below.

    The trial values between which they lie come last. `known` is added to and serves the
    next search. None if no bracket is found, which a lump of equal slopes brings.
    """
    n, target = line[0].size, (first + last) / 2
    share = target / n_slopes
    around = np.quantile(sample, np.clip([share - NEAR, share, share + NEAR], 0, 1))
    per_slope = float(around[2] - around[0]) / (2 * NEAR * n_slopes)
    if not per_slope > 0:
        return None
    if not known:
        known.append((float(around[1]), count_inversions(line.order(float(around[1])))))
    nearest = min(abs(count - target) for _, count in known)
    if nearest > INSIDE * n and len(known) < 2:
        m = guess(known, target, per_slope)
        known.append((m, count_inversions(line.order(m))))
    inside = INSIDE * n
    for _ in range(TRIES):
        low = guess(known, target - inside / 2, per_slope)
        at_low = line.order(low)
        below = count_inversions(at_low)
        known.append((low, below))
        if below >= first or below < target - 4 * inside:
            continue
        place = np.empty(n, np.intp)
        place[at_low] = np.arange(n)
        high = guess(known, 2 * target - below, per_slope)
        at_high = line.order(high)
        pairs = moved_pairs(place[at_high])
        if pairs is not None and below + pairs[0].size >= last:
            i, j = at_high[pairs[0]], at_high[pairs[1]]
            return np.minimum(i, j), np.maximum(i, j), below, (low, high)
        inside = 2 * inside if pairs is not None else inside / 2
    return None
