"""What is known before two grids are matched, and what a match is."""

from __future__ import annotations

from typing import NamedTuple

from agree.core.data.pairs import Witness
from agree.core.results.note import Note
from agree.pairing.clocks import clock, retime
from agree.pairing.clocks.fine import Fine
from agree.pairing.grid import Grid
from agree.pairing.same_ride import minutes


class Match(NamedTuple):
    """Grids, put right where a clock had steps, the lag in places, and how it was found."""

    x: Grid
    y: Grid
    fine: Fine
    found: list[clock.Candidate]
    channel: str = "power"
    notes: tuple[Note, ...] = ()
    witnesses: tuple[Witness, ...] = ()
    changes: tuple[retime.Change, ...] = ()
    likeness: minutes.Likeness | None = None


class Asked(NamedTuple):
    """What is known of the clocks beforehand: lags between places to consider, and whether both stamps have a date.

    `wide`: the user named the largest lag, so that it is no surprise.
    """

    lowest: float
    highest: float
    absolute: bool
    wide: bool
