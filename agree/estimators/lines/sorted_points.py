"""Points of all pairwise slopes, sorted along the line of identity, equal ones and labels known."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.estimators.lines.close_ranks import Line, parted
from agree.estimators.lines.equal_points import first_and_weight
from agree.estimators.lines.inversions import IntArray, inverse

EPS = float(np.finfo(float).eps)
ALIKE = 8 * EPS       # sums that differ by less are one; |s| < 2 after scaling


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
    apart: tuple[Line, float] | None = None  # see `parted`; None with blocks or labels


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
        order = _by_t(order, s, t) if block is None else np.lexsort((t, s, block))
    x, y, s, t = x[order], y[order], s[order], t[order]
    block = None if block is None else block[order]
    group = run_lengths(s) if block is None else run_lengths(s, block)
    gaps = np.diff(s)
    blocks = np.array([s.size]) if block is None else np.bincount(block)
    n_listed = int((blocks * blocks).sum() - group.sum()) // 2
    labels = None if label is None else _labels(label[order], s)
    left_out = 0 if labels is None else int((labels.same - labels.tied).sum()) // 2
    blur = 16 * EPS / float(gaps[gaps > 0].min(initial=1.0))
    apart = parted(s, t) if block is None and label is None else None
    return Points(x, y, s, t, order, group, n_listed - left_out, blur, n_listed, block, labels, apart=apart)


def merged(p: Points) -> Points:
    """Equal points as one with a weight, where that leaves few: for `slope_of_rank` alone."""
    found = None if p.block is not None or p.labels is not None else first_and_weight(p.s, p.t)
    if found is None:
        return p
    first, weight = found
    group = run_lengths(p.s[first])
    listed = (first.size**2 - int(group.sum())) // 2
    return p._replace(x=p.x[first], y=p.y[first], s=p.s[first], t=p.t[first], order=p.order[first], group=group,
                      n_listed=listed, weight=weight)


def run_lengths(*columns: NDArray[Any]) -> IntArray:
    """Length of the run of neighbours equal in all columns that each element is in."""
    new = np.any([column[1:] != column[:-1] for column in columns], axis=0)
    size = np.diff(np.r_[np.flatnonzero(np.r_[True, new]), new.size + 1])
    return np.repeat(size, size)


def _labels(code: IntArray, s: FloatArray) -> Labels:
    order = np.argsort(code, kind="stable")
    tied = np.empty_like(order)
    tied[order] = run_lengths(s[order], code[order])
    return Labels(code, order, np.bincount(code)[code], tied)


def _alike(s: FloatArray, order: IntArray) -> FloatArray:
    """Make sums equal that differ by rounding only, such as 100 + 100.1 and 100.7 + 99.4."""
    step = np.diff(s[order]) > ALIKE
    first = np.flatnonzero(np.r_[True, step])
    result = np.empty_like(s)
    result[order] = s[order][first].repeat(np.diff(np.r_[first, s.size]))
    return result


def _by_t(order: IntArray, s: FloatArray, t: FloatArray) -> IntArray:
    """Points in order of s, then t, from those in `order` of s: np.lexsort((t, s)), quicker for readings with a step.

    Those have sums far enough apart to hold t in the digits below them; where the digits do not suffice it is seen.
    """
    steps = np.diff(s[order])
    quick: IntArray = np.argsort(s + t * (float(steps[steps > 0].min(initial=1.0)) / 16))  # |t| < 2 after scaling
    first, then = s[quick], t[quick]
    in_order = (first[1:] > first[:-1]) | ((first[1:] == first[:-1]) & (then[1:] >= then[:-1]))
    return quick if in_order.all() else np.lexsort((t, s))
