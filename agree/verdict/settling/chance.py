"""Chance that a number of sessions settles a claim, by integration over how their spread may turn out."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.verdict.error_distribution import EXACT, KnownError, distribution, interval_half_width, widest_error
from agree.verdict.rule import HOLDS

LEAST_SESSIONS = 3  # two settle hardly anything

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(128)
_TAIL = 1e-15        # probability left out beyond either end of an integral
_FAR = 9.0           # standard deviations beyond which a normal tail counts as nothing
_SHARES = (np.arange(400) + 0.5) / 400  # equal shares of the reference's possible errors


class Terms(NamedTuple):
    """What the three-way rule works on: limit, SD of session biases, the reference, level, which interval."""

    limit: float
    sd: float
    known: KnownError
    level: float
    predict: bool = False

    def factor(self, sessions: float) -> float:
        """Return the standard error over the SD of session biases."""
        return math.sqrt(self.predict + 1 / sessions)


def half_width_at(terms: Terms, sessions: int, ratio: FloatArray) -> FloatArray:
    """Half-width of the interval when the sessions' SD turns out as `ratio` times the true one; as `widen` does it."""
    se = np.asarray(ratio, float) * terms.sd * terms.factor(sessions)
    return interval_half_width(se, sessions - 1, terms.known, terms.level)


def chance(answer: str, sessions: int, error: FloatArray | float, terms: Terms, *, seen: bool = False) -> FloatArray:
    r"""Probability of an answer, "holds" or "does not hold", from a number of sessions.

    With m = S - 1, session biases of mean d and SD s, and half-width h(q) where q is the SD found over s,

        P(holds) = integral of f(q) [Phi((T - h - d)/v) - Phi((h - T - d)/v)] over h(q) < T,
        P(does not hold) = integral of f(q) [Phi((d - T - h)/v) + Phi((-d - T - h)/v)],

    v^2 = s^2/S, Phi averaged over the reference's possible errors (`distribution`), and f the density of chi/sqrt(m)
    with m degrees of freedom, since mean and SD of normal sessions are independent. Gauss-Legendre with 128 nodes up to
    where the integrand ends.

    Parameters
    ----------
    answer : {"holds", "does not hold"}
        The answer.
    sessions : int
        Number of sessions, 2 or more.
    error : float or array
        True mean error of the device; any shape.
    terms : Terms
        Limit, SD, reference and level, in the unit of the error.
    seen : bool
        True if `error` is against this reference, whose own error is then part of it already; else that error is
        still open.

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
    >>> from agree.verdict.settling.chance import Terms, chance
    >>> from agree.verdict.error_distribution import EXACT
    >>> terms = Terms(limit=1.5, sd=0.8, known=EXACT, level=0.95)
    >>> [round(float(chance("holds", n, 0.0, terms)), 3) for n in (3, 5, 8)]
    [0.284, 0.766, 0.989]
    """
    d = np.abs(np.asarray(error, float))[..., None]
    known = EXACT if seen else terms.known
    spread = max(terms.sd / math.sqrt(sessions), 1e-12 * terms.limit)  # sessions that do not differ: a step
    m = sessions - 1
    low = math.sqrt(2 * float(special.gammaincinv(m / 2, _TAIL)) / m)
    high = math.sqrt(float(special.chdtri(m, _TAIL)) / m)
    reach = _FAR * math.hypot(spread, known.normal) + sum(known.rectangles)
    end = terms.limit if answer == HOLDS else float(d.max()) - terms.limit + reach
    scale = terms.sd * terms.factor(sessions)
    if scale > 0:
        high = min(max(widest_error(end, m, terms.known, terms.level) / scale, low), high)
    q = low + (high - low) * (_NODES + 1) / 2
    half = half_width_at(terms, sessions, q)

    def below(x: FloatArray) -> FloatArray:
        return distribution(x, spread, math.inf, known)

    if answer == HOLDS:
        inside = below(terms.limit - half - d) - below(half - terms.limit - d)
        height = np.where(half <= terms.limit, np.maximum(inside, 0), 0)
    else:
        height = below(d - terms.limit - half) + below(-d - terms.limit - half)
    log_density = (math.log(2) + m / 2 * math.log(m / 2) - special.gammaln(m / 2)
                   + (m - 1) * np.log(q) - m * q**2 / 2)
    value: FloatArray = np.clip((height * np.exp(log_density) * _WEIGHTS).sum(axis=-1) * (high - low) / 2, 0, 1)
    return value


def joint_chance(answer: str, sessions: int, errors: Sequence[float], terms: Sequence[Terms]) -> float:
    """Probability of an answer over several bands at once: a lower bound, exact for one band.

    "Holds" asks it of every band, each at the plain level; "does not hold" of any, at the joint level (Sidak). Given
    the reference's error, shared by all bands, the sum of the bands' failures bounds the first (Bonferroni) and the
    likeliest band the second.
    """
    if len(terms) == 1:
        return float(chance(answer, sessions, errors[0], terms[0]))
    bands = at_level(answer, terms)
    exact = not any(band.known.u > 0 for band in bands)
    alike = Counter((error, band.limit, band.sd, band.known.normal, band.known.rectangles, band.level, band.predict)
                    for error, band in zip(errors, bands, strict=True))  # bands are often all alike
    each = []
    for error, limit, sd, normal, rectangles, level, predict in alike:
        known = KnownError(normal=normal, rectangles=rectangles)
        shift = np.zeros(1) if exact else quantiles(known, _SHARES)
        each.append(chance(answer, sessions, error + shift, Terms(limit, sd, known, level, predict), seen=True))
    if answer == HOLDS:
        missed = (1 - np.array(each)) * np.array(list(alike.values()))[:, None]
        return float(np.maximum(1 - missed.sum(axis=0), 0).mean())
    return float(np.max(each, axis=0).mean())


def at_level(answer: str, terms: Sequence[Terms]) -> list[Terms]:
    """Bands at the level that decides an answer: plain for "holds", joint for "does not hold"."""
    return [band if answer == HOLDS else band._replace(level=band.level ** (1 / len(terms))) for band in terms]


def quantiles(known: KnownError, shares: FloatArray) -> FloatArray:
    """Errors of the reference below which lie these shares of them."""
    reach = 6 * known.normal + sum(known.rectangles)
    grid = np.linspace(-reach, reach, 2001)
    found: FloatArray = np.interp(shares, distribution(grid, 0.0, math.inf, known), grid)
    return found


def ceiling(answer: str, errors: Sequence[float], terms: Sequence[Terms]) -> float:
    """Probability of an answer with sessions without end: what the reference's own error leaves of it."""
    low, high, below, above = 0.0, 1.0, 0.0, 1.0  # shares of the reference's errors: all hold within, one fails beyond
    for error, band in zip(errors, at_level(answer, terms), strict=True):
        half = float(interval_half_width(band.sd if band.predict else 0.0, math.inf, band.known, band.level))
        ends = np.array([side * (band.limit + sign * half) - error for sign in (-1, 1) for side in (-1, 1)])
        shares = [float(share) for share in distribution(ends, 0.0, math.inf, band.known)]
        low, high = max(low, shares[0]), min(high, shares[1])
        below, above = max(below, shares[2]), min(above, shares[3])
    return max(high - low, 0.0) if answer == HOLDS else below + 1 - above


def sessions_needed(
    answer: str, wanted: float, errors: Sequence[float], terms: Sequence[Terms], *, least: int = LEAST_SESSIONS,
    most: int = 50, seen: bool = False,
) -> int | None:
    """Smallest number of sessions, `least` to `most`, whose chance of the answer is `wanted` or more; None if none is.

    Examples
    --------
    >>> from agree.verdict.settling.chance import Terms, sessions_needed
    >>> from agree.verdict.error_distribution import EXACT
    >>> sessions_needed("holds", 0.8, [0.0], [Terms(limit=1.5, sd=0.8, known=EXACT, level=0.95)])
    6
    """
    def enough(count: int) -> bool:
        reached = float(chance(answer, count, errors[0], terms[0], seen=True)) if seen else joint_chance(
            answer, count, errors, terms)
        return reached >= wanted

    low, high = least, most
    if low > high or not enough(high):
        return None
    while low < high:  # the chance of the right answer grows with sessions, but for steps far below `wanted`
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle + 1, high)
    while low > least and enough(low - 1):
        low -= 1
    return low
