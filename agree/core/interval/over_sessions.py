"""The mean over sessions: how much each session counts, and how sure their mean is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.errors import SampleSizeError


class OverSessions(NamedTuple):
    """Means over sessions of k series (k,), two covariances of them (k, k), and the degrees of freedom.

    `matrix` : from the weighted squares. `guard` : from squared weights; its variances are the larger ones where
    heavy sessions scatter more than light ones.
    """

    mean: FloatArray
    matrix: FloatArray
    guard: FloatArray
    df: float

    def guarded(self) -> FloatArray:
        """Covariance whose variances are the larger of the two, with the correlations of `matrix`."""
        own, other = np.diag(self.matrix), np.diag(self.guard)
        wider = np.sqrt(np.maximum(1.0, np.divide(other, own, out=np.ones(own.size), where=own > 0)))
        result: FloatArray = self.matrix * np.outer(wider, wider)
        return result


def numbered(session: NDArray[Any]) -> tuple[NDArray[np.intp], FloatArray]:
    """Number of each pair's session, from 0 in the order of the labels, and how many pairs each session has.

    Of labels that come in runs only one of each run is sorted; numbers that are so already are taken as they are.
    """
    labels = np.asarray(session)
    starts = np.flatnonzero(np.concatenate([[True], labels[1:] != labels[:-1]]))
    if labels.dtype == np.intp and labels.size and np.array_equal(labels[starts], np.arange(starts.size)):
        return labels, np.diff(starts, append=labels.size).astype(np.float64)
    inverse = np.unique(labels[starts], return_inverse=True)[1].astype(np.intp)
    index = np.repeat(inverse, np.diff(np.r_[starts, labels.size]))
    return index, np.bincount(index).astype(np.float64)


def is_of_several(session: NDArray[Any]) -> bool:
    """Whether labels are of two sessions or more."""
    labels = np.asarray(session)
    return bool(labels.size and (labels[1:] != labels[:-1]).any())


def session_shares(sizes: FloatArray, half_weight_n: float = 0.0) -> FloatArray:
    """Share of each session in the mean over sessions: n/(n + half_weight_n), scaled to sum 1; n its number of pairs.

    With 0 all sessions have equal weight, with infinity by their length. Between, a session of `half_weight_n` pairs
    counts half as much as an endless one: the seconds of a short session say little of its own error.
    """
    weight = sizes if half_weight_n == np.inf else sizes / (sizes + half_weight_n)
    shares: FloatArray = weight / weight.sum()
    return shares


def pair_weights(session: NDArray[Any], half_weight_n: float = 0.0) -> FloatArray:
    """Weight of each pair (mean 1) that makes a weighted mean of pairs the mean over sessions."""
    index, sizes = numbered(session)
    weights: FloatArray = (session_shares(sizes, half_weight_n) / sizes)[index] * index.size
    return weights


def mean_over(session: NDArray[Any] | None) -> Callable[[FloatArray], float]:
    """Return the function that averages a series: over pairs (None), or over sessions that count alike."""
    if session is None:
        return lambda series: float(series.mean())
    weights = pair_weights(session) / session.size
    return lambda series: float(weights @ series)


def over_sessions(phi: FloatArray, session: NDArray[Any], half_weight_n: float = 0.0) -> OverSessions:
    r"""Mean over sessions of k series (k, n), with its covariance.

    With p the share of a session, m its mean of the series, and S sessions,

    .. math:: \bar m = \sum p m, \quad V = \frac{1}{S-1} \sum p (m - \bar m)(m - \bar m)', \quad
              G = \sum \frac{p^2}{1-p} (m - \bar m)(m - \bar m)'.

    V is right where the variance of a session is in proportion to 1/p. Long sessions beside short ones that scatter
    less make it too small; G is right for sessions of one variance each by itself. Where all shares are equal, the
    two are one: the variance of the mean of S values, whose t interval with S - 1 degrees of freedom is conservative
    for normal means of any unequal variances at 5 %.

    References
    ----------
    Hartung J, Knapp G (2001) Stat Med 20:3875 for V; Bakirov NK, Szekely GJ (2006) J Math Sci 139:6497 and Ibragimov R,
    Mueller UK (2010) J Bus Econ Stat 28:453 for unequal variances (citations from memory).
    """
    index, sizes = numbered(session)
    count = sizes.size
    if count < 2:
        raise SampleSizeError(f"an interval between sessions needs at least 2; got {count}")
    means = np.stack([np.bincount(index, weights=row) for row in phi]) / sizes
    return weighted_means(means, session_shares(sizes, half_weight_n))


def weighted_means(means: FloatArray, shares: FloatArray) -> OverSessions:
    """As `over_sessions`, from the sessions' means (k, S) and the shares (S,), which add up to 1."""
    mean = means @ shares
    rest = means - mean[:, None]
    return OverSessions(mean, (rest * shares) @ rest.T / (shares.size - 1),
                        (rest * (shares**2 / (1 - shares))) @ rest.T, float(shares.size - 1))
