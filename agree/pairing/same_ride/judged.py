"""Whether two grids are of one ride along the lags found: every check of it, and what is said of those passed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import RETURN_S
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.lag_path import shifted
from agree.pairing.clocks.retime import Change
from agree.pairing.clocks.smoothness import smoother
from agree.pairing.grid import Grid
from agree.pairing.refusal import OtherRide, refuse_drift, refuse_joined, refuse_likeness, refuse_other_rider
from agree.pairing.same_ride import minutes
from agree.pairing.same_ride.between_steps import alike
from agree.pairing.same_ride.joined import other_ride
from agree.pairing.same_ride.programme import of_cadence, one_programme, one_ride, surely_shared
from agree.pairing.same_ride.unlike_part import unlike


def known_in_both(x: FloatArray, y: FloatArray, lag: int) -> tuple[FloatArray, FloatArray]:
    """Both without the seconds that the other lacks: a stop that one has would spoil the changes beside it."""
    place, other = np.arange(x.size), np.arange(y.size)
    return (np.where(np.isfinite(shifted(y, place + lag)), x, np.nan),
            np.where(np.isfinite(shifted(x, other - lag)), y, np.nan))


def judged(x: Grid, y: Grid, fine: Fine, absolute: bool, *, changes: Sequence[Change] = (), saved: bool = False,
           shown: bool = False) -> dict[str, Any]:
    """Likeness of two grids along the lags found, and notes on it; other rides and lost seconds are refused.

    `changes` are the steps of a clock that were put right.

    `saved`: minutes that are not alike beside noise refuse nothing where the rider's own changes are of one ride; those
    within 15 s refuse nothing where the cadence is, or what is between steps beside a parabola. `shown`: what the rider
    does is alike at this lag and at no other, on a steady ride, which shows one ride.
    """
    refuse_drift(fine, absolute, sure=True)
    one, two = known_in_both(x.power, y.power, round(fine.lag)) if changes else (x.power, y.power)
    likeness = minutes.along(one, two, fine)
    try:
        refuse_likeness(likeness, len(changes), lambda: smoother(x.power, y.power))
    except OtherRide:
        if not (shown or (saved and one_ride(x, y, fine))):
            raise
    try:
        refuse_other_rider(*minutes.rapidly(x.power, y.power, fine),
                           lambda: minutes.leftover(x.power, y.power, fine), lambda: smoother(x.power, y.power))
    except OtherRide:
        if not (shown or (saved and (surely_shared(of_cadence(x, y, fine)) or alike(x, y, fine).told))):
            raise
    refuse_joined(other_ride(one, two, fine, likeness))
    jumps = tuple(change.start for change in changes if abs(change.size) >= RETURN_S)
    untold = one_programme(x, y, fine, absolute)
    return {"likeness": likeness, "notes": (*unlike(likeness, jumps), *(() if shown else untold))}
