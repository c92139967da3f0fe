"""The lag that the rider's own changes between steps tell, where steps that repeat, or that are not there, do not.

Equal intervals are alike at several lags, and power that a trainer holds has no steps at all. What a parabola through
the seconds near leaves, between steps, is of one moment of one ride: of two riders it is alike at no lag.
"""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import MIN_OVERLAP_S, MOST_OWN_RIVAL, OWN_STRENGTH, WORKING_W
from agree.pairing.clocks import clock
from agree.pairing.clocks.smoothness import running_mean
from agree.pairing.same_ride.between_steps import RAPID, SLOW, Scale, beside_parabola
from agree.pairing.same_ride.rider import steps

# One of the two may average over so many seconds: they are looked at beside readings as they are.
MEANS = ((RAPID, (3, 9)), (SLOW, (9, 21)))


def _left(power: FloatArray, scale: Scale, mean: int = 1) -> FloatArray:
    """What a parabola leaves of power between steps; NaN elsewhere."""
    calm = np.where((power > WORKING_W) & ~steps(power, scale.after_s), power, np.nan)
    rest = beside_parabola(running_mean(calm, mean) if mean > 1 else calm, scale.reach_s)
    sd = float(np.nanstd(rest)) if np.isfinite(rest).any() else 0.0
    out: FloatArray = np.clip(rest, -clock.CLIP_SD * sd, clock.CLIP_SD * sd)
    return out


def stands_out(found: list[clock.Candidate]) -> bool:
    """Whether the best lag is beyond chance, and no other is nearly as good."""
    return bool(found) and found[0].strength >= OWN_STRENGTH and (
        len(found) < 2 or found[1].strength <= MOST_OWN_RIVAL * found[0].strength)


def own_lag(x: FloatArray, y: FloatArray, lowest: float, highest: float) -> list[clock.Candidate]:
    """Lags at which two traces are alike between steps, the best first; none if the best does not stand out.

    Parameters
    ----------
    x, y : array
        Power of reference and device, W, on 1-s grids.
    lowest, highest : float
        Lags to consider.
    """
    for scale, means in MEANS:
        one, two = _left(x, scale), _left(y, scale)
        if min(np.isfinite(one).sum(), np.isfinite(two).sum()) < MIN_OVERLAP_S:
            continue
        tries = [(one, two)] + [pair for mean in means for pair in (
            (_left(x, scale, mean), two), (one, _left(y, scale, mean)))]
        found = [clock.strongest(u, v, lowest, highest) for u, v in tries]
        best = max((lags for lags in found if lags), key=lambda lags: lags[0].strength, default=[])
        if stands_out(best):
            return best
    return []
