"""The one distribution behind interval, probability, plan and budget: t part of the data and what is known of the rest.

The error of a result is X = se T + u Z + sum a_i U_i: T is Student's t of the data, Z a normal part that is known
(a calibration stated with k), U_i uniform in -1..1 (a bare "±a"). Data shrink se only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.results.result import Result

_REACH = 8.0     # normal scores beyond which a tail counts as nothing
_FEW_DF = 4      # below, the scale of t is spread so widely that it takes more nodes
_T_NODES, _T_NODES_FEW = 48, 160  # Gauss-Legendre nodes over the scale of t
_SECOND, _LATER = 16, 8  # nodes over the second widest rectangle and over each further one
_FLAT = 1e-4     # a rectangle of less than this part of the rest is no more than rounding
_STEPS = 60      # of a bisection: more than a float has bits

_PLACES = {count: np.polynomial.legendre.leggauss(count) for count in (_T_NODES, _T_NODES_FEW, _SECOND, _LATER)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnownError(Result):
    """An error that does not shrink with data, in the unit of the result it is added to.

    Attributes
    ----------
    normal : float
        Standard deviation of its normal part.
    rectangles : tuple of float
        Half-widths of its rectangular parts, independent of each other.

    Examples
    --------
    >>> from agree.verdict.error_distribution import KnownError
    >>> round(KnownError(rectangles=(1.0,)).u, 3)
    0.577
    """

    normal: float = 0.0
    rectangles: tuple[float, ...] = ()

    @property
    def u(self) -> float:
        """Combined standard uncertainty (JCGM 100:2008, 5.1.2 and 4.3.7)."""
        return math.hypot(self.normal, *(half / math.sqrt(3) for half in self.rectangles))

    def times(self, factor: float) -> KnownError:
        """Return the same in another unit."""
        return KnownError(normal=self.normal * factor, rectangles=tuple(factor * half for half in self.rectangles))


EXACT = KnownError()


def _scales(df: float) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of 1/q, T = Z/q with q^2 ~ chi-square(df)/df, in the probit of its probability."""
    if math.isinf(df):
        return np.ones(1), np.ones(1)
    nodes, weights = _PLACES[_T_NODES_FEW if df < _FEW_DF else _T_NODES]
    probit = _REACH * nodes
    weights = weights * np.exp(-probit**2 / 2)
    # from whichever side keeps its digits
    square = np.where(probit < 0, special.gammaincinv(df / 2, special.ndtr(probit)),
                      special.gammainccinv(df / 2, special.ndtr(-probit))) * 2 / df
    return 1 / np.sqrt(square), weights / weights.sum()


def _offsets(rectangles: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of the sum of all rectangles but the widest, which is first."""
    place, weight = np.zeros(1), np.ones(1)
    for number, half in enumerate(rectangles[1:]):
        nodes, weights = _PLACES[_LATER if number else _SECOND]
        place = (place[:, None] + half * nodes).ravel()
        weight = (weight[:, None] * weights / 2).ravel()
    return place, weight


def _level(x: FloatArray, se: FloatArray, df: float, known: KnownError) -> tuple[FloatArray, FloatArray]:
    """Distribution function and density at x, for standard errors of x's shape; se and u are not both 0."""
    rectangles = tuple(sorted((half for half in known.rectangles if half > 0), reverse=True))
    inverse, weight = _scales(df)
    place, share = _offsets(rectangles)
    s = np.hypot(se[..., None] * inverse, known.normal)[..., None]
    s = np.maximum(s, 1e-12 * (1 + rectangles[0] if rectangles else 1))
    y = x[..., None, None] - place
    both = weight[:, None] * share
    if not rectangles:
        return (special.ndtr(y / s) * both).sum((-1, -2)), (_bell(y / s) / s * both).sum((-1, -2))
    a = rectangles[0]
    high, low = (y + a) / s, (y - a) / s
    rise = special.ndtr(high) - special.ndtr(low)
    wide = (high * special.ndtr(high) + _bell(high) - low * special.ndtr(low) - _bell(low)) * s / (2 * a)
    flat = np.broadcast_to(a / s < _FLAT, wide.shape)  # there the difference would be rounding
    value = np.where(flat, special.ndtr(y / s), np.clip(wide, 0, 1))
    density = np.where(flat, _bell(y / s) / s, rise / (2 * a))
    return (value * both).sum((-1, -2)), (density * both).sum((-1, -2))


def _bell(z: FloatArray) -> FloatArray:
    bell: FloatArray = np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    return bell


def distribution(x: FloatArray | float, se: float, df: float, known: KnownError = EXACT) -> FloatArray:
    r"""P(X <= x) of X = se T + u Z + sum a_i U_i.

    With one rectangle a, T = Z/q and s^2 = se^2/q^2 + u^2,

        F(x) = E_q[ (G((x + a)/s) - G((x - a)/s)) s/(2a) ],  G(z) = z Phi(z) + phi(z),

    the mean of Phi((x - y)/s) over y in -a..a. E_q by Gauss-Legendre quadrature in the probit of the probability of
    q^2 ~ chi-square(df)/df; further rectangles by Gauss-Legendre quadrature.

    Parameters
    ----------
    x : float or array
        Where, in the unit of `se`; any shape.
    se, df : float
        Standard error of the data and its degrees of freedom, which may be infinite.
    known : KnownError
        What does not shrink with data.

    Returns
    -------
    array
        Probability at each x.

    References
    ----------
    The distribution is the one that JCGM 101:2008 propagates, 6.4.2 (rectangle) and 6.4.9 (t); the closed form is
    derived here.

    Examples
    --------
    >>> from agree.verdict.error_distribution import KnownError, distribution
    >>> round(float(distribution(0.95, 0.0, 8, KnownError(rectangles=(1.0,)))), 3)
    0.975
    """
    at = np.asarray(x, float)
    if not se > 0 and not known.u > 0:
        return np.where(at < 0, 0.0, np.where(at > 0, 1.0, 0.5))
    if not known.u > 0:
        exact: FloatArray = special.ndtr(at / se) if math.isinf(df) else special.stdtr(df, at / se)
        return exact
    return _level(at, np.full(at.shape, float(se)), df, known)[0]


def interval_half_width(se: FloatArray | float, df: float, known: KnownError, level: float) -> FloatArray:
    """Half-width h with P(|X| <= h) = level, for each standard error.

    Newton's steps kept within a bracket. The exact t or normal quantile where there is nothing else.

    Examples
    --------
    >>> from agree.verdict.error_distribution import KnownError, interval_half_width
    >>> wide = interval_half_width([0.0, 0.4], 8, KnownError(rectangles=(1.0,)), 0.95)
    >>> [round(float(h), 3) for h in wide]
    [0.95, 1.387]
    """
    size = np.asarray(se, float)
    if not known.u > 0:
        return t_quantile(level, df) * size
    wanted = (1 + level) / 2
    low = np.zeros(size.shape)
    high = t_quantile(level, df) * size + t_quantile(level, math.inf) * known.normal + sum(known.rectangles)
    while (short := _level(high, size, df, known)[0] < wanted).any():
        high = np.where(short, 2 * high, high)
    h = (low + high) / 2
    for _ in range(_STEPS):
        value, density = _level(h, size, df, known)
        low, high = np.where(value < wanted, h, low), np.where(value < wanted, high, h)
        with np.errstate(divide="ignore", invalid="ignore"):
            new = h - (value - wanted) / density
        new = np.where((new > low) & (new < high), new, (low + high) / 2)
        done = np.abs(new - h) <= 1e-10 * np.abs(new)
        h = new
        if done.all():
            break
    return np.maximum(h, t_quantile(level, df) * size)  # which it is, but for rounding


def widest_error(half: float, df: float, known: KnownError, level: float) -> float:
    """Standard error at which the half-width reaches `half`; 0 if what is known alone is wider."""
    if not known.u > 0:
        return half / t_quantile(level, df)
    wanted, low, high = (1 + level) / 2, 0.0, half / t_quantile(level, df)
    if half <= 0 or float(distribution(half, 0.0, df, known)) <= wanted:
        return 0.0
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (low, middle) if float(distribution(half, middle, df, known)) < wanted else (middle, high)
    return low


def probability_within(value: float, limit: float, se: float, df: float, known: KnownError = EXACT) -> float:
    """Probability that the error lies within -+limit, given the value found: F(limit - value) - F(-limit - value).

    After JCGM 106:2012, with the distribution of this module in place of the normal.

    Examples
    --------
    >>> import math
    >>> from agree.verdict.error_distribution import probability_within
    >>> round(probability_within(0.6, 1.5, 0.4, math.inf), 4)
    0.9878
    """
    if math.isnan(se) or math.isnan(value):
        return math.nan
    if not se > 0 and not known.u > 0:
        return float(abs(value) <= limit)
    above, below = distribution(np.array([limit - value, -limit - value]), se, df, known)
    return min(max(float(above - below), 0.0), 1.0)
