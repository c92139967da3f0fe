"""A device that senses one side and doubles it: scatter in proportion to power, and a share that wanders."""

from __future__ import annotations

import math

import numpy as np

from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import SCATTER_EXPONENT, SCATTER_PERCENT, SCATTER_RATIO, SIDE_STRENGTH
from agree.diagnosis.by_second import Scatter
from agree.diagnosis.finding import Finding
from agree.diagnosis.windows.causes import Fit
from agree.diagnosis.windows.least_squares import level_off

WANDER_WINDOWS = range(10, 15)   # lags, in windows of 30 s, at which a wandering share still shows


def wander(made: Fit) -> Estimate | None:
    """Covariance of the error in per cent, 5 to 7 minutes apart."""
    data = made.frame
    share = 100 * data.error / data.power
    share = share - (np.bincount(data.session, share) / np.bincount(data.session).clip(1))[data.session]
    products = np.zeros(share.size)
    for lag in WANDER_WINDOWS:
        if lag < share.size:
            products[lag:] += share[lag:] * share[:-lag] * (data.session[lag:] == data.session[:-lag])
    products /= len(WANDER_WINDOWS)
    return estimate(float(products.mean()), products, level=0.95, sampling="serial") if share.size > 40 else None


def one_side(made: Fit | None, rough: Scatter | None, ratio: Estimate | None) -> list[Finding]:
    """Scatter in proportion to power, larger than the reference's, and a share that wanders over minutes.

    Without the wandering, and where the strokes' noise is smoothed, noise in proportion to power looks the same: a
    rival, which only a recorded balance would exclude.
    """
    if made is None or rough is None or ratio is None:
        return []
    exponent = rough.exponent
    if (rough.percent < SCATTER_PERCENT or exponent.low < SCATTER_EXPONENT or ratio.value < math.log(SCATTER_RATIO)
            or ratio.low < 0):
        return []
    found = wander(made)
    sure = level_off(found) if found is not None and found.value > 0 else 0.0
    sd = math.sqrt(found.value) if found is not None and found.value > 0 else 0.0
    data = made.frame
    apart = sure >= SIDE_STRENGTH or bool(made.causes() - {"scale"})
    size = Estimate(value=rough.percent, low=math.nan, high=math.nan, level=exponent.level, method="RMS within 15 s")
    return [Finding(
        cause="one_side_doubled", role="device", size=size, unit="%",
        strength=SIDE_STRENGTH * (max(sure, 0.5) if apart else 0.5), rivals=() if apart else ("noise_in_proportion",),
        percent=100 * math.sqrt(float(np.mean(data.error**2))) / float(data.power.mean()),
        values={"exponent": exponent.value, "exponent_low": exponent.low, "exponent_high": exponent.high,
                "wander_sd_percent": sd, "wander_level": sure})]
