"""`Estimate`, and the one engine that turns an influence series into an interval."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree._check import FloatArray
from agree._result import Result
from agree.errors import DriftWarning, SampleSizeError

COSINES = 8
# Share of the long-run variance in the slowest cosine above which a drift is named. Under no drift the
# share is Beta(1/2, 7/2) and exceeds 0.7 in 0.6 % of recordings.
DRIFT_SHARE = 0.7

METHODS = {
    "independent": "t, independent pairs",
    "serial": f"t, {COSINES} cosines (serial)",
    "sessions": "t, between sessions",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Estimate(Result):
    """A number with its interval.

    Attributes
    ----------
    value, low, high : float
        Estimate and limits; a limit is infinite where the data do not bound it.
    level : float
        Confidence level, a fraction in (0, 1).
    method : str
        How the interval was made.
    standard_error, df : float
        Standard error and degrees of freedom behind the interval; NaN for rank or exact intervals.
    drift : bool
        True if the slowest cosine holds most of the variance: the error wanders over the recording,
        and the interval is likely too narrow.

    Examples
    --------
    >>> from agree import Estimate
    >>> print(Estimate(value=-5.93, low=-6.21, high=-5.65, level=0.95, method="t, 8 cosines (serial)"))
    -5.93 [-6.21, -5.65]
    """

    value: float
    low: float
    high: float
    level: float
    method: str
    standard_error: float = math.nan
    df: float = math.nan
    drift: bool = False

    def scaled(self, factor: float) -> Estimate:
        """Return the estimate in another unit (multiplied by a positive `factor`)."""
        return Estimate(value=self.value * factor, low=self.low * factor, high=self.high * factor,
                        level=self.level, method=self.method, standard_error=self.standard_error * factor,
                        df=self.df, drift=self.drift)


class Spread(NamedTuple):
    """Standard error of a mean of influences, its degrees of freedom, and the drift flag."""

    standard_error: float
    df: float
    drift: bool


def cosine_transform(phi: FloatArray, count: int = COSINES) -> FloatArray:
    """Project a series on its first type-II cosines, sqrt(2/n) sum phi_t cos(pi j (t - 1/2) / n)."""
    n = phi.size
    phase = np.pi * (np.arange(n) + 0.5) / n
    return np.array([math.sqrt(2 / n) * (phi @ np.cos(j * phase)) for j in range(1, count + 1)])


def spread(phi: FloatArray, sampling: str, session: NDArray[Any] | None = None) -> Spread:
    r"""Standard error of the mean of an influence series.

    Parameters
    ----------
    phi : (n,) array
        Influence of each pair, in order of time; its mean is removed.
    sampling : {"independent", "serial", "sessions"}
        ``independent``: s/sqrt(n), n - 1 degrees of freedom. ``serial``: neighbours alike; the long-run
        variance is the mean square of the first 8 type-II cosine coefficients (equal-weighted cosine
        estimator), 8 degrees of freedom. With n <= 9 all n - 1 coefficients are taken, and the result
        is that of independent pairs. ``sessions``: sums within each session, S - 1 degrees of freedom.
    session : (n,) array, optional
        Session labels, for ``sessions``.

    Raises
    ------
    SampleSizeError
        Fewer than 2 pairs or sessions.

    References
    ----------
    Mueller UK (2004) Econometrica 72; Lazarus, Lewis, Stock & Watson (2018) J Bus Econ Stat 36:541.
    """
    n = phi.size
    if n < 2:
        raise SampleSizeError(f"an interval needs at least 2 pairs; got {n}")
    scale = float(np.abs(phi).max())
    if not scale > 0 or not math.isfinite(scale):
        return Spread(0.0 if scale == 0 else math.nan, float(n - 1), False)
    phi = phi / scale
    phi = phi - phi.mean()
    drift = False
    if sampling == "independent":
        variance, df = phi @ phi / (n * (n - 1)), n - 1
    elif sampling == "serial":
        df = min(COSINES, n - 1)
        squares = cosine_transform(phi, df) ** 2
        variance = squares.mean() / n
        drift = bool(df == COSINES and squares[0] > DRIFT_SHARE * squares.sum())
    else:
        _, index = np.unique(np.asarray(session), return_inverse=True)
        sums = np.bincount(index, weights=phi)
        if sums.size < 2:
            raise SampleSizeError(f"an interval between sessions needs at least 2; got {sums.size}")
        df = sums.size - 1
        variance = sums.size / df * (sums @ sums) / n**2
    return Spread(math.sqrt(variance) * scale, float(df), drift)


def t_quantile(level: float, df: float) -> float:
    """Two-sided Student t quantile; normal for infinite degrees of freedom."""
    p = (1 + level) / 2
    return float(special.ndtri(p) if math.isinf(df) else special.stdtrit(df, p))


def estimate(
    value: float, phi: FloatArray, *, level: float, sampling: str, session: NDArray[Any] | None = None
) -> Estimate:
    """Interval of an estimate from its influence series: value -+ t_df * standard error."""
    result = spread(phi, sampling, session)
    half = t_quantile(level, result.df) * result.standard_error
    return Estimate(value=float(value), low=float(value - half), high=float(value + half), level=level,
                    method=METHODS[sampling], standard_error=result.standard_error, df=result.df,
                    drift=result.drift)


def warn_of_drift(*estimates: Estimate, stacklevel: int = 3) -> None:
    """Warn once if any of the estimates rests on a wandering error."""
    if any(item.drift for item in estimates):
        warnings.warn(
            "the error drifts over the recording: its slowest component holds most of the variance, so the "
            "interval is likely too narrow; record further sessions or look for a warm-up or zero shift",
            DriftWarning, stacklevel=stacklevel,
        )
