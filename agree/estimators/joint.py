"""How wide intervals must be to hold all at once, from the joint law of their t ratios."""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from agree.core.checks import FloatArray

DRAWS = 4096
SEED = 8191
LARGE_DF = 60  # from here on the variances are taken from chi-square draws of their own


def shrunk(matrix: FloatArray, df: float) -> FloatArray:
    """Correlation matrix drawn towards none at all by as much as chance explains.

    With few degrees of freedom correlations are found where there are none, and would make joint intervals too narrow.
    The off-diagonal is multiplied by 1 - sum var(r) / sum r^2, var(r) about (1 - r^2)^2/df (Schaefer & Strimmer 2005,
    Stat Appl Genet Mol Biol 4:32; from memory).
    """
    scale = np.sqrt(np.diag(matrix))
    r = matrix / np.where(scale > 0, np.outer(scale, scale), 1)
    off = r[~np.eye(r.shape[0], dtype=bool)]
    square = float(off @ off)
    keep = max(0.0, 1 - float(np.square(1 - off**2).sum()) / df / square) if square > 0 else 0.0
    result: FloatArray = keep * r + (1 - keep) * np.eye(r.shape[0])
    return result


def largest_t(root: FloatArray, df: float) -> FloatArray:
    """Sorted draws of the largest |t| of k estimates, `root` @ `root`.T being their correlations.

    Each t is a normal value over the root of its own variance estimate, both from draws with these correlations: the
    law of means of cosine coefficients or of sessions. The draws are fixed, from a seeded generator.
    """
    root = root[root.any(axis=1)]  # an estimate without error is never off
    k, rank = root.shape
    if k == 0:
        return np.zeros(DRAWS)
    rng = np.random.default_rng(SEED)
    top = np.abs(rng.standard_normal((DRAWS, rank)) @ root.T)
    if math.isinf(df):
        return np.sort(top.max(axis=1))
    if df > LARGE_DF:
        return np.sort((top / np.sqrt(rng.chisquare(df, (DRAWS, 1)) / df)).max(axis=1))
    square = np.zeros((DRAWS, k))
    for _ in range(round(df)):
        square += np.square(rng.standard_normal((DRAWS, rank)) @ root.T)
    return np.sort((top / np.sqrt(square / df)).max(axis=1))


def joint_level(root: FloatArray, df: float, level: float) -> float:
    """Level of one interval at which all hold at once with `level`; never below `level`, nor above Sidak's.

    Of estimates without correlation it is Sidak's itself, `level`^(1/k) (Sidak 1967, JASA 62:626; from memory).
    """
    sidak: float = level ** (1 / root.shape[0])
    about = root @ root.T
    if np.array_equal(about, np.diag(np.diag(about))):
        return sidak
    t = float(np.quantile(largest_t(root, df), level))
    one = 1 - 2 * float(special.ndtr(-t) if math.isinf(df) else special.stdtr(df, -t))
    return min(max(one, level), sidak)


def matrix_root(matrix: FloatArray) -> FloatArray:
    """Return the symmetric root of a non-negative matrix: the one that no choice of eigenvectors changes."""
    values, vectors = np.linalg.eigh(matrix)
    result: FloatArray = (vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T
    return result
