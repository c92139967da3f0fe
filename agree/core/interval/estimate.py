"""`Estimate`: a number with its interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

from agree.core.results.drawn import Drawn
from agree.core.shared_docs import made_by


@made_by("limits_of_agreement", "deming", "check_claim",
         references="Müller UK (2004) A theory of robust long-run variance estimation; Lazarus E, Lewis DJ, Stock JH, "
                    "Watson MW (2018) J Bus Econ Stat 36:541, for serial intervals (both from memory).")
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Estimate(Drawn):
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
