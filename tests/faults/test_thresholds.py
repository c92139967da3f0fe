"""Faults of single readings, on both sides of each threshold: inputs are literal, so that a moved threshold is seen."""

import numpy as np
import pytest

from agree.faults.ceilings.top_value import ceiling
from agree.faults.claim import Claim
from agree.faults.dropout import without_stops
from agree.faults.held import is_held
from agree.faults.late_start import late_starts
from agree.faults.partial import EITHER, partials, side
from agree.faults.spike import spikes
from agree.faults.view import View


def seen(y, usual, judge=None):
    """A trace that the other one foretells second by second, without a filter or a delay."""
    usual = np.array(usual, float)
    known = np.ones(usual.size, bool)
    return View("device", np.array(y, float), usual, usual if judge is None else judge, known, usual, None, 1.0, (0, 0))


def claim(start=20, stop=25, claim=100.0, budget=100.0, error=0.0, unknown=0.0, near=-np.inf, near_error=0.0):
    return Claim(start, stop, claim, budget, error, unknown, near, near_error)


@pytest.mark.parametrize(("made", "holds"), [
    pytest.param({"budget": 61.0}, True, id="CLAIM_SHARE"), pytest.param({"budget": 59.0}, False, id="CLAIM_SHARE"),
    pytest.param({"budget": 55.0, "error": 4.0, "near": 61.0}, True, id="CLAIM_SHARE near"),
    pytest.param({"budget": 55.0, "error": 4.0, "near": 59.0}, False, id="CLAIM_SHARE near"),
    pytest.param({"budget": 82.0, "error": 20.0}, True, id="CLAIM_ERRORS"),
    pytest.param({"budget": 78.0, "error": 20.0}, False, id="CLAIM_ERRORS"),
    pytest.param({"budget": 61.0, "error": 20.0, "near": 82.0, "near_error": 20.0}, True, id="CLAIM_ERRORS near"),
    pytest.param({"budget": 61.0, "error": 20.0, "near": 78.0, "near_error": 20.0}, False, id="CLAIM_ERRORS near"),
    pytest.param({"unknown": 0.19}, True, id="CLAIM_UNKNOWN"),
    pytest.param({"unknown": 0.21}, False, id="CLAIM_UNKNOWN")])
def test_budget_of_a_claim(made, holds):
    assert claim(**made).holds == holds


def beside(stops, shown):
    """Claims of a dropout beside the first of so many stops of 5 s, at 200 W."""
    usual = np.full(20 * stops + 20, 200.0)
    for start in range(20, 20 * stops + 1, 20):
        usual[start:start + 5] = 0.0
    found = [claim(start - 1, start, 200.0) for start in range(20, 20 * shown + 1, 20)]
    return len(without_stops(seen(usual, usual), found)[0])


@pytest.mark.parametrize(("start", "worth", "kept"), [
    pytest.param(19, 102.0, 1, id="CLAIM_AT_STOP_S"), pytest.param(19, 98.0, 0, id="CLAIM_AT_STOP_S"),
    pytest.param(10, 51.0, 1, id="CLAIM_LEAST_S"), pytest.param(10, 49.0, 0, id="CLAIM_LEAST_S")])
def test_least_energy_of_a_dropout(start, worth, kept):
    usual = np.r_[np.full(20, 200.0), np.zeros(5), np.full(20, 200.0)]
    assert len(without_stops(seen(usual, usual), [claim(start, start + 1, worth)])[0]) == kept


@pytest.mark.parametrize(("stops", "shown", "kept"), [
    pytest.param(4, 2, 2, id="STOPS_LEAST"), pytest.param(4, 3, 0, id="STOPS_LEAST"),
    pytest.param(40, 10, 10, id="STOPS_SHARE"), pytest.param(40, 11, 0, id="STOPS_SHARE")])
def test_dropouts_that_are_how_the_traces_stop(stops, shown, kept):
    assert beside(stops, shown) == kept


@pytest.mark.parametrize(("expected", "like", "held"), [
    pytest.param(0.024, 0.04, True, id="HELD_EXPECTED"), pytest.param(0.026, 0.04, False, id="HELD_EXPECTED"),
    pytest.param(0.22, 0.015, False, id="four readings of 290 W by chance"),
    pytest.param(0.001, 0.049, True, id="HELD_LIKE"), pytest.param(0.001, 0.051, False, id="HELD_LIKE"),
    pytest.param(0.000_05, 0.49, True, id="HELD_COMMON"), pytest.param(0.000_05, 0.51, False, id="HELD_COMMON"),
    pytest.param(0.000_098, 0.3, True, id="HELD_RARE"), pytest.param(0.000_102, 0.3, False, id="HELD_RARE")])
def test_a_held_run(expected, like, held):
    assert is_held(expected, like) == held


def halves(judge, start, stop, of=(0, 1)):
    """Trace at half of 200 W in a run, of which the other one shows a share of the jumps, and coasts in some part."""
    y, usual = np.full(300, 200.0), np.full(300, 200.0)
    y[start:stop] = 100.0
    usual[start:stop] -= 100.0 * judge
    other = np.full(300, 200.0)
    other[start:start + of[0] * (stop - start) // of[1]] = 0.0
    return seen(y, usual, other)


@pytest.mark.parametrize(("start", "stop", "jumps", "errors", "coasts", "said"), [
    pytest.param(0, 10, 0.0, 9.0, 0, "device", id="PARTIAL_SHORT_S begin"),
    pytest.param(0, 9, 0.0, 9.0, 0, "", id="PARTIAL_SHORT_S begin"),
    pytest.param(100, 110, 0.9, 9.0, 0, EITHER, id="PARTIAL_SHORT_S"),
    pytest.param(100, 109, 0.9, 9.0, 0, "", id="PARTIAL_SHORT_S"),
    pytest.param(100, 105, 0.9, 10.1, 0, EITHER, id="PARTIAL_ERRORS"),
    pytest.param(100, 105, 0.9, 9.9, 0, "", id="PARTIAL_ERRORS"),
    pytest.param(100, 200, 0.0, 9.0, 49, "device", id="PARTIAL_COASTS"),
    pytest.param(100, 200, 0.0, 9.0, 51, "", id="PARTIAL_COASTS"),
    pytest.param(100, 105, 0.49, 9.0, 0, "device", id="PARTIAL_SURE_JUMP"),
    pytest.param(100, 105, 0.51, 9.0, 0, EITHER, id="PARTIAL_SURE_JUMP"),
    pytest.param(100, 105, 0.59, 9.0, 0, EITHER, id="PARTIAL_LIKELY_JUMP"),
    pytest.param(100, 105, 0.61, 9.0, 0, "", id="PARTIAL_LIKELY_JUMP")])
def test_whose_a_partial_reading_is(start, stop, jumps, errors, coasts, said):
    view = halves(jumps, start, stop, (coasts, 100))
    assert side(view, claim(start, stop, budget=100.0 * errors, error=100.0)) == said


@pytest.mark.parametrize(("ratios", "found"), [
    pytest.param([0.5, 0.5, 0.5], [(100, 103)], id="PARTIAL_S"),
    pytest.param([0.5, 0.7, 0.3, 0.5], [], id="PARTIAL_S")])  # two seconds of a half in the mean, amid others
def test_least_length_of_a_partial_reading(ratios, found):
    usual = np.full(300, 200.0)
    y = usual.copy()
    y[100:100 + len(ratios)] *= ratios
    assert [(item.start, item.stop) for item in partials(seen(y, usual))[0]] == found


def capped(foretold, at_top=None, seconds=20, wander=0.0, peak=None):
    """Seconds found at a top of 500 W, of so many that the other trace foretells to be higher."""
    usual = np.full(400, 200.0)
    y = usual + wander * np.tile([1.0, -1.0], 200)
    usual[100:100 + seconds] = foretold
    y[100:100 + seconds] = np.where(np.arange(seconds) < (seconds if at_top is None else at_top), 500.0, 450.0)
    if peak is not None:  # a reading far above the top, so many seconds before what may foretell it
        y[300], usual[300 + peak] = 1000.0, 510.0
    return int(ceiling(seen(y, usual)).sum())


@pytest.mark.parametrize(("made", "found"), [
    pytest.param({"foretold": 522.0}, 20, id="CEILING_OVER"), pytest.param({"foretold": 518.0}, 0, id="CEILING_OVER"),
    pytest.param({"foretold": 551.0, "wander": 10.0}, 20, id="CEILING_SD"),  # SD 14.8 by the median
    pytest.param({"foretold": 548.0, "wander": 10.0}, 0, id="CEILING_SD"),
    pytest.param({"foretold": 600.0, "seconds": 5}, 5, id="CEILING_SECONDS"),
    pytest.param({"foretold": 600.0, "seconds": 4}, 0, id="CEILING_SECONDS"),
    pytest.param({"foretold": 600.0, "at_top": 14}, 20, id="CEILING_AT"),
    pytest.param({"foretold": 600.0, "at_top": 13}, 0, id="CEILING_AT"),
    pytest.param({"foretold": 600.0, "peak": 3}, 20, id="CEILING_BESIDE_S"),
    pytest.param({"foretold": 600.0, "peak": 2}, 0, id="CEILING_BESIDE_S")])
def test_a_ceiling(made, found):
    assert capped(**made) == found


@pytest.mark.parametrize(("near", "jitters", "found"), [
    pytest.param(499.6, False, 30, id="CEILING_SHARP_W"), pytest.param(499.4, False, 20, id="CEILING_SHARP_W"),
    pytest.param(499.4, True, 30, id="CEILING_SHARP_W jitter")])
def test_a_ceiling_of_one_value_takes_no_reading_half_a_watt_below_it(near, jitters, found):
    """20 s foretold to be at 600 W, of which every other one may be a watt lower, and 10 s at 495 W."""
    y, usual = np.full(400, 200.0), np.full(400, 200.0)
    usual[100:120], usual[200:210] = 600.0, 495.0
    y[100:120] = np.where((np.arange(20) % 2 == 1) & jitters, 499.2, 500.0)
    y[200:210] = near
    assert int(ceiling(seen(y, usual)).sum()) == found


@pytest.mark.parametrize(("watts", "seconds", "found"), [
    pytest.param(505.0, 1, 1, id="SPIKE_FACTOR, SPIKE_W"), pytest.param(495.0, 1, 0, id="SPIKE_FACTOR, SPIKE_W"),
    pytest.param(900.0, 3, 1, id="SPIKE_S"), pytest.param(900.0, 4, 0, id="SPIKE_S")])
def test_a_spike(watts, seconds, found):
    y = np.full(200, 200.0)
    y[100:100 + seconds] = watts
    assert len(spikes(seen(y, np.full(200, 200.0)))) == found


@pytest.mark.parametrize(("watts", "top", "found"), [
    pytest.param(405.0, 230.0, 1, id="SPIKE_CLAIM"), pytest.param(395.0, 230.0, 0, id="SPIKE_CLAIM"),
    pytest.param(405.0, 224.0, 1, id="SPIKE_BELOW_TOP"), pytest.param(405.0, 220.0, 0, id="SPIKE_BELOW_TOP")])
def test_a_spike_where_the_other_one_is_at_no_ceiling(watts, top, found):
    usual = np.full(200, 200.0)
    usual[150:160] = top
    y = usual.copy()
    y[100] = watts
    assert len(spikes(seen(y, usual))) == found


@pytest.mark.parametrize(("before", "found"), [
    pytest.param(119.0, 1, id="SPIKE_RISE_W"), pytest.param(121.0, 0, id="SPIKE_RISE_W")])
def test_a_spike_rises(before, found):
    """The other one stops after 100 s; the trace goes on for 3 s, the last of which is high or falls from before."""
    usual = np.r_[np.full(101, 300.0), np.zeros(100)]
    y = np.r_[np.full(101, 300.0), 10.0, before, 170.0, np.zeros(97)]
    assert len(spikes(seen(y, usual))) == found


@pytest.mark.parametrize(("asleep", "found"), [
    pytest.param(5, 5, id="EARLY_END_S"), pytest.param(4, 0, id="EARLY_END_S")])
def test_an_early_end(asleep, found):
    usual = np.tile([200.0, 210.0], 100)
    y = usual.copy()
    y[200 - asleep:] = 0.0
    assert int(late_starts(seen(y, usual), early_end=True).sum()) == found
