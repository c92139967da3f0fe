"""Whether a session differs from the others by more than they differ and by more than chance within it explains."""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.thresholds import HALF_WEIGHT_S

NODES = 32          # of each distribution that is integrated over; 16 change p-values by less than 2 %
GRID = 128          # variances between sessions that are tried
FAR = 1e12          # times the squares: a variance between sessions beyond any that a node asks for
MOST_TRIED = 20     # sessions: of many the farthest are enough, and each costs as much as there are sessions
_SHARES = ((np.arange(NODES) + 0.5) / NODES) ** 3  # denser near 0, where what is found at all is decided
_WEIGHTS = 3 * ((np.arange(NODES) + 0.5) / NODES) ** 2 / NODES
_WEIGHTS /= _WEIGHTS.sum()


def odd_p_values(values: FloatArray, variances: FloatArray, df: FloatArray, seconds: FloatArray) -> FloatArray:
    r"""Two-sided probability, for each session, that chance puts it so far from the others.

    Parameters
    ----------
    values : (S,) array
        Mean errors of the sessions, in one unit; S is 3 or more.
    variances : (S,) array
        Squares of their standard errors, >= 0: chance within a session.
    df : (S,) array
        Degrees of freedom of these, above 0.
    seconds : (S,) array
        Used seconds of each. A short session may have more of what wanders from minute to minute, so that the variance
        between sessions counts c = 1 + 300/n times for n seconds, as in the weights of the mean; or days may differ
        alike, whatever the length (c = 1). Which is not known: the larger probability of the two is returned.

    Returns
    -------
    (S,) array
        Before any allowance for how many sessions were tried. Of more than 20 sessions those that are nearest to the
        others, for what chance within them explains, are not looked at and have 1.

    Notes
    -----
    Of the others, with :math:`w = 1/(v + c\tau^2)` and :math:`m = \sum w y/\sum w`, the sum
    :math:`Q(\tau^2) = \sum w (y - m)^2` is chi-square with S - 2 degrees of freedom at the true :math:`\tau^2` (as in
    Paule & Mandel's estimate, which sets it to its mean). So each quantile of chi-square gives one :math:`\tau^2`, 0
    where Q(0) is less. Given it, the session differs from m by chance with variance
    :math:`c\tau^2 + v + 1/\sum w`, where v is known with its degrees of freedom only: the variance is averaged over
    its quantiles too. Without chance within the sessions this is the deleted t residual.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.verdict.odd_sessions import odd_p_values
    >>> p = odd_p_values(np.array([0.1, -0.1, 0.0, 0.9]), np.array([0.01, 0.01, 0.01, 0.25]), np.full(4, 8.0),
    ...                  np.array([1800.0, 1800, 1800, 180]))
    >>> bool(p[3] > 0.05)  # a short session, known to +-1
    True
    """
    shapes = np.stack([np.ones(values.size), 1 + HALF_WEIGHT_S / seconds])
    shapes = shapes if np.ptp(seconds) > 0 else shapes[:1]  # of equal sessions the two are one
    found = np.ones(values.size)
    away = values - np.median(values)
    size = np.median(away**2)
    farthest = np.argsort(-(away**2) / np.maximum(variances + size, 1e-300), kind="stable")[:MOST_TRIED]
    for k in farthest.tolist():
        rest = np.arange(values.size) != k
        found[k] = max(_one(values[k], variances[k], df[k], shape[k], values[rest], variances[rest], shape[rest])
                       for shape in shapes)
    return found


def _one(value: float, variance: float, df: float, shape: float, others: FloatArray, known: FloatArray,
         shapes: FloatArray) -> float:
    """P-value of one session beside the others."""
    if not variance and not known.any():
        return _deleted_t(value, shape, others, shapes)
    squares = float(((others - others.mean()) ** 2).sum())
    between = _between(others, known, shapes, squares)
    total = known + np.outer(between, shapes)  # (NODES, S - 1)
    total[total.sum(axis=1) == 0] = 1.0  # equal and exact
    weight = 1 / np.maximum(total, 1e-12 * total.max())
    mean = (weight * others).sum(axis=1) / weight.sum(axis=1)
    own = variance * df / special.chdtri(df, 1 - _SHARES) if variance > 0 else np.zeros(NODES)
    alone = np.where(between + known.sum() > 0, shape * between + 1 / weight.sum(axis=1), 0.0)
    spread = np.sqrt(alone[:, None] + own)
    gap = value - mean[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(spread > 0, gap / spread, np.where(gap == 0, 0.0, np.copysign(np.inf, gap)))
    below = float(_WEIGHTS @ special.ndtr(z) @ _WEIGHTS)
    above = float(_WEIGHTS @ special.ndtr(-z) @ _WEIGHTS)
    return min(2 * min(below, above), 1.0)


def _deleted_t(value: float, shape: float, others: FloatArray, shapes: FloatArray) -> float:
    """P-value where all that is known is how the sessions differ."""
    weight = 1 / shapes
    mean, free = float(weight @ others / weight.sum()), others.size - 1
    spread = math.sqrt(float(weight @ (others - mean) ** 2) / free * (shape + 1 / float(weight.sum())))
    if not spread:
        return float(value == mean)
    return float(2 * special.stdtr(free, -abs(value - mean) / spread))


def _between(values: FloatArray, known: FloatArray, shapes: FloatArray, squares: float) -> FloatArray:
    """Variance between sessions at each quantile of chi-square, (NODES,)."""
    if not squares > 0:
        return np.zeros(NODES)
    wanted = special.chdtri(values.size - 1, 1 - _SHARES)
    tried = squares * np.geomspace(1e-12, FAR, GRID)
    weight = 1 / (known + np.outer(tried, shapes))
    mean = (weight * values).sum(axis=1) / weight.sum(axis=1)
    q = (weight * (values - mean[:, None]) ** 2).sum(axis=1)  # falls as the variance grows
    found = np.exp(np.interp(-np.log(wanted), -np.log(q), np.log(tried)))
    result: FloatArray = np.where(wanted >= q[0], 0.0 if (known > 0).any() else squares / wanted, found)
    return result
