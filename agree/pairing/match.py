"""The lag of two grids, decided: by power and its steps, else by a witness, or refused."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import MatchError
from agree.core.pairs import Witness
from agree.faults.set_aside import set_aside
from agree.pairing import clock, clock_steps, retime, witnesses
from agree.pairing.grid import Grid, lay_over

ROLES = ("reference", "device")
ONE_CLOCK_S = 10.0  # in one file a device may report late, but not by more


class Match(NamedTuple):
    """Grids, put right where a clock had steps, the lag in places, and how it was found."""

    x: Grid
    y: Grid
    fine: clock.Fine
    found: list[clock.Candidate]
    channel: str = "power"
    notes: tuple[str, ...] = ()
    witnesses: tuple[Witness, ...] = ()
    changes: tuple[retime.Change, ...] = ()


def _refuse_zero(grid: Grid, role: str) -> None:
    readings = grid.power[np.isfinite(grid.power)]
    if not readings.any():
        raise MatchError(f"the {role} reads 0 W throughout ({readings.size} s): it was not measuring, and cannot be "
                         "matched; check its connection")


def match(x: Grid, y: Grid, max_lag_s: float | None, lag_s: float | None, one_clock: bool) -> Match:
    """Find the lag, or take the given one.

    Raises
    ------
    MatchError
        No overlap, a weak or ambiguous match that no witness decides, a witness that contradicts, or no power at all.
    """
    for grid, role in zip((x, y), ROLES, strict=True):
        _refuse_zero(grid, role)
    shift = y.first - x.first
    if lag_s is not None:
        return _given(x, y, lag_s)
    limit = math.inf if max_lag_s is None else max_lag_s
    lowest, highest = -limit - shift, limit - shift
    if one_clock:
        return _one_clock(x, y, max(lowest, -ONE_CLOCK_S - shift), min(highest, ONE_CLOCK_S - shift))
    try:
        best = _by_power(x, y, lowest, highest)
    except MatchError as refusal:
        best = _by_witness(x, y, lowest, highest, refusal)
    unlike = clock_steps.unlike(*_clean(best.x, best.y, best.fine), best.fine) if best.channel == "power" else ""
    called = witnesses.call(best.x, best.y, best.fine, best.channel, lowest, highest)
    notes = witnesses.hear(called, best.fine.lag + shift, best.channel, best.found, shift)
    return best._replace(witnesses=tuple(called), notes=(*best.notes, *([unlike] if unlike else []), *notes))


def _given(x: Grid, y: Grid, lag_s: float) -> Match:
    shift = y.first - x.first
    wanted = lag_s - shift
    chosen = clock.candidates(x.power, y.power, wanted - 0.5, wanted + 0.5)
    found = clock.candidates(x.power, y.power, -math.inf, math.inf)
    note = f"the lag was given: {lag_s:g} s"
    if found and abs(found[0].lag - wanted) > 1.5 and found[0].strength >= clock.MIN_STRENGTH:
        note += f"; the traces match best at {found[0].lag + shift:.1f} s (correlation {found[0].correlation:.2f})"
    return Match(x, y, clock.Fine(wanted, math.nan, math.nan, math.nan, 0.0, False), chosen, "given", (note,))


def _one_clock(x: Grid, y: Grid, lowest: float, highest: float) -> Match:
    """Both in one file: a lag is what one device reports later, and none is taken if power does not tell."""
    found = clock.candidates(x.power, y.power, lowest, highest)
    try:
        witnesses.accept(found, y.first - x.first, lambda: witnesses.calm(x, y))
    except MatchError as refusal:
        fine = clock.Fine(x.first - y.first, math.nan, math.nan, math.nan, 0.0, False)
        near = clock.candidates(x.power, y.power, fine.lag - 0.5, fine.lag + 0.5)
        return Match(x, y, fine, near, "assumed", (f"both columns have one clock: a lag of 0 s is taken; {refusal}",))
    return Match(x, y, _without_faults(x, y, found[0].lag), found)


def _by_power(x: Grid, y: Grid, lowest: float, highest: float) -> Match:
    found = clock.candidates(x.power, y.power, lowest, highest)
    refusal = None
    try:
        witnesses.accept(found, y.first - x.first, lambda: witnesses.calm(x, y))
    except MatchError as error:
        refusal = error
    fine = None if refusal else clock.refine(x.power, y.power, found[0].lag)
    stepped = _stepped(x, y, fine, lowest, highest)
    if stepped is not None:
        return stepped
    if refusal is not None:
        raise refusal
    return Match(x, y, _without_faults(x, y, found[0].lag), found)


def _by_witness(x: Grid, y: Grid, lowest: float, highest: float, refusal: MatchError) -> Match:
    """Let the first channel that is clear decide; where it chooses between lags of power, power refines its choice."""
    for channel in witnesses.WITNESSES:
        told = witnesses.ask(x, y, channel, lowest, highest)
        if told is None:
            continue
        fine, found = told
        note = (f"the lag comes from {channel}, of which the match is clear (correlation {found[0].correlation:.2f}, "
                f"strength {found[0].strength:.1f}); power alone was refused: {refusal}")
        strong = [c for c in clock.candidates(x.power, y.power, lowest, highest) if c.strength >= clock.MIN_STRENGTH]
        near = [c for c in strong if abs(c.lag - fine.lag) <= clock.DISTINCT_S]
        if near:
            fine, found = _without_faults(x, y, near[0].lag), near + [c for c in strong if c not in near]
        elif strong:
            raise refusal
        return Match(x, y, fine, found, channel, (note,))
    raise refusal


def _stepped(x: Grid, y: Grid, fine: clock.Fine | None, lowest: float, highest: float) -> Match | None:
    """Match after steps of a clock, if there is good evidence of them."""
    segments = clock_steps.find_segments(x.power, y.power, fine, lowest, highest)
    if not segments:
        return None
    if len(segments) > clock_steps.MOST_STEPS + 1:
        raise MatchError(f"the clocks differ by {len(segments) - 1} steps, and at most {clock_steps.MOST_STEPS} are "
                         "taken out: one of them seems to count rows, or moving time; export it with a timestamp in "
                         "each row")
    bend = np.zeros(x.power.size)
    if fine is not None:
        bend = fine.at(np.arange(x.power.size, dtype=float)) - fine.lag
    one, two, changes = retime.mend(x, y, segments, bend)
    found = clock.candidates(one.power, two.power, -math.inf, math.inf)
    try:
        witnesses.accept(found, y.first - x.first)
    except MatchError:
        return None
    starts = tuple(change.start for change in changes)
    return Match(one, two, _without_faults(one, two, found[0].lag, starts), found, changes=tuple(changes))


def _without_faults(x: Grid, y: Grid, lag: int, starts: tuple[int, ...] = ()) -> clock.Fine:
    """Sub-second lag; found once more without the faulty seconds, which tell nothing of the clock."""
    return clock.refine(*_clean(x, y, clock.refine(x.power, y.power, lag, starts)), lag, starts)


def _clean(x: Grid, y: Grid, fine: clock.Fine) -> tuple[FloatArray, FloatArray]:
    """Power of both without the faulty seconds."""
    rest = set_aside(x.power, y.power, lay_over(x.power, y.power, fine))
    one, two = x.power.copy(), y.power.copy()
    one[rest.reference_faulty] = two[rest.device_faulty] = np.nan
    return one, two
