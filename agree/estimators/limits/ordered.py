"""Order statistics of errors whose sessions may count alike, and how many independent pairs they are worth."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.bracketed_root import bracketed_root
from agree.core.interval.engine import spread, t_quantile
from agree.core.interval.over_sessions import mean_over, pair_weights


class Ordered(NamedTuple):
    """Values in increasing order, and the weight of the pairs at or below each; weights have mean 1."""

    values: FloatArray
    below: FloatArray

    def quantile(self, share: float) -> float:
        """Quantile that lies above the true one as often as below, whatever the law (Hyndman & Fan 1996, 8)."""
        weight = np.diff(self.below, prepend=0.0)
        if (weight == 1).all():  # to the last digit
            return float(np.quantile(self.values, share, method="median_unbiased"))
        places = self.below - weight / 3
        return float(np.interp(share * (self.values.size + 1 / 3), places, self.values))

    def first(self, share: float) -> float:
        """Smallest value with at least `share` of the pairs at or below it."""
        place = int(np.searchsorted(self.below, self.values.size * share - 1e-9))
        return float(self.values[min(place, self.values.size - 1)])

    def low(self, share: float, effective: float, tail: float) -> float:
        """Value below the quantile of `share` with error probability `tail`; -inf if there is none."""
        return self._beyond(self.values, self.below, refused(effective, share, tail), effective, -math.inf)

    def high(self, share: float, effective: float, tail: float) -> float:
        """Value above the quantile of `share` with error probability `tail`; inf if there is none."""
        above = np.cumsum(np.diff(self.below, prepend=0.0)[::-1])
        return self._beyond(self.values[::-1], above, refused(effective, 1 - share, tail), effective, math.inf)

    @staticmethod
    def _beyond(values: FloatArray, weight: FloatArray, few: float, effective: float, none: float) -> float:
        if few < 0:
            return none
        return float(values[np.searchsorted(weight, few * values.size / effective + 1e-9, side="right")])


def ordered(values: FloatArray, session: NDArray[Any] | None) -> Ordered:
    """Sort values; with session labels sessions have equal weight."""
    order = np.argsort(values, kind="stable")
    weights = np.ones(values.size) if session is None else pair_weights(session)[order]
    return Ordered(values[order], np.cumsum(weights))


@lru_cache(maxsize=256)
def refused(effective: float, share: float, tail: float) -> float:
    """Number m of `effective` pairs with P(Binomial(effective, share) <= m) = `tail`; -1 if even 0 is likelier.

    Values with no more than so many pairs below them are refused as the quantile of `share`. m is continued between
    whole numbers by the incomplete beta function.
    """
    def excess(m: float) -> float:
        return float(special.betainc(effective - m, m + 1, 1 - share)) - tail

    if excess(0.0) > 0:
        return -1.0
    return bracketed_root(excess, 0.0, effective * (1 - 1e-12), xtol=1e-12)


def effective_pairs(marks: FloatArray, level: float, sampling: str, labels: NDArray[Any] | None) -> tuple[float, bool]:
    """Effective number of pairs behind a share, and whether it drifts (Korn & Graubard 1998).

    n over the engine's variance of the share relative to that of independent pairs, and times (z/t)^2 for the
    engine's few degrees of freedom; never more than n.
    """
    n, share = marks.size, mean_over(labels)(marks)
    found = spread(marks - share, sampling, labels)
    alone = share * (1 - share) / n
    inflation = max(found.standard_error**2 / alone, 1.0) if alone > 0 else 1.0
    return n / inflation * (t_quantile(level, math.inf) / t_quantile(level, found.df)) ** 2, found.drift
