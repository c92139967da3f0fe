"""Passing & Bablok's line without signs and without slopes inside a group: list all slopes, sort, count.

Slow (all pairs) and obvious; shares no code with the package.
"""

import itertools
import math

import numpy as np
from scipy.stats import norm


def variance(s, group):
    """Variance of the sum of signs given s, z in random order, over all pairs of pairs: 1 for a pair with itself, and a
    third of the product of their signs in s for two that share a point."""
    pairs = [(i, j) for i, j in itertools.combinations(range(len(s)), 2) if group[i] != group[j] and s[i] != s[j]]
    total = 0.0
    for (i, j), (k, m) in itertools.product(pairs, repeat=2):
        shared = {i, j} & {k, m}
        if len(shared) == 2:
            total += 1
        elif shared:
            (c,) = shared
            a, b = (j if i == c else i), (m if k == c else k)
            total += np.sign(s[a] - s[c]) * np.sign(s[b] - s[c]) / 3
    return total


def line(x, y, group=None, equivariant=False, level=0.95):
    """Slope, its limits, number of slopes; limits infinite where unbounded."""
    n = len(x)
    label = range(n) if group is None else group
    slopes = []
    for i, j in itertools.combinations(range(n), 2):
        dx, dy = x[j] - x[i], y[j] - y[i]
        if label[i] == label[j] or (dx == 0 and dy == 0) or (not equivariant and dx == -dy):
            continue
        slopes.append(math.inf if dx == 0 else dy / dx)
    rising = sum(b > 0 and b < math.inf for b in slopes) - sum(b < 0 for b in slopes)
    key = abs if equivariant else (lambda b: (b < -1, b))
    ordered = sorted((abs(b) if equivariant else b for b in slopes), key=key)
    total = len(ordered)
    low, high = ordered[(total + 1) // 2 - 1], ordered[total // 2]
    slope = low if low == high else math.sqrt(low * high) if equivariant else (low + high) / 2
    s = [y[i] + slope * x[i] for i in range(n)] if equivariant and rising > 0 else (
        [y[i] - slope * x[i] for i in range(n)] if equivariant else [x[i] + y[i] for i in range(n)])
    square = n * (n - 1) * (2 * n + 5) / 18 if group is None else variance(s, label)
    half = norm.ppf((1 + level) / 2) * math.sqrt(square)
    rank = round((total - half) / 2)
    low, high = (ordered[rank - 1], ordered[total - rank]) if rank >= 1 else (-math.inf, math.inf)
    if low > high:
        low, high = -math.inf, math.inf
    if equivariant and rank >= 1:
        low, high = (-high, high) if abs(rising) <= half else (low, high) if rising > 0 else (-high, -low)
    return (slope if rising > 0 or not equivariant else -slope), low, high, total
