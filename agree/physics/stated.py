"""Intervals of values whose standard uncertainty is stated, not measured."""

from __future__ import annotations

import math

from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate


def stated_estimate(value: float, u: float, level: float) -> Estimate:
    """Return value -+ z u."""
    half = t_quantile(level, math.inf) * u
    return Estimate(value=value, low=value - half, high=value + half, level=level,
                    method="normal, stated uncertainties", standard_error=u, df=math.inf)
