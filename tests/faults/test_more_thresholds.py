"""Where faults of single readings begin to be looked for, on both sides of each threshold: inputs are literal."""

import numpy as np
import pytest

from agree.faults.ceilings.top_value import ceiling
from agree.faults.claim import Claim
from agree.faults.dropout import without_stops
from agree.faults.held import held
from agree.faults.late_start import frozen_runs, late_starts
from agree.faults.partial import partials
from agree.faults.spike import spikes
from agree.faults.view import View, near_coasting, usual_ratio


def seen(y, usual, ratio=1.0):
    """A trace that the other one foretells second by second, without a filter or a delay."""
    usual = np.array(usual, float)
    return View("device", np.array(y, float), usual, usual, np.ones(usual.size, bool), usual, None, ratio, (0, 0))


WORK = np.tile([200.0, 210.0], 100)


@pytest.mark.parametrize(("asleep", "found"), [pytest.param(3, 3, id="LATE_S"), pytest.param(2, 0, id="LATE_S")])
def test_a_late_start(asleep, found):
    usual = np.r_[np.zeros(20), WORK]
    y = usual.copy()
    y[20:20 + asleep] = 0.0
    assert int(late_starts(seen(y, usual)).sum()) == found


@pytest.mark.parametrize(("rest", "silent", "found"), [
    pytest.param(60, 60, 5, id="LATE_REST_S"), pytest.param(59, 59, 0, id="LATE_REST_S"),
    pytest.param(80, 10, 5, id="LATE_SILENT_S"), pytest.param(80, 9, 0, id="LATE_SILENT_S")])
def test_a_late_start_after_a_rest(rest, silent, found):
    usual = np.r_[WORK, np.zeros(rest), WORK]
    y = usual.copy()
    y[200:200 + rest - silent] = 5.0
    y[200 + rest:205 + rest] = 0.0
    assert int(late_starts(seen(y, usual)).sum()) == found


@pytest.mark.parametrize(("seconds", "judge", "found"), [
    pytest.param(5, 150.0, 1, id="FROZEN_S"), pytest.param(4, 150.0, 0, id="FROZEN_S"),
    pytest.param(9, 126.0, 1, id="FROZEN_CHANGE"), pytest.param(9, 124.0, 0, id="FROZEN_CHANGE")])
def test_a_frozen_trace(seconds, judge, found):
    """The other one ranges from 100 W to so many in the meantime: 20.6 and 19.4 % of it."""
    sharp, y = np.r_[np.tile([100.0, judge], 10)], np.arange(20.0) + 300
    y[5:5 + seconds] = 200.0
    assert len(frozen_runs(sharp, y)) == found


@pytest.mark.parametrize(("ratio", "watts", "share", "found"), [
    pytest.param(0.555, 200.0, 0.1, 1, id="PARTIAL_SHARES"), pytest.param(0.565, 200.0, 0.1, 0, id="PARTIAL_SHARES"),
    pytest.param(0.445, 200.0, 0.1, 1, id="PARTIAL_SHARES"), pytest.param(0.435, 200.0, 0.1, 0, id="PARTIAL_SHARES"),
    pytest.param(0.285, 200.0, 0.1, 1, id="PARTIAL_SHARES"), pytest.param(0.295, 200.0, 0.1, 0, id="PARTIAL_SHARES"),
    pytest.param(0.215, 200.0, 0.1, 1, id="PARTIAL_SHARES"), pytest.param(0.205, 200.0, 0.1, 0, id="PARTIAL_SHARES"),
    pytest.param(0.5, 41.0, 0.1, 1, id="PARTIAL_LEAST_W"), pytest.param(0.5, 39.0, 0.1, 0, id="PARTIAL_LEAST_W"),
    pytest.param(0.5, 200.0, 0.49, 1, id="PARTIAL_MOST_SHARE"),
    pytest.param(0.5, 200.0, 0.51, 0, id="PARTIAL_MOST_SHARE")])
def test_a_partial_reading(ratio, watts, share, found):
    usual = np.full(400, watts)
    y = usual.copy()
    y[100:100 + round(400 * share)] *= ratio
    assert len(partials(seen(y, usual))[0]) == found


@pytest.mark.parametrize(("ratio", "looked"), [
    pytest.param(0.71, True, id="USUAL_RATIO"), pytest.param(0.69, False, id="USUAL_RATIO"),
    pytest.param(1.39, True, id="USUAL_RATIO"), pytest.param(1.41, False, id="USUAL_RATIO")])
def test_partial_readings_are_looked_for_at_a_usual_ratio(ratio, looked):
    assert (partials(seen(WORK, WORK, ratio))[1] != "ratio") == looked


def capped(top=500.0, off=0.0, peak=None, beside=None, seconds=20):
    """Seconds found at a top, of which all but one read less by so much, and that the other one foretells higher."""
    usual = np.full(400, 100.0)
    usual[100:100 + seconds] = 1.3 * top
    y = usual.copy()
    y[100:100 + seconds] = top - off
    y[100] = top
    if peak is not None:
        y[50], usual[50] = 2 * top, peak
    if beside is not None:
        y[50], usual[50] = top, beside
    return int(ceiling(seen(y, usual)).sum())


@pytest.mark.parametrize(("made", "found"), [
    pytest.param({"top": 200.0, "off": 0.95}, 20, id="CEILING_NEAR"),
    pytest.param({"top": 200.0, "off": 1.05}, 0, id="CEILING_NEAR"),
    pytest.param({"top": 1000.0, "off": 1.95}, 20, id="CEILING_NEAR"),
    pytest.param({"top": 1000.0, "off": 2.05}, 0, id="CEILING_NEAR"),
    pytest.param({"peak": 495.0}, 20, id="CEILING_BEYOND"), pytest.param({"peak": 505.0}, 0, id="CEILING_BEYOND"),
    pytest.param({"beside": 485.0}, 21, id="CEILING_BELOW"), pytest.param({"beside": 475.0}, 20, id="CEILING_BELOW"),
    pytest.param({"seconds": 199}, 199, id="CEILING_MOST_SHARE"),
    pytest.param({"seconds": 201}, 0, id="CEILING_MOST_SHARE")])
def test_a_top(made, found):
    assert capped(**made) == found


@pytest.mark.parametrize(("seconds", "found"), [
    pytest.param(4, [(501, 504)], id="HELD_LEAST_S"), pytest.param(3, [], id="HELD_LEAST_S")])
def test_least_length_of_a_held_run(seconds, found):
    usual = 200 + 0.01 * np.arange(2000) + np.random.default_rng(1).normal(0, 2, 2000)
    usual[500:510] += 30.0 * np.arange(10)
    y = usual + np.random.default_rng(2).normal(0, 1, 2000)
    y[500:500 + seconds] = 200.0
    assert held(seen(y, usual)) == found


@pytest.mark.parametrize(("apart", "found"), [
    pytest.param(3, 1, id="SPIKE_NEAR_S"), pytest.param(2, 0, id="SPIKE_NEAR_S")])
def test_a_sprint_beside_a_spike(apart, found):
    """What the other one reads within 2 s may be what is read here."""
    usual, y = np.full(200, 200.0), np.full(200, 200.0)
    usual[100 + apart], y[100 + apart], y[100] = 600.0, 600.0, 900.0
    assert len(spikes(seen(y, usual))) == found


@pytest.mark.parametrize(("again", "found"), [
    pytest.param(1, 4, id="SPIKE_OWN_S"), pytest.param(2, 1, id="SPIKE_OWN_S")])
def test_high_readings_that_are_the_traces_own(again, found):
    """High for 3 s, and again for so many after a second: of 9 s around, 4 or 5."""
    y = np.full(200, 200.0)
    y[100:103] = 900.0
    y[104:104 + again] = 900.0
    assert sum(item.stop - item.start for item in spikes(seen(y, np.full(200, 200.0)))) == found


@pytest.mark.parametrize(("shown", "kept"), [
    pytest.param(76, 476, id="STOPS_CHANCE_SD"), pytest.param(77, 0, id="STOPS_CHANCE_SD")])
def test_zeros_at_stops_that_chance_brings(shown, kept):
    """400 zeros in 1500 s of work bring 53.3 to the ends of 100 stops: 23.2 more are three standard deviations."""
    usual = np.tile(np.r_[np.full(15, 200.0), np.zeros(5)], 100)
    claims = [Claim(20 * k + at, 20 * k + at + 1, 200.0, 200.0, 0.0, 0.0, 200.0, 0.0)
              for k in range(100) for at in (3, 5, 7, 9)]
    claims += [Claim(20 * k + 14, 20 * k + 15, 200.0, 200.0, 0.0, 0.0, 200.0, 0.0) for k in range(shown)]
    assert len(without_stops(seen(usual, usual), claims)[0]) == kept


@pytest.mark.parametrize(("shown", "kept"), [(4, 104), (5, 0)])
def test_few_zeros_at_stops_that_chance_brings(shown, kept):
    """100 zeros in 2200 s of work bring 0.55 to the ends of 6 stops, and seldom more than 4."""
    usual = np.full(2200, 200.0)
    usual[100:700:100] = 0.0
    claims = [Claim(at, at + 1, 200.0, 200.0, 0.0, 0.0, 200.0, 0.0) for at in
              [*range(810, 2000, 12), *range(99, 99 + 100 * shown, 100)][:100 + shown]]
    assert len(without_stops(seen(usual, usual), claims)[0]) == kept


@pytest.mark.parametrize(("watts", "works"), [
    pytest.param(15.1, True, id="WORKING_W"), pytest.param(14.9, False, id="WORKING_W")])
def test_a_trace_that_works(watts, works):
    low = np.full(9, watts)
    assert seen(low, np.full(9, 200.0)).working.all() == works
    assert seen(np.full(9, 200.0), low).working.all() == works
    assert near_coasting(seen(low, low), 4, 5) != works


@pytest.mark.parametrize(("others", "usual"), [
    pytest.param([0.71, 0.72, 0.73], 0.865, id="USUAL_RATIO"), pytest.param([0.69, 0.72, 0.73], 1.0, id="USUAL_RATIO"),
    pytest.param([1.39, 1.38, 1.37], 1.185, id="USUAL_RATIO"), pytest.param([1.41, 1.38, 1.37], 1.0, id="USUAL_RATIO")])
def test_ratios_that_move_the_usual_one(others, usual):
    """Beside three of 1 and one far off on the other side: of six that count the median is between, of five it is 1."""
    assert usual_ratio(np.array([1.0, 1.0, 1.0, *others, 9.0 if others[0] < 1 else 0.01])) == pytest.approx(usual)


@pytest.mark.parametrize(("at", "budget"), [
    pytest.param(107, 300.0, id="CLAIM_MARGIN_S"), pytest.param(108, 1000.0, id="CLAIM_MARGIN_S"),
    pytest.param(97, 300.0, id="CLAIM_MARGIN_S"), pytest.param(96, 1000.0, id="CLAIM_MARGIN_S")])
def test_energy_that_comes_back_beside_a_claim(at, budget):
    """A run of 5 s lacks 1000 W s, and a second near it has 700 W s more."""
    usual = np.full(300, 200.0)
    y, gone = usual.copy(), np.zeros(300, bool)
    y[100:105], y[at], gone[100:105] = 0.0, 900.0, True
    found, = seen(y, usual).weigh([(100, 105)], [1000.0], gone)
    assert (found.budget, found.near) == (budget, budget)


@pytest.mark.parametrize(("watts", "share"), [
    pytest.param(152.0, 0.76, id="BUDGET_LOW"), pytest.param(148.0, 0.75, id="BUDGET_LOW")])
def test_the_error_of_a_budget_at_low_power(watts, share):
    """In proportion to energy down to 0.75 of the usual one, here of 200 W: below, noise in W is what is left of it."""
    usual = np.full(2000, 200.0)
    usual[500:560] = watts
    y = usual + np.random.default_rng(2).normal(0, 5, 2000)
    low, high = seen(y, usual).weigh([(525, 530), (1525, 1530)], [0.0, 0.0], np.zeros(2000, bool))
    assert low.error / high.error == pytest.approx(share, abs=1e-6)


@pytest.mark.parametrize("more", [0, 6])
def test_a_partial_reading_goes_on_at_low_power(more):
    """Below 40 W a half is not seen by itself; right after one that is seen it belongs to it."""
    usual = np.tile([100.0, 120.0], 100)
    usual[110:116] = 30.0
    y = usual.copy()
    y[100:110 + more] /= 2
    found, = partials(seen(y, usual))[0]
    assert (found.start, found.stop) == (100, 110 + more)
