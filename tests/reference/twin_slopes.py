"""Inversions and tau scores by comparing all pairs; exact arithmetic where it matters."""

from fractions import Fraction


def inversions(ranks):
    """Pairs of ranks (smaller, larger) in reverse order, sorted."""
    return sorted((int(b), int(a)) for i, a in enumerate(ranks) for b in ranks[i + 1:] if a > b)


def inversions_of_each(ranks):
    """Number of inversions each element takes part in."""
    pairs = inversions(ranks)
    return [sum(int(rank) in pair for pair in pairs) for rank in ranks]


def tau_scores(x, y, m):
    """Mean over the others of the sign of (s_j - s_i)(z_j - z_i), z = t - m s; integers and a Fraction m."""
    s, t = [a + b for a, b in zip(x, y, strict=True)], [b - a for a, b in zip(x, y, strict=True)]
    n = len(s)

    def sign(v):
        return (v > 0) - (v < 0)

    return [Fraction(sum(sign(s[j] - s[i]) * sign(t[j] - t[i] - m * (s[j] - s[i])) for j in range(n)), n - 1)
            for i in range(n)]
