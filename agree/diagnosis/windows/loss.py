"""A loss between two measuring points, as what a scale with an offset may come from."""

from __future__ import annotations

import math

import numpy as np

from agree.core.thresholds import LOSS_STRENGTH, POWER_RANGE, ROUNDING_SHARE
from agree.diagnosis.finding import Finding
from agree.diagnosis.windows.causes import Fit
from agree.diagnosis.windows.frame import spread_ratio
from agree.diagnosis.windows.least_squares import level_off, regress

# Lines through measured losses of clean chain drives: output = (1 - a) power - b, a as a fraction and b in W.
LOSS_LINES = ((0.010, 2.6), (0.013, 2.4), (0.013, 3.5))


def loss(fit: Fit) -> list[Finding]:
    """A loss between two measuring points, if the intervals of scale and offset reach those of clean chains.

    Both must be causes by themselves, and their intervals without 0: beside a scale alone a loss would be that scale
    told twice.

    Lines of loss: output = 0.990 P - 2.6 W, 0.987 P - 2.4 W and 0.987 P - 3.5 W for three gears of a clean chain,
    fitted to measured losses (common practice).
    """
    data = fit.frame
    if "scale" not in fit.causes() or not fit.causes() & {"offset", "torque_offset"} or "bend" in fit.causes():
        return []
    if spread_ratio(data.power) < POWER_RANGE:
        return []
    mean = float(data.power.mean())
    rows = np.stack([fit.gains.free(row) for row in (data.power, np.ones(data.power.size))])
    slope, intercept = regress(rows, fit.gains.free(data.error), ROUNDING_SHARE * mean)
    sign = math.copysign(1, float(data.error.mean()))
    ranges = [sorted(sign * line[k] for line in LOSS_LINES) for k in (0, 1)]
    inside = all(item.low <= ends[-1] and ends[0] <= item.high
                 for item, ends in zip((slope, intercept), ranges, strict=True))
    if not inside or any(min(sign * item.low, sign * item.high) <= 0 for item in (slope, intercept)):
        return []
    size = 100 * math.sqrt(float(np.mean((slope.value * data.power + intercept.value) ** 2))) / mean
    return [Finding(
        cause="loss", role="device" if sign < 0 else "reference", size=slope.scaled(100), unit="%", percent=size,
        strength=LOSS_STRENGTH * min(level_off(slope), level_off(intercept)), rivals=("scale", "offset"),
        values={"offset_W": intercept.value, "offset_low_W": intercept.low, "offset_high_W": intercept.high})]
