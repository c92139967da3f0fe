"""Power that comes late because one device averages it: cadence, which is not averaged, comes before it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from agree.core.thresholds import LEAST_EXPLAINED, LEAST_SLOW, MOST_MEAN_S
from agree.pairing.clocks.clock import fast_changes
from agree.pairing.clocks.smoothness import GAIN, alike, alike_changes, made_even, running_mean
from agree.pairing.grid import Grid


class Slow(NamedTuple):
    """Both grids, the sharper power averaged as the slower one is, the lag between them in places, and the likeness."""

    x: Grid
    y: Grid
    lag: int
    correlation: float


def _averaged(x: Grid, y: Grid, which: int, width: int) -> tuple[Grid, Grid]:
    """Power of the one averaged over a width; `which` is 0 for the reference, 1 for the device."""
    grids = [x, y]
    grids[which] = grids[which]._replace(power=running_mean(grids[which].power, width))
    return grids[0], grids[1]


def response_explains(x: Grid, y: Grid, power_lag: float, own_lag: float) -> bool:
    """Tell whether a running mean explains how much later power is than a channel that is not averaged.

    A mean over the n seconds past is (n - 1)/2 s late. So the sharper trace, averaged over as many seconds as the lags
    differ by, must be like the slower one: nearly as much as by the mean that makes them most alike, and more than as
    it is.

    Parameters
    ----------
    x, y : Grid
        Reference and device.
    power_lag, own_lag : float
        Lags in places of power, and of the other channel, s.
    """
    late = power_lag - own_lag
    width = 2 * round(abs(late)) + 1
    if width > MOST_MEAN_S:
        return False
    lag = round(power_lag)
    one, two = _averaged(x, y, 0 if late > 0 else 1, width)
    found, best = alike(one.power, two.power, lag), alike(*made_even(x.power, y.power, lag), lag)
    return found > alike(x.power, y.power, lag) + GAIN and found >= LEAST_EXPLAINED * best


def behind(x: Grid, y: Grid, own_lag: float) -> Slow | None:
    """Find the running mean of one device that makes power alike, as late behind another channel as that mean is.

    Parameters
    ----------
    x, y : Grid
        Reference and device.
    own_lag : float
        Lag of the other channel, in places.

    Returns
    -------
    Slow or None
        None if no mean makes them alike beyond doubt, or they are as much so as they are.
    """
    found = []
    plain = [fast_changes(grid.power) for grid in (x, y)]
    for which, sign in ((0, 1), (1, -1)):
        for width in range(3, MOST_MEAN_S + 1, 2):
            one, two = _averaged(x, y, which, width)
            lag = round(own_lag + sign * (width - 1) / 2)
            changes = list(plain)
            changes[which] = fast_changes((one, two)[which].power)
            found.append(Slow(one, two, lag, alike_changes(changes[0], changes[1], lag)))
    best = found[int(np.argmax([slow.correlation for slow in found]))]
    as_they_are = alike_changes(plain[0], plain[1], best.lag)
    return best if best.correlation >= LEAST_SLOW and best.correlation > as_they_are + GAIN else None
