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
from agree.core.estimate import Estimate

COSINES = 8
# For a verdict the largest of the mean squares of so many first coefficients counts: with 8 alone an error correlated
# over 300 s of an hour makes 8 % false answers on one side, with this 4 %, for 20 % more width on white noise.
CAUTIOUS = (2, 3, 4, 6, 8)
# Share of the long-run variance in the slowest cosine above which a drift is named. Under no drift the
# share is Beta(1/2, 7/2) and exceeds 0.7 in 0.6 % of recordings.
DRIFT_SHARE = 0.7

METHODS = {
    "independent": "t, independent pairs",
    "serial": f"t, {COSINES} cosines (serial)",
    "sessions": "t, between sessions",
}


class Spread(NamedTuple):
    """Standard error of a mean of influences, its degrees of freedom, and the drift flag."""

    standard_error: float
    df: float
    drift: bool


def cosine_transform(phi: FloatArray, count: int = COSINES) -> FloatArray:
    """Project series (..., n) on the first type-II cosines, sqrt(2/n) sum phi_t cos(pi j (t - 1/2)/n)."""
    n = phi.shape[-1]
    phase = np.pi * (np.arange(n) + 0.5) / n
    coefficients = np.stack([phi @ np.cos(j * phase) for j in range(1, count + 1)], axis=-1)
    result: FloatArray = math.sqrt(2 / n) * coefficients
    return result


class Covariance(NamedTuple):
    """Covariance of the means of k influence series, its degrees of freedom, and the drift flag of the first."""

    matrix: FloatArray
    df: float
    drift: bool


def covariance(
    phi: FloatArray, sampling: str, session: NDArray[Any] | None = None, cosines: int = COSINES
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
        independent pairs. ``sessions``: sums within each session, S - 1 degrees of freedom.
    session : (n,) array, optional
        Session labels, for ``sessions``.
    cosines : int
        Number of coefficients for ``serial``; more of them are less noisy and blinder to slow errors.

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
    phi = phi - phi.mean(axis=1, keepdims=True)
    drift = False
    if sampling == "independent":
        parts, df = phi, n - 1
        factor = 1 / (n * df)
    elif sampling == "serial":
        df = min(cosines, n - 1)
        parts, factor = cosine_transform(phi, df), 1 / (n * df)
        squares = parts[0] ** 2
        drift = bool(df >= COSINES and squares[0] > DRIFT_SHARE * squares.sum())
    else:
        _, index = np.unique(np.asarray(session), return_inverse=True)
        parts = np.stack([np.bincount(index, weights=row) for row in phi])
        count = parts.shape[1]
        if count < 2:
            raise SampleSizeError(f"an interval between sessions needs at least 2; got {count}")
        df = count - 1
        factor = count / df / n**2
    return Covariance(parts @ parts.T * factor, float(df), drift)


def spread(
    phi: FloatArray, sampling: str, session: NDArray[Any] | None = None, *, cosines: int = COSINES,
    cautious: bool = False,
) -> Spread:
    """Standard error of the mean of one influence series, (n,); as `covariance`, safe at 1e-300 and 1e300.

    With `cautious`, serial standard errors are the largest found with the first 2, 3, 4, 6 or 8 coefficients, still
    with 8 degrees of freedom: slow errors show in the first ones.
    """
    scale = float(np.abs(phi).max()) if phi.size else 1.0
    if not math.isfinite(scale):
        return Spread(math.nan, float(phi.size - 1), False)
    series = (phi / scale if scale > 0 else phi)[None]
    result = covariance(series, sampling, session, cosines)
    variance = float(result.matrix[0, 0])
    if cautious and sampling == "serial" and result.df == COSINES:
        squares = cosine_transform(series[0] - series[0].mean()) ** 2
        variance = max(float(squares[:count].mean()) for count in CAUTIOUS) / phi.size
    return Spread(math.sqrt(variance) * scale, result.df, result.drift)


def t_quantile(level: float, df: float) -> float:
    """Two-sided Student t quantile; normal for infinite degrees of freedom."""
    p = (1 + level) / 2
    return float(special.ndtri(p) if math.isinf(df) else special.stdtrit(df, p))


def estimate(
    value: float, phi: FloatArray, *, level: float, sampling: str, session: NDArray[Any] | None = None,
    cautious: bool = False,
) -> Estimate:
    """Interval of an estimate from its influence series: value -+ t_df * standard error."""
    result = spread(phi, sampling, session, cautious=cautious)
    half = t_quantile(level, result.df) * result.standard_error
    return Estimate(value=float(value), low=float(value - half), high=float(value + half), level=level,
                    method=METHODS[sampling], standard_error=result.standard_error, df=result.df,
                    drift=result.drift)


def invert_test(
    value: float, summands: FloatArray, *, level: float, sampling: str, session: NDArray[Any] | None = None,
    cautious: bool = False,
) -> tuple[float, float]:
    """Limits around the root of a quadratic estimating equation: the values that a t test does not reject.

    With summands psi_i(v) = a_i + b_i v + c_i v^2 whose mean is 0 at the estimate, v is kept if
    |mean psi(v)| <= t se(psi(v)): a quartic in v. The limits are its roots on either side of the estimate; where
    there is none the data do not bound that side (as Fieller 1954 for a ratio).

    Parameters
    ----------
    value : float
        The estimate.
    summands : (3, n) array
        a, b and c of each pair, in order of time.
    cautious : bool
        As for `spread`: the widest of the limits found with the first 2, 3, 4, 6 or 8 coefficients.
    """
    summands = summands / np.abs(summands).max()
    result = covariance(summands, sampling, session)
    found = [_inverted(value, summands, result.matrix, t_quantile(level, result.df))]
    if cautious and sampling == "serial" and result.df == COSINES:
        found += [_inverted(value, summands, covariance(summands, sampling, None, count).matrix,
                            t_quantile(level, result.df)) for count in CAUTIOUS[:-1]]
    return min(low for low, _ in found), max(high for _, high in found)


def _inverted(value: float, summands: FloatArray, matrix: FloatArray, t: float) -> tuple[float, float]:
    mean = summands.mean(axis=1)
    square = np.outer(mean, mean) - t**2 * matrix
    quartic = np.array([square[2, 2], 2 * square[1, 2], square[1, 1] + 2 * square[0, 2], 2 * square[0, 1],
                        square[0, 0]])
    # A leading coefficient of rounding size makes a root that is infinite for all purposes.
    quartic[np.abs(quartic) < 1e-40 * np.abs(quartic).max()] = 0
    roots = np.roots(quartic)
    real = roots.real[np.abs(roots.imag) <= 1e-9 * np.abs(roots)]
    below, above = real[real <= value], real[real >= value]
    return float(below.max(initial=-math.inf)), float(above.min(initial=math.inf))


def warn_of_drift(*estimates: Estimate, stacklevel: int = 3) -> None:
    """Warn once if any of the estimates rests on a wandering error."""
    if any(item.drift for item in estimates):
        warnings.warn(
            "the error drifts over the recording: its slowest component holds most of the variance, so the "
            "interval is likely too narrow; record further sessions or look for a warm-up or zero shift",
            DriftWarning, stacklevel=stacklevel,
        )
