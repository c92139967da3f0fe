"""The lag of two grids, decided: by power and its steps, else by a witness or by stamps, or refused."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from functools import partial

import numpy as np

from agree.core.errors import MatchError
from agree.core.results.note import Note
from agree.core.thresholds import (
    DISTINCT_LAG_S,
    LIKENESS_WINDOWS,
    MAX_ALIKE,
    MAX_RIVAL,
    MIN_CORRELATION,
    MIN_STRENGTH,
    STAMPS_RIVAL_SHARE,
    STAMPS_S,
)
from agree.pairing import witnesses
from agree.pairing.clocks import clock, lag_path, retime, smoothness
from agree.pairing.clocks.by_second import step_search
from agree.pairing.clocks.crowd import crowd
from agree.pairing.clocks.fine import Fine, refine
from agree.pairing.clocks.stops_left_out import as_stops, between_pauses, stops
from agree.pairing.grid import Grid
from agree.pairing.gross_zeros import as_is, lags_without_gross
from agree.pairing.match_types import Asked, Match, at_given_lag, of_one_clock
from agree.pairing.refusal import (
    Doubt,
    JoinedRides,
    OtherRide,
    accept,
    doubt,
    refuse_drift,
    refuse_inverted,
    refuse_other_day,
    refuse_returns,
    refuse_steps,
    refuse_zero,
)
from agree.pairing.same_ride.judged import judged
from agree.pairing.same_ride.own_lag import own_lag
from agree.pairing.same_ride.programme import one_programme
from agree.pairing.same_ride.unlike_part import UNLIKE
from agree.pairing.slow_jumps import ways_without_jumps
from agree.pairing.slow_power import behind, response_explains

ROLES = ("reference", "device")
CLOSE_STRENGTH = 0.7  # of a match that is there, for which another one is worked out
NEAR_OWN_S = 2  # power is best alike so near to the lag of the rider's own changes


def match(x: Grid, y: Grid, max_lag_s: float | None, lag_s: float | None, one_clock: bool,
          absolute: bool = False) -> Match:
    """Find the lag, or take the given one.

    Parameters
    ----------
    x, y : Grid
        Reference and device.
    max_lag_s, lag_s : float, optional
        Largest lag to consider, and the lag itself if it is known, s.
    one_clock : bool
        Both are columns of one file.
    absolute : bool
        The stamps of both have a date.

    Raises
    ------
    MatchError
        No overlap; a weak or ambiguous match that neither a witness nor stamps decide; a witness that contradicts;
        minutes that are not alike along the lags found; a drift no two clocks have; other days; no power at all.
    """
    for grid, role in zip((x, y), ROLES, strict=True):
        refuse_zero(grid.power, role)
    shift = y.first - x.first
    if lag_s is not None:
        return at_given_lag(x, y, lag_s)
    limit = math.inf if max_lag_s is None else max_lag_s
    asked = Asked(-limit - shift, limit - shift, absolute, max_lag_s is not None)
    if one_clock:
        return of_one_clock(x, y, asked)
    try:
        best = _by_power(x, y, asked)
    except MatchError as refusal:
        best = _by_slow_power(x, y, asked) or _by_witness(x, y, asked, refusal)
        refuse_drift(best.fine, asked.absolute)
    refuse_other_day(best.fine.lag + shift, asked.absolute and not asked.wide)
    called = witnesses.call(best.x, best.y, best.fine, best.channel, asked.lowest, asked.highest)
    notes = witnesses.hear(called, best.fine.lag + shift, best.channel, best.found, shift)
    return best._replace(witnesses=tuple(called), notes=(*best.notes, *notes))


def _by_power(x: Grid, y: Grid, asked: Asked) -> Match:
    """Match by power; if that is refused, by steps about the lag where windows crowd, or without false zeros."""
    found = clock.candidates(x.power, y.power, asked.lowest, asked.highest)
    try:
        seen = _seen(x, y, asked, found, as_is)
    except MatchError as refusal:
        joined = isinstance(refusal, JoinedRides)  # zeros of another ride may be all that is unlike
        for again in (_crowded, _paused) if joined else (
                _crowded, _paused, _without_gross, _with_stops, _by_own_changes):
            # Steps put in freely follow another ride too, but not all of its minutes are alike then.
            if (told := _tried(again, x, y, asked)) is not None and not (joined and _partly_unlike(told)):
                return told
        raise refusal from None
    strength = seen.found[0].strength if seen.found else 0.0
    if _partly_unlike(seen):
        # Faults make minutes unlike too: pauses that are put in must make the whole more alike, not leave those out.
        others = (_tried(again, x, y, asked) for again in (_crowded, partial(_paused, least=strength)))
        return next((told for told in others if told is not None and not _partly_unlike(told)), seen)
    # Of steps found, some may have been missed.
    told = _tried(partial(_paused, least=CLOSE_STRENGTH * strength), x, y, asked) if seen.changes else None
    return told if told is not None and not _partly_unlike(told) and told.found[0].strength > strength else seen


def _tried(way: Callable[[Grid, Grid, Asked], Match | None], x: Grid, y: Grid, asked: Asked) -> Match | None:
    with suppress(MatchError):
        return way(x, y, asked)
    return None


def _partly_unlike(found: Match) -> bool:
    return any(note.kind == UNLIKE for note in found.notes)


def _crowded(x: Grid, y: Grid, asked: Asked) -> Match | None:
    """Match by steps about the lag where windows crowd: with several stops no single lag may stand out."""
    lag = crowd(x.power, y.power, asked.lowest, asked.highest)
    if lag is None:
        return None
    return _stepped(x, y, lag_path.follow(x.power, y.power, lag, asked.lowest, asked.highest), asked, as_is)


def _paused(x: Grid, y: Grid, asked: Asked, least: float = 0.0) -> Match | None:
    """Match as if one recorder had paused at every stop: of many, windows lie across them and tell no lag."""
    return _stepped(x, y, between_pauses(x, y, asked.lowest, asked.highest, least), asked, as_is)


def _by_own_changes(x: Grid, y: Grid, asked: Asked) -> Match | None:
    """Match by what the rider does between steps, where power is steady, or alike at several lags."""
    unsure = doubt(found := clock.candidates(x.power, y.power, asked.lowest, asked.highest))
    if not (unsure is Doubt.RIVAL or (unsure is Doubt.WEAK and witnesses.calm(x, y))):
        return None
    told = own_lag(x.power, y.power, asked.lowest, asked.highest)
    near = clock.candidates(x.power, y.power, told[0].lag - NEAR_OWN_S, told[0].lag + NEAR_OWN_S) if told else []
    if not near or (unsure is Doubt.RIVAL and near[0].strength < MAX_RIVAL * found[0].strength):
        return None
    note = Note(kind="pair_lag_by_own_changes", values={
        "strength": told[0].strength, "next": told[1].strength if len(told) > 1 else 0.0})
    fine = _refined(x, y, near[0].lag)
    made = judged(x, y, fine, asked.absolute, saved=True, shown=unsure is Doubt.WEAK)
    return Match(x, y, fine, near, **(made | {"notes": (note, *made["notes"])}))


def _without_gross(x: Grid, y: Grid, asked: Asked) -> Match | None:
    """Match without zeros, if one has many amid work of the other, or without values that stand for no reading."""
    told = lags_without_gross(x, y, asked.lowest, asked.highest)
    return _seen(x, y, asked, *told) if told else None


def _with_stops(x: Grid, y: Grid, asked: Asked) -> Match | None:
    """Match with a 0 in the gaps of each recording: it may leave out stops that the other one records."""
    return _seen(x, y, asked, clock.candidates(as_stops(x).power, as_stops(y).power, asked.lowest, asked.highest),
                 as_stops) if stops(x) or stops(y) else None


def _seen(x: Grid, y: Grid, asked: Asked, found: list[clock.Candidate], blind: Callable[[Grid], Grid]) -> Match:
    if doubt(found) is Doubt.RIVAL and asked.absolute and (told := _by_stamps(x, y, found)) is not None:
        return told
    stepped = None
    if found:
        one, two = smoothness.made_even(blind(x).power, blind(y).power, found[0].lag)
        stepped = _stepped(x, y, lag_path.follow(one, two, found[0].lag, asked.lowest, asked.highest), asked, blind)
    if stepped is None:
        return _at_one_lag(x, y, asked, found, blind)
    if not _partly_unlike(stepped):
        return stepped
    whole = _tried(partial(_at_one_lag, found=found, blind=blind), x, y, asked)
    # A step after which minutes are unlike, and are not without it, is none.
    return whole if whole is not None and not _partly_unlike(whole) else stepped


def _at_one_lag(x: Grid, y: Grid, asked: Asked, found: list[clock.Candidate], blind: Callable[[Grid], Grid]) -> Match:
    shift, u, v = y.first - x.first, blind(x), blind(y)
    if doubt(found) in (Doubt.MISSING, Doubt.WEAK):
        upright, turned = np.where(x.power > 0, x.power, np.nan), np.where(y.power > 0, -y.power, np.nan)
        refuse_inverted(clock.candidates(upright, turned, asked.lowest, asked.highest), shift)
    accept(found, shift, lambda: witnesses.calm(x, y), lambda: smoothness.smoother(x.power, y.power))
    fine = _refined(u, v, found[0].lag)
    return Match(x, y, fine, found, **judged(u, v, fine, asked.absolute, saved=True))


def _by_stamps(x: Grid, y: Grid, found: list[clock.Candidate]) -> Match | None:
    """Let stamps decide between lags at which the traces are alike, as in equal intervals, and say that they did."""
    shift = y.first - x.first
    near = clock.candidates(x.power, y.power, -STAMPS_S - shift, STAMPS_S - shift)
    if not near or near[0].strength < max(MIN_STRENGTH, MAX_RIVAL * found[0].strength):
        return None
    best = near[0]
    others = [c for c in (*found, *near[1:]) if abs(c.lag - best.lag) > DISTINCT_LAG_S and (
        c.strength > MAX_RIVAL * best.strength or c.correlation > MAX_ALIKE * best.correlation)]
    apart = min((abs(c.lag - best.lag) for c in others), default=math.inf)
    if abs(best.lag + shift) > STAMPS_RIVAL_SHARE * apart:
        return None
    note = Note(kind="pair_stamps_decided", severity="trust", values={
        "lag_s": float(best.lag + shift), "correlation": best.correlation, "rival_lag_s": float(others[0].lag + shift),
        "rival_correlation": others[0].correlation} if others else {"lag_s": float(best.lag + shift)})
    fine = _refined(x, y, best.lag)
    return Match(x, y, fine, [best, *others], notes=(note, *one_programme(x, y, fine, absolute=True)))


def _by_slow_power(x: Grid, y: Grid, asked: Asked) -> Match | None:
    """Match power behind cadence that is clear, as late as the average that one device takes is; None if it is not.

    Where faults hide that, or that both are of one ride, it is looked for without the seconds between jumps of power.
    """
    told = witnesses.ask(x, y, "cadence", asked.lowest, asked.highest)
    if told is None:
        return None
    refusal: MatchError | None = None
    for one, two in ways_without_jumps(x, y):
        slow = behind(one, two, told.lag)
        if slow is None:
            continue
        fine = refine(slow.x.power, slow.y.power, slow.lag)
        found = clock.candidates(slow.x.power, slow.y.power, slow.lag - 1, slow.lag + 1)
        try:
            return Match(x, y, fine, found, **judged(slow.x, slow.y, fine, asked.absolute))
        except MatchError as why:
            refusal = refusal or why
    if refusal is not None:
        raise refusal
    return None


def _by_witness(x: Grid, y: Grid, asked: Asked, refusal: MatchError) -> Match:
    """Let the first channel that is clear decide; where it chooses between lags of power, power refines its choice."""
    if isinstance(refusal, OtherRide):
        raise refusal
    for channel in witnesses.WITNESSES:
        told = witnesses.ask(x, y, channel, asked.lowest, asked.highest)
        if told is None:
            continue
        lag, se, found = told
        fine = Fine(lag, se, math.nan, math.nan, 0.0, False)
        note = Note(kind="pair_lag_by_channel", severity="trust", values={
            "channel": channel, "correlation": found[0].correlation, "strength": found[0].strength,
            "refusal": str(refusal)})
        strong = [c for c in clock.candidates(x.power, y.power, asked.lowest, asked.highest)
                  if c.strength >= MIN_STRENGTH]
        near = [c for c in strong if abs(c.lag - fine.lag) <= DISTINCT_LAG_S or response_explains(x, y, c.lag, lag)]
        if near:
            fine, found = _refined(x, y, near[0].lag), near + [c for c in strong if c not in near]
            _passed(x, y, fine, near[0], asked, refusal)
        elif strong or not witnesses.calm(x, y):  # power that is not steady would match there
            raise refusal
        return Match(x, y, fine, found, channel, (note,))
    raise refusal


def _passed(x: Grid, y: Grid, fine: Fine, best: clock.Candidate, asked: Asked, refusal: MatchError) -> None:
    """Refuse power that does not match at the lag of a witness; equal intervals match there, but at others too."""
    one_programme(x, y, fine, asked.absolute)
    if best.correlation < MIN_CORRELATION and (
            judged(x, y, fine, asked.absolute)["likeness"].matched.size < LIKENESS_WINDOWS):
        raise refusal


def _stepped(x: Grid, y: Grid, stretches: list[lag_path.Stretch], asked: Asked, blind: Callable[[Grid], Grid]
             ) -> Match | None:
    """Match after steps of a clock, if there is good evidence of them."""
    if len(stretches) < 2:
        return None
    refuse_steps(len(stretches) - 1)
    stretches = step_search.refined(blind(x).power, blind(y).power, stretches)
    while len(stretches) > 1:
        one, two, changes = retime.mend(x, y, stretches)
        refuse_returns([change.size for change in changes])
        u, v = blind(one), blind(two)
        found = clock.candidates(u.power, v.power, asked.lowest, asked.highest)
        if doubt(found) is not Doubt.NONE:
            return None
        fine = _refined(u, v, found[0].lag, tuple(change.start for change in changes))
        if (none := retime.no_step(changes, fine)) is None:
            return Match(one, two, fine, found, changes=tuple(changes),
                         **judged(u, v, fine, asked.absolute, changes=changes))
        stretches = retime.without_change(stretches, none)
    return None


def _refined(x: Grid, y: Grid, lag: int, starts: tuple[int, ...] = ()) -> Fine:
    """Sub-second lag of traces of one smoothness."""
    return refine(*smoothness.made_even(x.power, y.power, lag), lag, starts)

