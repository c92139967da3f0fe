"""Whether two grids are of one ride along the lags found: every check of it, and what is said of those passed."""

from __future__ import annotations

from typing import Any

from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.smoothness import smoother
from agree.pairing.grid import Grid
from agree.pairing.refusal import OtherRide, refuse_drift, refuse_joined, refuse_likeness, refuse_other_rider
from agree.pairing.same_ride import minutes
from agree.pairing.same_ride.between_steps import alike
from agree.pairing.same_ride.joined import other_ride, unlike
from agree.pairing.same_ride.programme import of_cadence, one_programme, one_ride, surely_shared


def judged(x: Grid, y: Grid, fine: Fine, steps: int, absolute: bool, *, saved: bool = False) -> dict[str, Any]:
    """Likeness of two grids along the lags found, and notes on it; other rides and lost seconds are refused.

    `saved`: minutes that are not alike beside noise refuse nothing where the rider's own changes are of one ride; those
    within 15 s refuse nothing where the cadence is, or what is between steps beside a parabola.
    """
    refuse_drift(fine, absolute)
    likeness = minutes.along(x.power, y.power, fine)
    try:
        refuse_likeness(likeness, steps, lambda: smoother(x.power, y.power))
    except OtherRide:
        if not (saved and one_ride(x, y, fine)):
            raise
    try:
        refuse_other_rider(*minutes.rapidly(x.power, y.power, fine),
                           lambda: minutes.leftover(x.power, y.power, fine), lambda: smoother(x.power, y.power))
    except OtherRide:
        if not (saved and (surely_shared(of_cadence(x, y, fine)) or alike(x, y, fine).told)):
            raise
    refuse_joined(other_ride(x.power, y.power, fine, likeness))
    untold = one_programme(x, y, fine, absolute)
    return {"likeness": likeness, "notes": (*unlike(likeness), *untold)}
