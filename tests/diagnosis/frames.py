"""Window means and fits put together by hand, for the tests of what is concluded from them."""

import math

import numpy as np

from agree import Estimate
from agree.diagnosis.windows.causes import Fit, Part
from agree.diagnosis.windows.frame import Frame
from agree.diagnosis.windows.gains import gains


def sized(value, t, df=math.inf):
    """An estimate of a size that is so many of its standard errors."""
    error = abs(value) / t
    return Estimate(value=value, low=value - 2 * error, high=value + 2 * error, level=0.95, method="",
                    standard_error=error, df=df)


def framed(power, error=0.0, turning=None, warmth=None, knots=()):
    """Windows of one session without slow faults."""
    power = np.array(power, float)
    n = power.size
    rows = np.vstack([np.zeros((0, n)), *(np.maximum(power - knot, 0) for knot in knots),
                      *(np.where(power > knot, power, 0) for knot in knots)])
    return Frame(np.zeros(n) + error, power, turning, np.arange(n) / 120, warmth, np.zeros(n, int), ((),),
                 (np.zeros((0, n)),), (np.zeros((0, n)),), np.array(knots, float), rows,
                 None if turning is None else power * turning)


def fitted(data, *parts, by_power=0.0):
    """A fit of some parts, by cause: estimate, and what else was compared."""
    named = tuple(Part(cause, {"scale": "%", "torque_offset": "N m"}.get(cause, "W"), size, 1.0, 0.999, compared)
                  for cause, size, *compared in parts)
    return Fit(named, 1.0, np.zeros(data.error.size), data, gains(data), np.zeros(data.error.size) + by_power, math.nan,
               np.zeros(data.error.size))
