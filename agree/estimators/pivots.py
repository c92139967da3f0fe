"""What mean and standard deviation may be, given few readings or few sessions: equally likely pairs of the two."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import numbered, session_shares, weighted_means

# A lattice of so many points (Korobov 1959), each taken with both signs of the normal value. Of 120 generators this one
# came nearest to the exact limits of mean + 1.96 SD of 2 to 60 readings at levels 0.9 to 0.99: within 1.4 % of their
# distance from the estimate, at level 0.95 within 0.5 %.
POINTS, GENERATOR = 4093, 1802
PIVOTAL = "generalised pivots, between and within sessions, normal means of sessions"
LEAST_PAIRS = 10   # of a session whose variance's logarithm is looked at: of fewer it is far from normal
LOG_VARIANCE = 1.5  # of the sessions' variances: taken for possible even if less is seen (SDs 0.3 to 3.3 fold)
MOST_LOG = 300.0   # above which e^x is as good as infinite
CLEAR = 0.02  # of the risk: what a mean of 0 that is taken for another adds to it


class Pivots(NamedTuple):
    """Mean and SD of the errors, and pairs of values that they may have, twice POINTS."""

    mean: float
    sd: float
    means: FloatArray
    sds: FloatArray

    def interval(self, value: float, values: FloatArray, level: float, method: str) -> Estimate:
        """Interval of a function of mean and SD from its values at the pairs: equal tails."""
        low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2])
        return Estimate(value=value, low=min(float(low), value), high=max(float(high), value), level=level,
                        method=method)


class Spread(NamedTuple):
    """What is known of mean and variance.

    `mean` is the mean over sessions and `of_mean` its variance, with S - 1 degrees of freedom, `groups` being S;
    `between` the variance of the sessions' means and `within` the mean over sessions of the variance about a session's
    own mean, each with its degrees of freedom. Pairs that are independent are sessions of one pair each, with `within`
    0. `logs` holds, for sessions of LEAST_PAIRS or more, the variance of the logarithms of the sessions' variances, the
    relative variance of `within`, and the sum of squared shares.
    """

    mean: float
    of_mean: float
    groups: int
    between: float
    df_between: float
    within: float
    df_within: float
    logs: tuple[float, float, float] | None = None


@lru_cache(maxsize=1)
def _cube() -> FloatArray:
    """(4, POINTS) points that fill the unit cube evenly, none on its faces."""
    step = np.array([[GENERATOR**k % POINTS] for k in range(4)])
    result: FloatArray = (step * np.arange(POINTS) % POINTS + 0.5) / POINTS
    return result


@lru_cache(maxsize=64)
def _chi_square(row: int, df: float) -> FloatArray:
    """Chi-square values over their degrees of freedom, (2 POINTS,)."""
    return np.tile(special.chdtri(df, _cube()[row]) / df, 2)


def spread_of_pairs(error: FloatArray) -> Spread:
    """Independent pairs."""
    variance = float(error.var(ddof=1))
    return Spread(float(error.mean()), variance / error.size, error.size, variance, error.size - 1.0, 0.0, math.inf)


def spread_of_sessions(error: FloatArray, session: NDArray[Any], half_weight_n: float = 0.0) -> Spread:
    r"""Sessions with the shares p of `session_shares`: all alike if `half_weight_n` is 0.

    With m the mean and w the variance (divisor n) of a session, the variance of a single error has the estimate

    .. math:: b + \sum p w, \quad b = \frac{\sum p (m - \bar m)^2}{1 - \sum p^2}, \quad \bar m = \sum p m.

    With equal shares it is var(m) + mean(w), unbiased however errors depend on each other within a session: what the
    mean of a session takes off w, its own error adds to var(m). Degrees of freedom of b: Satterthwaite's for sessions
    of one variance, S - 1 where shares are equal. Of the second part, where sessions are too short for logarithms:
    2/(relative standard error)^2 from the sessions' w, at least S - 1, at most the pairs less the sessions. The mean's
    variance is that of `over_sessions`.
    """
    index, sizes = numbered(session)
    count, share = sizes.size, session_shares(sizes, half_weight_n)
    means = np.bincount(index, weights=error) / sizes
    squares = np.bincount(index, weights=(error - means[index]) ** 2) / sizes
    over = weighted_means(means[None], share)
    mean, within, alike = float(over.mean[0]), float(share @ squares), float(share @ share)
    between = float(share @ (means - mean) ** 2) / (1 - alike)
    df_between = (1 - alike) ** 2 / (alike - 2 * float((share**3).sum()) + alike**2)
    relative = float(share @ (squares - within) ** 2) / (1 - alike) * alike / within**2 if within > 0 else 0.0
    df = min(max(2 / max(relative, 1e-12), count - 1.0), max(error.size - count, 1.0)) if within > 0 else math.inf
    logs = None
    if sizes.min() >= LEAST_PAIRS and squares.min() > 0:
        log = np.log(squares)
        logs = float(share @ (log - share @ log) ** 2) / (1 - alike), relative, alike
    return Spread(mean, float(over.guarded()[0, 0]), count, between, min(df_between, count - 1.0), within, df, logs)


def pivots_of_errors(error: FloatArray, session: NDArray[Any] | None, half_weight_n: float = 0.0) -> Pivots:
    """Pivots of independent pairs (`session` None) or of sessions; safe at 1e-300 and 1e300."""
    centre = float(error.mean())
    unit = float(np.abs(error - centre).max()) or 1.0
    scaled = (error - centre) / unit
    found = pivots(spread_of_pairs(scaled) if session is None else spread_of_sessions(scaled, session, half_weight_n))
    return Pivots(centre + unit * found.mean, unit * found.sd, centre + unit * found.means, unit * found.sds)


def _within(found: Spread) -> FloatArray | float:
    """Values that the mean variance within a session may have, (2 POINTS,): see `pivots`."""
    if not found.within > 0:
        return 0.0
    if found.logs is None:
        return found.within / _chi_square(2, round(found.df_within, 2))
    seen, relative, alike = found.logs
    variance = np.minimum(seen / _chi_square(2, found.groups - 1.0), max(LOG_VARIANCE, seen))
    normal = np.tile(special.ndtri(_cube()[3]), 2)
    result: FloatArray = found.within * np.exp(np.minimum(
        normal * np.sqrt(np.maximum(variance * alike, relative)) + (variance - seen) / 2, MOST_LOG))
    return result


def pivots(found: Spread) -> Pivots:
    r"""Pairs of mean and SD by generalised pivotal quantities.

    .. math:: \mu = \bar m - Z \sqrt{\frac{(S - 1) V}{\chi^2_{S-1}}}, \quad \sigma^2 = B + W, \quad
              B = \frac{\nu_b b}{\chi^2_{\nu_b}}, \quad W = \frac{\nu w}{\chi^2_\nu},

    with V the variance of the mean, b and w the variances between and within, from an even set of points in place of
    draws; the first two chi-squares share theirs, and are one where sessions count alike. Without w the intervals are
    then exact (t, chi-square, noncentral t). Sessions of LEAST_PAIRS or more scatter each by its own w, taken as
    lognormal, v being the variance of log w found and p the shares:

    .. math:: W = w \exp\{Z' \sqrt{\max(v' \sum p^2, r)} + (v' - v)/2\}, \quad
              v' = \min\{(S - 1) v/\chi'^2_{S-1}, \max(1.5, v)\},

    r the relative variance of w from its squares, which keeps W wide enough where a few sessions scatter most.

    References
    ----------
    Weerahandi S (1993) JASA 88:899; Hannig J, Iyer H, Patterson P (2006) JASA 101:254; Liao CT, Lin TY, Iyer HK (2005)
    Technometrics 47:323 for limits that hold a share of a sum of components; Krishnamoorthy K, Mathew T (2003) J Stat
    Plan Inference 115:103 for the mean of a lognormal quantity (citations from memory).
    """
    between = found.between / _chi_square(1, round(found.df_between, 2))
    of_mean = found.of_mean / _chi_square(1, found.groups - 1.0)
    within = _within(found)
    normal = special.ndtri(_cube()[0])
    means = found.mean + np.r_[normal, -normal] * np.sqrt(of_mean)
    return Pivots(found.mean, math.sqrt(found.between + found.within), means, np.sqrt(between + within))


def least_sd_about_zero(error: FloatArray, session: NDArray[Any] | None, level: float) -> float:
    r"""Lower limit, at a share (1 - level)/2, of the SD of errors whose mean is 0; infinite where it is clearly not 0.

    Independent pairs: exact, :math:`\sqrt{\sum d^2/\chi^2_n}`. Sessions: as `pivots`, the squares of their means having
    S degrees of freedom. The mean is clearly not 0 beyond its t interval of CLEAR times the risk.
    """
    tail, unit = (1 - level) / 2, float(np.abs(error).max()) or 1.0
    scaled = error / unit
    found = spread_of_pairs(scaled) if session is None else spread_of_sessions(scaled, session)
    if abs(found.mean) > -float(special.stdtrit(found.groups - 1, CLEAR * tail)) * math.sqrt(
            found.between / found.groups):
        return math.inf
    squares = (found.groups - 1) * found.between + found.groups * found.mean**2
    if found.within == 0:
        return unit * math.sqrt(squares / float(special.chdtri(found.groups, tail)))
    variance = squares / found.groups / _chi_square(1, float(found.groups)) + _within(found)
    return unit * math.sqrt(float(np.quantile(variance, tail)))
