"""The one engine that turns an influence series into an interval."""

from __future__ import annotations

import math
import warnings
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.errors import DriftWarning, SampleSizeError
from agree.core.interval.bracketed_root import bracketed_root
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import over_sessions
from agree.core.interval.slow_errors import COEFFICIENTS, ROUNDING, slow_variance, without

COSINES = 8
# Share of the long-run variance in the slowest cosine above which a drift is named. Under no drift the
# share is Beta(1/2, 7/2) and exceeds 0.7 in 0.6 % of recordings.
DRIFT_SHARE = 0.7

LEAST_VARIED = 1e-9  # of its size: a series that varies less is constant but for rounding
BLOCK = 16_384    # pairs
DOUBLINGS = 40  # of the half-width, after which a limit is taken for infinite
SLOW = f"t, {COEFFICIENTS} cosines, slow errors allowed for (serial)"
METHODS = {
    "independent": "t, independent pairs",
    "serial": f"t, {COSINES} cosines (serial)",
    "sessions": "t, between sessions",
}


class Spread(NamedTuple):
    """Standard error of a mean of influences, its degrees of freedom, and the drift flag.

    `shift` is the mean of the influences over sessions: what it adds to an estimate from all pairs alike. It is 0 for
    the other samplings.
    """

    standard_error: float
    df: float
    drift: bool
    shift: float = 0.0


def cosine_transform(phi: FloatArray, count: int = COSINES) -> FloatArray:
    """Project series (..., n) on the first type-II cosines, sqrt(2/n) sum phi_t cos(pi j (t - 1/2)/n)."""
    n = phi.shape[-1]  # the cosines are alike from both ends, but for the sign of odd j: the series is folded
    middle = n // 2
    coefficients = np.zeros((*phi.shape[:-1], count))
    if n % 2:
        coefficients += phi[..., middle, None] * np.cos(np.pi / 2 * np.arange(1, count + 1))
    for start in range(0, middle, BLOCK):  # small enough to stay in the processor's cache
        stop = min(start + BLOCK, middle)
        near, far = phi[..., start:stop], phi[..., n - stop:n - start][..., ::-1]
        folded = near - far, near + far
        twice = 2 * np.cos(np.pi * (np.arange(start, stop) + 0.5) / n)
        before, now = np.ones(stop - start), twice / 2
        for j in range(count):
            coefficients[..., j] += folded[j % 2] @ now
            before, now = now, twice * now - before  # cos (j + 1)x = 2 cos x cos jx - cos (j - 1)x
    result: FloatArray = math.sqrt(2 / n) * coefficients
    return result


class Covariance(NamedTuple):
    """Covariance of the means of k influence series, degrees of freedom, and the drift flag of the first.

    `shift`, (k,), holds the means over sessions; zeros for the other samplings.
    """

    matrix: FloatArray
    df: float
    drift: bool
    shift: FloatArray


def covariance(
    phi: FloatArray, sampling: str, session: NDArray[Any] | None = None, cosines: int = COSINES, *,
    half_weight_n: float = 0.0,
) -> Covariance:
    r"""Covariance matrix of the means of influence series.

    Parameters
    ----------
    phi : (k, n) array
        Influence of each pair on k estimates, in order of time; means are removed.
    sampling : {"independent", "serial", "sessions"}
        ``independent``: sample covariance over n, n - 1 degrees of freedom. ``serial``: neighbours alike; the
        long-run covariance is the mean product of the first 8 type-II cosine coefficients (equal-weighted cosine
        estimator), 8 degrees of freedom. With n <= 9 all n - 1 coefficients are taken, and the result is that of
        independent pairs. ``sessions``: the mean over sessions, S - 1 degrees of freedom: see `over_sessions`; each
        variance is the larger of its two.
    session : (n,) array, optional
        Session labels, for ``sessions``.
    cosines : int
        Number of coefficients for ``serial``; more of them are less noisy and blinder to slow errors.
    half_weight_n : float
        Pairs of a session that counts half of an endless one, >= 0, for ``sessions``; 0: all count alike.

    Raises
    ------
    SampleSizeError
        Fewer than 2 pairs or sessions.

    References
    ----------
    Mueller UK (2004) Econometrica 72; Lazarus, Lewis, Stock & Watson (2018) J Bus Econ Stat 36:541.
    """
    n = phi.shape[1]
    if n < 2:
        raise SampleSizeError(f"an interval needs at least 2 pairs; got {n}")
    if sampling == "sessions":
        found = over_sessions(phi, np.asarray(session), half_weight_n)
        return Covariance(found.guarded(), found.df, False, found.mean)
    phi = phi - phi.mean(axis=1, keepdims=True)
    drift = False
    if sampling == "independent":
        parts, df = phi, n - 1
    else:
        df = min(cosines, n - 1)
        parts = cosine_transform(phi, df)
        drift = _drifts(parts[0])
    return Covariance(parts @ parts.T / (n * df), float(df), drift, np.zeros(phi.shape[0]))


def spread(
    phi: FloatArray, sampling: str, session: NDArray[Any] | None = None, *, cosines: int = COSINES,
    cautious: bool = False, half_weight_n: float = 0.0, fixed: FloatArray | None = None,
) -> Spread:
    """Standard error of the mean of one influence series, (n,); as `covariance`, safe at 1e-300 and 1e300.

    With `cautious`, serial standard errors allow for errors too slow to show in the recording: see `slow_variance`.
    With `fixed`, (n,), serial ones hold that series for given, such as the power ridden: what of the influence goes in
    proportion to it would come again, and is no chance.
    """
    scale = float(np.maximum(phi.max(), -phi.min())) if phi.size else 1.0
    if not math.isfinite(scale):
        return Spread(math.nan, float(phi.size - 1), False)
    series = phi / scale if scale > 0 else phi
    if sampling == "serial" and phi.size > 2 and scale > 0:
        found = _serial(series, cosines, cautious, fixed)
        return found._replace(standard_error=found.standard_error * scale)
    result = covariance(series[None], sampling, session, cosines, half_weight_n=half_weight_n)
    return Spread(math.sqrt(float(result.matrix[0, 0])) * scale, result.df, result.drift,
                  float(result.shift[0]) * scale)


def _serial(phi: FloatArray, cosines: int, cautious: bool, fixed: FloatArray | None) -> Spread:
    """`spread` of one recording, with a series held fixed if it varies."""
    df, n = min(cosines, phi.size - 1), phi.size
    held = fixed is not None and df > 2 and float(np.ptp(fixed)) > LEAST_VARIED * float(np.abs(fixed).max())
    rows = np.stack([phi, fixed / np.abs(fixed).max()]) if held and fixed is not None else phi[None]
    many = min(COEFFICIENTS, n - 1) if cautious and df == COSINES else df
    parts = cosine_transform(rows - rows.mean(axis=1, keepdims=True), many)
    rest = without(parts[0, :df], parts[1, :df]) if held else parts[0, :df]
    drift = _drifts(rest) or (held and _drifts(parts[0, :df]) and _drifts(parts[1, :df]))
    if cautious and df == COSINES:
        return Spread(math.sqrt(slow_variance(parts[0], COSINES, parts[1] if held else None) / n), float(df), drift)
    left = df - held
    if held and float(np.abs(rest).max()) <= ROUNDING * float(np.abs(parts[0]).max()):
        rest = np.zeros(df)
    return Spread(math.sqrt(float(rest @ rest) / (n * left)), float(left), drift)


def _drifts(coefficients: FloatArray) -> bool:
    """Whether the slowest cosine of at least 8 holds most of the variance."""
    squares = coefficients**2
    return bool(squares.size >= COSINES and squares[0] > DRIFT_SHARE * squares.sum())


def t_quantile(level: float, df: float) -> float:
    """Two-sided Student t quantile; normal for infinite degrees of freedom."""
    p = (1 + level) / 2
    return float(special.ndtri(p) if math.isinf(df) else special.stdtrit(df, p))


def estimate(
    value: float, phi: FloatArray, *, level: float, sampling: str, session: NDArray[Any] | None = None,
    cautious: bool = False, half_weight_n: float = 0.0, fixed: FloatArray | None = None,
) -> Estimate:
    """Interval of an estimate from its influence series: value -+ t_df * standard error.

    With sampling "sessions" the estimand is the mean over sessions, the value returned is `value` + (mean of `phi`
    over sessions): `phi` is 0 on average over the weights that `value` was found with, be they those of pairs or
    already those of sessions. Ask for `half_weight_n` as for `covariance`, for `fixed` as for `spread`.
    """
    result = spread(phi, sampling, session, cautious=cautious, half_weight_n=half_weight_n, fixed=fixed)
    half, value = t_quantile(level, result.df) * result.standard_error, float(value) + result.shift
    allowed = cautious and sampling == "serial" and result.df == COSINES
    return Estimate(value=value, low=value - half, high=value + half, level=level,
                    method=SLOW if allowed else METHODS[sampling],
                    standard_error=result.standard_error, df=result.df, drift=result.drift)


def invert_test(
    value: float, summands: FloatArray, *, level: float, sampling: str, session: NDArray[Any] | None = None,
    cautious: bool = False, half_weight_n: float = 0.0,
) -> tuple[float, float, float]:
    """Root of a quadratic estimating equation, and limits around it: the values that a t test does not reject.

    With summands psi_i(v) = a_i + b_i v + c_i v^2 whose mean is 0 at the estimate, v is kept if
    |mean psi(v)| <= t se(psi(v)): a quartic in v. The limits are its roots on either side of the estimate; where
    there is none the data do not bound that side (as Fieller 1954 for a ratio). Mean and standard error are those of
    `covariance`: with sampling "sessions" both are of the mean over sessions, and so is the root.

    Parameters
    ----------
    value : float
        The estimate, or a value near it: the root next to it is the one returned.
    summands : (3, n) array
        a, b and c of each pair, in order of time.
    cautious : bool
        As for `spread`; the limits are then searched for.
    half_weight_n : float
        As for `covariance`.

    Returns
    -------
    tuple of float
        Root, low and high.
    """
    summands = summands / np.abs(summands).max()
    if sampling == "sessions":
        value = _root(value, over_sessions(summands, np.asarray(session), half_weight_n).mean)
    # About the estimate and in steps as large as the limits are far: near limits would otherwise be lost to rounding.
    a, b, c = summands
    about = np.stack((a + value * (b + value * c), b + 2 * value * c, c))
    step = float(np.abs(about[0]).max() / (np.abs(about[1]).max() or 1.0)) or 1.0
    about *= np.array([[1.0], [step], [step * step]])
    about /= np.abs(about).max() or 1.0
    if sampling == "sessions":
        between = over_sessions(about, np.asarray(session), half_weight_n)
        mean, df, matrices = between.mean, between.df, [between.matrix, between.guard]
    else:
        result = covariance(about, sampling)
        mean, df, matrices = about.mean(axis=1), result.df, [result.matrix]
        if cautious and sampling == "serial" and df == COSINES:
            low, high = _searched(about, t_quantile(level, df))
            return value, value + step * low, value + step * high
    found = [_inverted(mean, matrix, t_quantile(level, df)) for matrix in matrices]
    return value, value + step * min(low for low, _ in found), value + step * max(high for _, high in found)


def _root(near: float, mean: FloatArray) -> float:
    """Root of mean[0] + mean[1] v + mean[2] v^2 next to `near`; `near` itself if there is none."""
    roots = np.roots(mean[::-1])
    real = roots.real[np.abs(roots.imag) <= 1e-9 * np.abs(roots)]
    return float(real[np.abs(real - near).argmin()]) if real.size else near


def _searched(summands: FloatArray, t: float) -> tuple[float, float]:
    """Limits of `invert_test` about 0 with standard errors that allow for slow errors: no quartic, by bisection."""
    n = summands.shape[1]
    mean = summands.mean(axis=1)
    parts = cosine_transform(summands - mean[:, None], min(COEFFICIENTS, n - 1))

    def excess(v: float) -> float:
        powers = np.array([1.0, v, v * v])
        return abs(float(powers @ mean)) - t * math.sqrt(slow_variance(powers @ parts, COSINES) / n)

    slope = abs(float(mean[1]))
    first = (-excess(0.0) / slope if slope > 0 else 0.0) or 1e-9
    ends = []
    for side in (-1, 1):
        inner, outer = 0.0, side * first
        for _ in range(DOUBLINGS):
            if excess(outer) > 0:
                ends.append(bracketed_root(excess, inner, outer, xtol=2e-12))
                break
            inner, outer = outer, 2 * outer
        else:
            ends.append(side * math.inf)
    return ends[0], ends[1]


def _inverted(mean: FloatArray, matrix: FloatArray, t: float) -> tuple[float, float]:
    square = np.outer(mean, mean) - t**2 * matrix
    quartic = np.array([square[2, 2], 2 * square[1, 2], square[1, 1] + 2 * square[0, 2], 2 * square[0, 1],
                        square[0, 0]])
    # A leading coefficient of rounding size makes a root that is infinite for all purposes.
    quartic[np.abs(quartic) < 1e-40 * np.abs(quartic).max()] = 0
    roots = np.roots(quartic)
    real = roots.real[np.abs(roots.imag) <= 1e-9 * np.abs(roots)]
    below, above = real[real <= 0], real[real >= 0]
    return float(below.max(initial=-math.inf)), float(above.min(initial=math.inf))


def warn_of_drift(*estimates: Estimate, stacklevel: int = 3) -> None:
    """Warn once if any of the estimates rests on a wandering error."""
    if any(item.drift for item in estimates):
        warnings.warn(
            "the error drifts over the recording: its slowest component holds most of the variance, so the "
            "interval is likely too narrow; record further sessions or look for a warm-up or zero shift",
            DriftWarning, stacklevel=stacklevel,
        )
