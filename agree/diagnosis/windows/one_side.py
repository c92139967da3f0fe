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
    SCATTER_EXPONENT,
    SCATTER_PERCENT,
    SCATTER_RATIO,
    SIDE_SCALE_PERCENT,
    SIDE_SCATTER_PERCENT,
    SIDE_STRENGTH,
    SIDE_WANDER_PERCENT,
)
from agree.diagnosis.by_second import Scatter
from agree.diagnosis.finding import Finding
from agree.diagnosis.windows.causes import Fit
from agree.diagnosis.windows.least_squares import level_off

WANDER_WINDOWS = range(1, 4)   # lags, in windows of 30 s: a share wanders on, and noise of windows does not
CHANGED = ("scale", "drift", "sessions_differ")  # what the sides of a rider make of a device that doubles one
BY_NAME = Literal["total", "scatter", "slow_reference"]


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
        """Whether the device scatters so much and more, as a share of power, beyond the reference."""
        return self.rough is not None and self.grows and self.sharper and self.rough.percent >= percent

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

    Without the wandering, and where the strokes' noise is smoothed, noise in proportion to power looks the same: a
    rival, which only a recorded balance would exclude.
    """
    rough = seen.rough
    if made is None or rough is None or not seen.grows:
        return []
    scatters = seen.scatters(SIDE_SCATTER_PERCENT if seen.wanders else SCATTER_PERCENT)
    if not (scatters or seen.wanders):
        return []
    apart, data, exponent = scatters and seen.wanders, made.frame, rough.exponent
    size = Estimate(value=rough.percent, low=math.nan, high=math.nan, level=exponent.level, method="RMS within 15 s")
    return [Finding(
        cause="one_side_doubled", role="device", size=size, unit="%",
        strength=SIDE_STRENGTH * (seen.sure if apart else 0.5), rivals=() if apart else ("noise_in_proportion",),
        percent=100 * math.sqrt(float(np.mean(data.error**2))) / float(data.power.mean()),
        values={"exponent": exponent.value, "exponent_low": exponent.low, "exponent_high": exponent.high,
                "wander_sd_percent": _sd(seen.wander), "wander_level": seen.sure})]


def explains_more(made: Fit | None, seen: Signs) -> bool:
    """Whether it, or noise in proportion to power, is large, and beside it stands what one side would explain too."""
    return made is not None and seen.scatters(SCATTER_PERCENT) and bool(made.causes() - {"scale"})


def _sd(found: Estimate | None) -> float:
    return math.sqrt(found.value) if found is not None and found.value > 0 else 0.0


def untold(found: Sequence[Finding], seen: Signs, *, slow_reference: bool) -> list[Finding]:
    """Say of each cause that one side doubled would make alike that this cannot be told, and what hides it.

    The value `one_side_untold` is "slow_reference" where the reference smoothes what one side scatters, "scatter" where
    the error does scatter in proportion to power, if less than would tell, and "total" else.
    """
    rough = seen.rough
    shows = seen.scatters(SIDE_SCATTER_PERCENT)
    why: BY_NAME = "slow_reference" if slow_reference else "scatter" if shows else "total"
    percent = {"scatter_percent": rough.percent} if rough is not None and shows else {}
    return [replace(item, values={**item.values, "one_side_untold": why, **percent}) if _alike(item) else item
            for item in found]


def _alike(item: Finding) -> bool:
    too_large = item.cause == "scale" and item.size is not None and abs(item.size.value) > SIDE_SCALE_PERCENT
    return item.cause in CHANGED and item.role != "reference" and not too_large
