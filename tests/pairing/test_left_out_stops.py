"""Stops that a recorder leaves out, with its rows renumbered: where they are placed, and that none is passed over."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.core.thresholds import LEAST_BETWEEN_S, LEAST_END_S, LEAST_TURN_S
from agree.pairing.clocks import retime
from agree.pairing.clocks.by_second.likeliest_course import likeliest
from agree.pairing.clocks.by_second.step_search import without_turns
from agree.pairing.clocks.fine import Extra, Fine
from agree.pairing.clocks.lag_path import Stretch
from agree.pairing.grid import Grid
from agree.pairing.same_ride.judged import known_in_both

STOP, LONG, TAIL = 1000, 90, 26


def test_the_tail_of_a_slow_device_at_a_stop_lies_before_the_seconds_left_out():
    """The step was placed where the stop began: the tail lay beyond it, and the reference "started late".

    A first-order lag of 3 s, and a device that leaves the stop out but for 26 s.
    """
    x = np.maximum(150 + lfilter([4], [1, -0.8], np.random.default_rng(8).standard_normal(2000)), 1)
    x[STOP:STOP + LONG] = 0
    y = np.delete(lfilter([1 - np.exp(-1 / 3)], [1, -np.exp(-1 / 3)], x), np.arange(STOP + TAIL, STOP + LONG))
    stretches = parts((0, STOP, 3), (STOP + LONG, 2000, 3 - LONG + TAIL))
    _, _, (change,) = retime.mend(Grid(0.0, np.rint(x)), Grid(0.0, np.rint(y)), stretches)
    assert STOP + LONG - TAIL + 10 <= change.start <= STOP + LONG


WORK = np.ones(2000, bool)


def parts(*stretches):
    return [Stretch(start, stop, np.full(2, lag)) for start, stop, lag in stretches]


@pytest.mark.parametrize(("moment", "lag", "kept"), [
    (LEAST_TURN_S - 1, 60, False), (LEAST_TURN_S, 60, True), (LEAST_TURN_S - 1, 240, True)])
def test_a_lag_that_turns_back_within_seconds_is_no_clock(moment, lag, kept):
    """LEAST_TURN_S, 30: a stop of 88 s was told as -142 and +230 s; a lag that goes on one way stays."""
    assert LEAST_TURN_S == 30
    found = without_turns(parts((0, 1000, 202), (1100, 1100 + moment, lag), (1200, 2000, 290)), WORK)
    assert len(found) == 2 + kept


@pytest.mark.parametrize(("moment", "kept"), [(LEAST_END_S - 1, False), (LEAST_END_S, True)])
@pytest.mark.parametrize("end", [False, True])
def test_a_moment_at_an_end_tells_no_lag(moment, kept, end):
    """LEAST_END_S, 15."""
    assert LEAST_END_S == 15
    both = parts((0, moment, -241), (100, 900, -60)) if not end else parts((0, 900, 0), (1000, 1000 + moment, -60))
    assert len(without_turns(both, WORK)) == 1 + kept


@pytest.mark.parametrize(("work", "kept"), [(LEAST_END_S - 1, False), (LEAST_END_S, True)])
def test_minutes_of_rest_at_an_end_tell_no_lag(work, kept):
    """Six minutes without work before a ride: a step of 6 s was told at their end, which no clock had."""
    rest = WORK.copy()
    rest[:390 - work] = False
    assert len(without_turns(parts((0, 390, 0), (396, 900, -6)), rest)) == 1 + kept


@pytest.mark.parametrize(("work", "kept"), [(LEAST_BETWEEN_S - 1, False), (LEAST_BETWEEN_S, True)])
def test_two_steps_in_one_stop_are_one(work, kept):
    """LEAST_BETWEEN_S, 5: of a stop of 85 s, 40 s were put into riding, and 5 min read 10 % too high."""
    assert LEAST_BETWEEN_S == 5
    rest = WORK.copy()
    rest[615:700 - work] = False
    found = without_turns(parts((0, 615, 0), (627, 700, -12), (733, 1500, -45)), rest)
    assert len(found) == 2 + kept


def test_seconds_of_the_device_are_passed_over_at_a_cost():
    """Else a stop that the reference has was passed over by a fall and a rise of the lag."""
    cost = np.ones((20, 6))
    cost[:10, 0] = cost[10:, 5] = 0
    prices = np.full(20, 2.0), np.full(25, 2.0)
    assert likeliest(cost, np.ones(20), np.full(25, 0.5), *prices) == [(0, 10, 0), (10, 20, 5)]
    assert len(likeliest(cost, np.ones(20), np.full(25, 2.0), *prices)) == 1


def test_steps_outside_of_the_pairs_are_none_of_theirs():
    """One was told "at -1:57:47"; the lag at the beginning of the pairs has the steps before it."""
    changes = tuple(retime.Change(start, -40) for start in (90, 300, 900))
    fine = Fine(0.0, 0.1, 0.0, 0.0, 0.0, False, tuple(Extra(change.start, 0.0, 0.25, 0.1) for change in changes))
    told, before = retime.steps(changes, fine, 100, 800)
    assert [(step.time_s, step.step_s) for step in told] == [(200.0, -39.75)]
    assert before == -39.75


def test_minutes_beside_seconds_left_out_are_compared_over_what_both_have():
    """A stop that one has lowers its mean over a minute: with five stops a true pair was refused as of two rides."""
    x, y = np.arange(20.0), np.arange(20.0)
    y[8:12] = np.nan
    x[0] = np.nan
    one, two = known_in_both(x, y, 3)
    assert np.isnan(one).nonzero()[0].tolist() == [0, 5, 6, 7, 8, 17, 18, 19]
    assert np.isnan(two).nonzero()[0].tolist() == [0, 1, 2, 3, 8, 9, 10, 11]
