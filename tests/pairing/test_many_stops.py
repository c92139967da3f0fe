"""A recorder that pauses at every stop and counts on: with many stops no lag stands out, and the pair was refused."""

import numpy as np
import pytest

from agree.core.errors import MatchError
from agree.core.thresholds import LEAST_PAUSES, MIN_STEP_S, PAUSED_CORRELATION
from agree.pairing.clocks import clock, stops_left_out
from agree.pairing.clocks.stops_left_out import between_pauses
from agree.pairing.grid import Grid
from agree.pairing.match import match
from agree.pairing.refusal import refuse_likeness
from agree.pairing.same_ride.minutes import Likeness


def ride(stops, size=900, seed=4):
    """Power of a rider in a town, and the seconds of stops."""
    rng = np.random.default_rng(seed)
    power = np.rint(np.abs(190 + np.cumsum(rng.normal(0, 12, size)) % 120 + rng.normal(0, 30, size)))
    stands = np.zeros(size, bool)
    for start, length in stops:
        stands[start:start + length] = True
    power[stands] = 0
    return power, rng


def paused(power, rng, stops, kept=3):
    """What a recorder has that counts the first seconds of each stop only."""
    left = np.ones(power.size, bool)
    for start, length in stops:
        left[start + kept:start + length] = False
    return np.rint(np.where(power > 0, 0.98 * power + rng.normal(0, 4, power.size), 0))[left]


STOPS = [(60 + 70 * k, 12 + 7 * k % 30) for k in range(12)]


@pytest.mark.parametrize("loser", ["device", "reference"])
def test_twelve_stops_in_a_quarter_of_an_hour(loser):
    power, rng = ride(STOPS)
    short = paused(power, rng, STOPS)
    full, left = Grid(0.0, power), Grid(0.0, short)
    found = match(*((full, left) if loser == "device" else (left, full)), None, None, False)
    sign = -1 if loser == "device" else 1
    assert [change.size for change in found.changes] == pytest.approx(
        [sign * (length - 3) for _, length in STOPS], abs=1)


@pytest.mark.parametrize("short", [False, True])
def test_so_many_stops_are_needed(short):
    """LEAST_PAUSES, 3, of which a recorder leaves out MIN_STEP_S, 2, or more."""
    assert LEAST_PAUSES == 3
    for stops, seen in ((STOPS[:LEAST_PAUSES], True), (STOPS[:LEAST_PAUSES - 1], False)):
        power, rng = ride(stops)
        left = paused(power, rng, stops)
        x, y = Grid(0.0, power), Grid(0.0, left)
        found = between_pauses(*((y, x) if short else (x, y)), -np.inf, np.inf)
        assert bool(found) == seen
        assert len(found) == seen * (len(stops) + 1)
    few = [(start, MIN_STEP_S) for start, _ in STOPS]  # a recorder counts at least one second of a stop
    power, rng = ride(few)
    assert not between_pauses(Grid(0.0, power), Grid(0.0, paused(power, rng, few, 1)), -np.inf, np.inf)


@pytest.mark.parametrize(("correlation", "seen"), [(PAUSED_CORRELATION, True), (PAUSED_CORRELATION - 0.01, False)])
def test_so_much_alike_both_must_be_without_stops(monkeypatch, correlation, seen):
    """PAUSED_CORRELATION, 0.5."""
    assert PAUSED_CORRELATION == 0.5
    power, rng = ride(STOPS)
    monkeypatch.setattr(stops_left_out.clock, "candidates", lambda *_: [clock.Candidate(0, correlation, 40.0)])
    assert bool(between_pauses(Grid(0.0, power), Grid(0.0, paused(power, rng, STOPS)), -np.inf, np.inf)) == seen


def test_a_cadence_of_0_is_a_stop_too():
    """Power may be some watts while the rider stands: cadence tells."""
    power, rng = ride(STOPS)
    cadence = np.where(power > 0, 90.0, 0.0)
    left = paused(power, rng, STOPS)
    assert len(between_pauses(Grid(0.0, np.maximum(power, 4.0), cadence), Grid(0.0, left), -np.inf, np.inf)) == 13
    assert not between_pauses(Grid(0.0, np.maximum(power, 4.0)), Grid(0.0, np.maximum(left, 1.0)), -np.inf, np.inf)


def test_two_riders_who_stop_in_the_same_seconds_are_two():
    """What makes both alike are their stops alone."""
    power, _ = ride(STOPS)
    other, rng = ride(STOPS, seed=9)
    x, y = Grid(0.0, power), Grid(0.0, paused(other, rng, STOPS))
    assert between_pauses(x, y, -np.inf, np.inf)
    with pytest.raises(MatchError):
        match(x, y, None, None, False)


@pytest.mark.parametrize("steps", [0, 15])
def test_a_refusal_after_steps_says_that_stops_may_be_too_many_to_place(steps):
    """28 stops in 40 min, one ride: "probably not of the same ride" was all that was said."""
    unlike = Likeness(60 * np.arange(10), np.arange(10) < 3, np.ones(10))
    with pytest.raises(MatchError) as refusal:
        refuse_likeness(unlike, steps)
    assert ("paused at stops too many" in str(refusal.value)) == bool(steps)
