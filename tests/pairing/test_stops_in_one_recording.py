"""Pairs of which one recording leaves out stops while it averages: its gaps hide how alike the two are beside them."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from agree.core.errors import MatchError
from agree.core.results.note import Note
from agree.core.thresholds import GAP_STOP_S, GAP_STOPS
from agree.pairing.clocks.stops_left_out import as_stops, stops
from agree.pairing.grid import Grid
from agree.pairing.match import match
from tests.estimators.test_response_across_gaps import lag, noisy, ride

RIDES = Path(__file__).parent.parent / "data" / "rides"


def pair(seed, other, tau):
    x, _, rng = ride(seed, 18)
    y, gone, _ = ride(other, 18)
    return Grid(0.0, noisy(x, rng)), Grid(0.0, np.where(gone, np.nan, noisy(lag(y, tau), rng)))


@pytest.mark.parametrize("tau", [4.0, 6.0])
def test_a_slow_device_that_leaves_out_stops_is_paired(tau):
    """It was refused, and the sharp reference blamed for averaging over 20 s or more."""
    x, y = pair(1, 1, tau)
    made = match(x, y, None, None, False)
    assert 0 < made.fine.lag < tau
    assert np.isnan(made.y.power).any()
    made = match(y, x, None, None, False)
    assert -tau < made.fine.lag < 0


@pytest.mark.parametrize("seed", [2, 3])
def test_another_ride_with_stops_is_refused(seed):
    with pytest.raises(MatchError):
        match(*pair(1, seed, 4.0), None, None, False)


@pytest.mark.parametrize(("length", "count", "told"), [
    (GAP_STOP_S, GAP_STOPS, True), (GAP_STOP_S - 1, GAP_STOPS, False), (GAP_STOP_S, GAP_STOPS - 1, False)])
def test_gaps_that_may_be_stops(length, count, told):
    power = np.full(300, 200.0)
    for k in range(count):
        power[50 + 40 * k:50 + 40 * k + length] = np.nan
    made = as_stops(Grid(0.0, power)).power
    assert bool(stops(Grid(0.0, power))) == told
    assert (made[50], int((made == 0).sum())) == (0, length * count) if told else np.isnan(made[50])


def test_pauses_in_place_of_minutes_that_are_unlike_must_make_the_whole_more_alike(monkeypatch):
    """Zeros amid 17 min of an exact copy became a step of 782 s, since the shorter match left out most of them."""
    power = np.nan_to_num(pd.read_csv(RIDES / "single-road-78min.csv")["power_W"].to_numpy(float))
    copy = power.copy()
    copy[1200:2200] *= np.random.default_rng(0).random(1000) > 0.3
    asked = []

    def between(x, y, lowest, highest, least=0.0):
        asked.append(least)
        return []

    monkeypatch.setattr("agree.pairing.match.between_pauses", between)
    made = match(Grid(0.0, power), Grid(0.0, copy), None, None, False)
    assert [note.kind for note in made.notes] == ["pair_minutes_unlike"]
    assert asked == [made.found[0].strength]


def test_a_step_after_which_minutes_are_unlike_and_are_not_without_it_is_none(monkeypatch):
    """A device with a lag of 8 s whose recorder leaves out stops got one: 0.6 points off, "not settled" for "holds"."""
    power, _, rng = ride(1, 18)
    x, y = Grid(0.0, power), Grid(0.0, noisy(power, rng))
    whole = match(x, y, None, None, False)
    own = [note.kind for note in whole.notes]
    for kind, kinds in (("pair_minutes_unlike", own), ("pair_clock_step", ["pair_clock_step"])):
        step = whole._replace(notes=(Note(kind=kind),))
        monkeypatch.setattr("agree.pairing.match._stepped", lambda *_, step=step: step)
        assert [note.kind for note in match(x, y, None, None, False).notes] == kinds
