"""The lag without what a device that holds its last reading at stops makes of it: each stop seems to come later."""

from __future__ import annotations

from agree.core.data.held_readings import held
from agree.core.data.matched import Matched
from agree.pairing.clocks import smoothness
from agree.pairing.clocks.fine import Fine, refine
from agree.pairing.grid import Grid


def without_holding(x: Grid, y: Grid, fine: Fine, matched: Matched) -> Fine:
    """Lag and drift, found with the sharper trace holding its readings as the other one does.

    Many stops in one part of a ride would otherwise pass for a drift of the clocks.
    """
    one, two = x.power, y.power
    if matched.smoother == "reference":
        two = held(two, matched.held_s)
    else:
        one = held(one, matched.held_s)
    lag = round(fine.lag)
    return refine(*smoothness.made_even(one, two, lag), lag, ())
