"""Variance of Kendall's sum of signs when there is no association, ties and labels included."""

from __future__ import annotations

import numpy as np

from agree.estimators.lines.sorted_points import Points


def null_variance(p: Points) -> float:
    """Variance of the sum of signs over all pairs if z is in random order, given s: (N + sum A^2)/3.

    A is the number of points below less that above each, in s, of other labels. Signs of two pairs are correlated only
    if they share a point, with 1/3 in z. Without ties or labels it is n (n - 1)(2n + 5)/18.
    """
    n = p.s.size
    net = 2 * (np.searchsorted(p.s, p.s) + (p.group + 1) / 2) - n - 1
    if p.labels is not None:
        order, same, tied = p.labels.order, p.labels.same, p.labels.tied
        s, code = p.s[order], p.labels.code[order]
        place = np.arange(n)
        start = place[np.r_[True, code[1:] != code[:-1]]].repeat(np.bincount(code)[np.unique(code)])
        first = np.maximum.accumulate(np.where(np.r_[True, (s[1:] != s[:-1]) | (code[1:] != code[:-1])], place, 0))
        net[order] -= 2 * (first - start + (tied[order] + 1) / 2) - same[order] - 1
    return float(p.n_slopes + np.square(net).sum()) / 3
