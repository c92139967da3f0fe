"""What is known before two grids are matched, what a match is, and one at a lag that is given, or of one clock."""

from __future__ import annotations

import math
from typing import NamedTuple

from agree.core.data.pairs import Witness
from agree.core.errors import MatchError
from agree.core.results.note import Note
from agree.core.thresholds import GIVEN_LAG_S, MIN_STRENGTH, ONE_CLOCK_S
from agree.pairing import witnesses
from agree.pairing.clocks import clock, retime, smoothness
from agree.pairing.clocks.fine import Fine, refine
from agree.pairing.grid import Grid
from agree.pairing.refusal import accept
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


def at_given_lag(x: Grid, y: Grid, lag_s: float) -> Match:
    """Match at a lag that is given, and a note, which says if another one fits better."""
    shift = y.first - x.first
    wanted = lag_s - shift
    chosen = clock.candidates(x.power, y.power, wanted - 0.5, wanted + 0.5)
    found = clock.candidates(x.power, y.power, -math.inf, math.inf)
    values: dict[str, float] = {"lag_s": lag_s}
    if found and abs(found[0].lag - wanted) > GIVEN_LAG_S and found[0].strength >= MIN_STRENGTH:
        values |= {"best_s": found[0].lag + shift, "correlation": found[0].correlation}
    note = Note(kind="pair_lag_given", severity="trust" if "best_s" in values else "detail", values=values)
    return Match(x, y, Fine(wanted, math.nan, math.nan, math.nan, 0.0, False), chosen, "given", (note,))


def of_one_clock(x: Grid, y: Grid, asked: Asked) -> Match:
    """Both in one file: a lag is what one device reports later, and none is taken if power does not tell."""
    shift = y.first - x.first
    found = clock.candidates(x.power, y.power, max(asked.lowest, -ONE_CLOCK_S - shift),
                             min(asked.highest, ONE_CLOCK_S - shift))
    try:
        accept(found, shift, lambda: witnesses.calm(x, y), lambda: smoothness.smoother(x.power, y.power))
    except MatchError as refusal:
        fine = Fine(-shift, math.nan, math.nan, math.nan, 0.0, False)
        near = clock.candidates(x.power, y.power, fine.lag - 0.5, fine.lag + 0.5)
        return Match(x, y, fine, near, "assumed", (
            Note(kind="pair_one_clock", severity="trust", values={"refusal": str(refusal)}),))
    return Match(x, y, refine(*smoothness.made_even(x.power, y.power, found[0].lag), found[0].lag), found)
