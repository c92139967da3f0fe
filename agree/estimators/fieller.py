"""Ratio of two means with Fieller's limits, under any sampling."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate, invert_test
from agree.core.interval.estimate import Estimate
from agree.estimators.ratios import ratio_of_sums


def fieller(part: FloatArray, whole: FloatArray, **options: Any) -> Estimate:
    """Return sum(part)/sum(whole); limits are the ratios that a t test of mean(part - ratio whole) = 0 does not reject.

    `options` are level, sampling, session, cautious and half_weight_n, as for `estimate`; over sessions it is the
    ratio of the two means over sessions. A limit is infinite where the mean of `whole` cannot be told from 0 (Fieller
    1954, J R Stat Soc B 16:175).
    """
    value, phi = ratio_of_sums(part, whole)
    item = estimate(value, phi, **options)
    if not item.standard_error > 1e-12 * abs(value):
        return item  # one ratio throughout
    value, low, high = invert_test(value, np.stack((part, -whole, np.zeros(part.size))), **options)
    return replace(item, value=value, low=low, high=high, method="Fieller: " + item.method)
