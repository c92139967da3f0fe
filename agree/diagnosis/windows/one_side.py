"""A device that senses one side and doubles it: scatter in proportion to power, and a share that wanders."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, NamedTuple

import numpy as np

from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import (
    SCATTER_ELSEWHERE,
    SCATTER_EXPONENT,
    SCATTER_PERCENT,
    SCATTER_RATIO,
    SIDE_SCALE_PERCENT,
    SIDE_SCATTER_PERCENT,
    SIDE_STRENGTH,
    SIDE_WANDER_PERCENT,
)
from agree.diagnosis.by_second import Scatter
from agree.diagnosis.finding import Cause, Finding
from agree.diagnosis.windows.causes import Fit
from agree.diagnosis.windows.least_squares import level_off

WANDER_WINDOWS = range(1, 4)   # lags, in windows of 30 s: a share wanders on, and noise of windows does not
# What the sides of a rider make of a device that doubles one: their shares go with power, cadence, place and time.
CHANGED = ("scale", "offset", "torque_offset", "bend", "cadence_gain", "drift", "step", "sessions_differ", "wandering",
           "warm_up")
BY_NAME = Literal["total", "slow_reference"]


class Signs(NamedTuple):
    """What may show that a device doubles one side: scatter, sharpness against the reference, and a wandering share."""

    rough: Scatter | None
    ratio: Estimate | None
    wander: Estimate | None

    @property
    def grows(self) -> bool:
        """Whether the scatter grows with power."""
        return self.rough is not None and self.rough.exponent.low >= SCATTER_EXPONENT

    @property
    def sharper(self) -> bool:
        """Whether the device changes more from second to second."""
        return self.ratio is not None and self.ratio.value >= math.log(SCATTER_RATIO) and self.ratio.low >= 0

    def scatters(self, percent: float) -> bool:
        """Whether the device scatters so much, as a share of power, beyond the reference, and at any time alike."""
        return (self.rough is not None and self.grows and self.sharper and self.rough.percent >= percent
                and self.rough.elsewhere_percent < SCATTER_ELSEWHERE * self.rough.percent)

    @property
    def sure(self) -> float:
        """Level at which the share wanders by more than other errors do, else 0."""
        found = self.wander
        wide = found is not None and found.value >= SIDE_WANDER_PERCENT**2
        return level_off(found) if found is not None and wide else 0.0

    @property
    def wanders(self) -> bool:
        """Whether it does for certain enough."""
        return self.sure >= SIDE_STRENGTH


def signs(made: Fit | None, rough: Scatter | None, ratio: Estimate | None) -> Signs:
    """Signs of one side doubled."""
    return Signs(rough, ratio, None if made is None else wander(made))


def wander(made: Fit) -> Estimate | None:
    """Covariance of the error in per cent, half a minute to a minute and a half apart, free of all other causes."""
    data = made.frame
    share = 100 * made.residual / data.power
    share = share - (np.bincount(data.session, share) / np.bincount(data.session).clip(1))[data.session]
    products = np.zeros(share.size)
    for lag in WANDER_WINDOWS:
        if lag < share.size:
            products[lag:] += share[lag:] * share[:-lag] * (data.session[lag:] == data.session[:-lag])
    products /= len(WANDER_WINDOWS)
    return estimate(float(products.mean()), products, level=0.95, sampling="serial") if share.size > 40 else None


def one_side(made: Fit | None, seen: Signs) -> list[Finding]:
    """Scatter in proportion to power, larger than the reference's, and a share that wanders over minutes.

    Without the wandering noise in proportion to power looks the same, and without the noise of strokes, which the
    device may smooth, an error that wanders: rivals, which only a recorded balance would exclude.
    """
    rough = seen.rough
    if made is None or rough is None or not seen.grows:
        return []
    scatters = seen.scatters(SIDE_SCATTER_PERCENT)
    if not (scatters or seen.wanders):
        return []
    apart, data, exponent = scatters and seen.wanders, made.frame, rough.exponent
    rivals: tuple[Cause, ...] = () if apart else ("noise_in_proportion",) if scatters else ("wandering",)
    size = Estimate(value=rough.percent, low=math.nan, high=math.nan, level=exponent.level, method="RMS within 15 s")
    return [Finding(
        cause="one_side_doubled", role="device", size=size, unit="%",
        strength=SIDE_STRENGTH * (seen.sure if apart else 0.5), rivals=rivals,
        percent=100 * math.sqrt(float(np.mean(data.error**2))) / float(data.power.mean()),
        values={"exponent": exponent.value, "exponent_low": exponent.low, "exponent_high": exponent.high,
                "wander_sd_percent": _sd(seen.wander), "wander_level": seen.sure})]


def wandering(made: Fit | None, seen: Signs) -> list[Finding]:
    """An error that wanders over minutes as that of no total that was looked at; the data do not tell of what."""
    if made is None or seen.wander is None or not seen.wanders:
        return []
    found, sd = seen.wander, _sd(seen.wander)
    low, high = (math.sqrt(max(end, 0.0)) for end in (found.low, found.high))
    size = Estimate(value=sd, low=low, high=high, level=found.level, method="root of the covariance's interval",
                    standard_error=found.standard_error / (2 * sd), df=found.df)
    return [Finding(cause="wandering", size=size, unit="%", strength=0.5 * seen.sure, percent=size.value)]


def explains_more(made: Fit | None, seen: Signs) -> bool:
    """Whether it, or noise in proportion to power, is large, and beside it stands what one side would explain too."""
    return made is not None and seen.scatters(SCATTER_PERCENT) and bool(made.causes() - {"scale"})


def _sd(found: Estimate | None) -> float:
    return math.sqrt(found.value) if found is not None and found.value > 0 else 0.0


def untold(found: Sequence[Finding], *, slow_reference: bool) -> list[Finding]:
    """Say of each cause that one side doubled would make alike that this cannot be told, and what hides it.

    The value `one_side_untold` is "slow_reference" where the reference smoothes what one side scatters, "total" else.
    """
    why: BY_NAME = "slow_reference" if slow_reference else "total"
    return [replace(item, values={**item.values, "one_side_untold": why}) if _alike(item) else item for item in found]


def _alike(item: Finding) -> bool:
    too_large = item.cause == "scale" and item.size is not None and abs(item.size.value) > SIDE_SCALE_PERCENT
    return item.cause in CHANGED and item.role != "reference" and not too_large
