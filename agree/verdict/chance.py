"""Chance that a number of sessions settles a claim, by integration over how their spread may turn out."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.engine import t_quantile
from agree.verdict.rule import HOLDS

LEAST_SESSIONS = 3  # two settle hardly anything

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(128)
_SCORES = np.linspace(-6.5, 6.5, 401)  # of the reference's error, normal
_TAIL = 1e-15        # probability left out beyond either end of an integral
_FAR = 9.0           # standard deviations beyond which a normal tail counts as nothing
_NARROWEST = 1e-3    # share of the sessions in the uncertainty below which `widen` takes the normal quantile


class Terms(NamedTuple):
    """What the three-way rule works on: limit, SD of session biases, the reference's u, level, which interval."""

    limit: float
    sd: float
    u: float
    level: float
    predict: bool = False

    def factor(self, sessions: float) -> float:
        """Return the standard error over the SD of session biases."""
        return math.sqrt(self.predict + 1 / sessions)


def half_width(terms: Terms, sessions: int, ratio: FloatArray) -> FloatArray:
    """Half-width of the interval when the sessions' SD turns out as `ratio` times the true one; as `widen` does it."""
    se = np.asarray(ratio, float) * terms.sd * terms.factor(sessions)
    half: FloatArray = np.hypot(t_quantile(terms.level, sessions - 1) * se, t_quantile(terms.level, math.inf) * terms.u)
    return half


def _ratio_at(terms: Terms, sessions: int, target: float, low: float, high: float) -> float:
    """Ratio at which the half-width, which grows with it, reaches a target; the nearer end if it does not."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if half_width(terms, sessions, np.array(middle)) > target else (middle, high)
    return high


def chance(answer: str, sessions: int, error: FloatArray | float, terms: Terms, *, seen: bool = False) -> FloatArray:
    r"""Probability of an answer, "holds" or "does not hold", from a number of sessions.

    With m = S - 1, session biases of mean d and SD s, and half-width h(q) where q is the SD found over s,

        P(holds) = integral of f(q) [Phi((T - h - d)/v) - Phi((h - T - d)/v)] over h(q) < T,
        P(does not hold) = integral of f(q) [Phi((d - T - h)/v) + Phi((-d - T - h)/v)],

    v^2 = s^2/S + u^2 and f the density of chi/sqrt(m) with m degrees of freedom, since mean and SD of normal sessions
    are independent. Gauss-Legendre with 128 nodes up to where the integrand ends.

    Parameters
    ----------
    answer : {"holds", "does not hold"}
        The answer.
    sessions : int
        Number of sessions, 2 or more.
    error : float or array
        True mean error of the device; any shape.
    terms : Terms
        Limit, SD, u and level, in the unit of the error.
    seen : bool
        True if `error` is against this reference, whose own error is then part of it already; else that error is
        still open and normal with standard deviation u.

    Returns
    -------
    array
        Probability for each error.

    References
    ----------
    Schuirmann DJ (1987) J Pharmacokinet Biopharm 15:657, power of two one-sided t tests; Phillips KF (1990) same
    journal 18:137, as an integral over the standard deviation.

    Examples
    --------
    >>> from agree.verdict.chance import Terms, chance
    >>> terms = Terms(limit=1.5, sd=0.8, u=0.0, level=0.95)
    >>> [round(float(chance("holds", n, 0.0, terms)), 3) for n in (3, 5, 8)]
    [0.284, 0.766, 0.989]
    """
    d = np.abs(np.asarray(error, float))[..., None]
    move = math.hypot(terms.sd / math.sqrt(sessions), 0.0 if seen else terms.u)
    m = sessions - 1
    low = math.sqrt(2 * float(special.gammaincinv(m / 2, _TAIL)) / m)
    high = math.sqrt(float(special.chdtri(m, _TAIL)) / m)
    end = terms.limit if answer == HOLDS else float(d.max()) - terms.limit + _FAR * move
    high = _ratio_at(terms, sessions, end, low, high)
    q = low + (high - low) * (_NODES + 1) / 2
    half = half_width(terms, sessions, q)
    move = max(move, 1e-12 * terms.limit)  # sessions that do not differ: a step
    if answer == HOLDS:
        inside = special.ndtr((terms.limit - half - d) / move) - special.ndtr((half - terms.limit - d) / move)
        height = np.where(half <= terms.limit, np.maximum(inside, 0), 0)
    else:
        height = special.ndtr((d - terms.limit - half) / move) + special.ndtr((-d - terms.limit - half) / move)
    log_density = (math.log(2) + m / 2 * math.log(m / 2) - special.gammaln(m / 2)
                   + (m - 1) * np.log(q) - m * q**2 / 2)
    value: FloatArray = np.clip((height * np.exp(log_density) * _WEIGHTS).sum(axis=-1) * (high - low) / 2, 0, 1)
    return value


def joint_chance(answer: str, sessions: int, errors: Sequence[float], terms: Sequence[Terms]) -> float:
    """Probability of an answer over several bands at once: a lower bound, exact for one band.

    "Holds" asks it of every band, "does not hold" of any. Given the reference's error, shared by all bands, the sum
    of the bands' failures bounds the first (Bonferroni) and the likeliest band the second.
    """
    if len(terms) == 1:
        return float(chance(answer, sessions, errors[0], terms[0]))
    exact = not any(band.u for band in terms)
    z = np.zeros(1) if exact else _SCORES
    alike = Counter(zip(errors, terms, strict=True))  # bands are often all alike
    each = np.array([chance(answer, sessions, error + z * band.u, band, seen=True) for error, band in alike])
    missed = ((1 - each) * np.array(list(alike.values()))[:, None]).sum(axis=0)
    given = np.maximum(1 - missed, 0) if answer == HOLDS else each.max(axis=0)
    if exact:
        return float(given[0])
    return float((given * np.exp(-z**2 / 2)).sum() * (z[1] - z[0]) / math.sqrt(2 * math.pi))


def ceiling(answer: str, errors: Sequence[float], terms: Sequence[Terms]) -> float:
    """Probability of an answer with sessions without end: what the reference's own error leaves of it."""
    low, high = -math.inf, math.inf  # normal scores of the reference's error within which all bands hold
    below, above = -math.inf, math.inf  # and beyond which one fails
    for error, band in zip(errors, terms, strict=True):
        half = t_quantile(band.level, math.inf) * math.hypot(band.sd if band.predict else 0.0, band.u)
        ends = [side * (band.limit + sign * half) - error for sign in (-1, 1) for side in (-1, 1)]
        scores = [end / band.u if band.u else math.copysign(math.inf, end) for end in ends]
        low, high = max(low, scores[0]), min(high, scores[1])
        below, above = max(below, scores[2]), min(above, scores[3])
    if answer == HOLDS:
        return max(float(special.ndtr(high) - special.ndtr(low)), 0.0)
    return float(special.ndtr(below) + special.ndtr(-above))


def sessions_needed(
    answer: str, wanted: float, errors: Sequence[float], terms: Sequence[Terms], *, least: int = LEAST_SESSIONS,
    most: int = 50, seen: bool = False,
) -> int | None:
    """Smallest number of sessions, `least` to `most`, whose chance of the answer is `wanted` or more; None if none is.

    Examples
    --------
    >>> from agree.verdict.chance import Terms, sessions_needed
    >>> sessions_needed("holds", 0.8, [0.0], [Terms(limit=1.5, sd=0.8, u=0.0, level=0.95)])
    6
    """
    for count in range(least, most + 1):
        reached = float(chance(answer, count, errors[0], terms[0], seen=True)) if seen else joint_chance(
            answer, count, errors, terms)
        if reached >= wanted:
            return count
    return None
