"""How two sound devices differ that answer, stop or hold in unlike ways: none of it is a fault."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from agree import Recording, pair_recordings
from agree.core.data.runs import runs
from agree.faults.claim import Claim
from agree.faults.dropout import dropouts
from agree.faults.late_start import late_starts
from agree.faults.partial import side
from agree.faults.spike import spikes
from agree.faults.view import View

RIDES = Path(__file__).parent.parent / "data" / "rides"


def ride(seconds=1800, stops=8):
    """An invented effort with stops, the last of which is so short that a device may hide it."""
    rng, t = np.random.default_rng(5), np.arange(seconds)
    x = 200 + 60 * np.sin(t / 40) + lfilter([1], [1, -0.7], rng.normal(0, 18, seconds))
    x = np.rint(np.clip(x, 40, None))
    for start in np.linspace(150, seconds - 150, stops).astype(int):
        x[start:start + 15] = 0
    x[start + 60:start + 63] = 0
    return x, rng


def kinds(x, y):
    pairs = pair_recordings(*(Recording(time=np.arange(p.size), power=np.rint(p)) for p in (x, y)))
    return {fault.kind for fault in pairs.faults}


def test_a_device_that_holds_its_last_reading_for_3_s_finds_no_fault_in_the_other():
    x, rng = ride()
    x[-8:] = 0
    y = x.copy()
    for start, stop in runs(x == 0):
        y[start:min(start + 3, stop)] = x[start - 1]
    assert kinds(x, np.where(y > 0, y + rng.normal(0, 3, y.size), 0)) == set()


def test_a_real_dropout_among_such_stops_is_found():
    x, rng = ride()
    y = x.copy()
    for start, stop in runs(x == 0):
        y[start:min(start + 3, stop)] = x[start - 1]
    y = np.where(y > 0, y + rng.normal(0, 3, y.size), 0)
    x[900:909] = 0
    assert kinds(x, y) == {"reference_dropout"}


def faster_down(x, rng):
    """A device that answers to more power in 4 s, to less in 1.5 s; the filter that fits best is one of 2.6 s."""
    y = x.copy()
    for i in range(1, x.size):
        y[i] = y[i - 1] + (x[i] - y[i - 1]) * (1 - np.exp(-1 / (4.0 if x[i] > y[i - 1] else 1.5)))
    return np.where(y > 0.5, np.maximum(y + rng.normal(0, 3, y.size), 0), 0)


def test_a_device_faster_down_than_up_has_no_partial_readings():
    x, rng = ride()
    assert "partial" not in " ".join(kinds(x, faster_down(x, rng)))


@pytest.mark.parametrize("seed", [1, 2])
def test_nor_on_a_real_ride(seed):
    """A push before a coasting, of which it shows half."""
    x = pd.read_csv(RIDES / "single-road-78min.csv")["power_W"].to_numpy(float)[1500:3200]
    rng = np.random.default_rng(seed)
    assert kinds(np.where(x > 0, np.maximum(x + rng.normal(0, 5, x.size), 1), 0), faster_down(x, rng)) == set()


@pytest.mark.parametrize("seed", [0, 1, 5])
def test_nor_a_spike_for_each_push_amid_coasting(seed):
    rng, t = np.random.default_rng(seed), np.arange(1800)
    x = 200 + 60 * np.sin(t / 40) + rng.normal(0, 15, t.size)
    for start in np.cumsum(rng.integers(45, 75, 26)) + 60:
        x[start:start + 30] = 0
        x[start + 12:start + 12 + int(rng.integers(1, 3))] = rng.uniform(250, 650)
    assert kinds(x, faster_down(np.rint(x), rng)) == set()


@pytest.mark.parametrize("tau", [2.5, 4.0])
def test_a_slow_device_has_no_steps(tau):
    """Steps are sought with one response: as recorded, what follows each stop differs for seconds."""
    x, rng = ride(5400, 30)
    x[2700:] *= 1.3  # a warm second half, ridden harder
    y = lfilter([1 - np.exp(-1 / tau)], [1, -np.exp(-1 / tau)], np.rint(x))
    assert kinds(x, np.where(y > 0.5, np.maximum(y + rng.normal(0, 2, y.size), 0), 0)) == set()


def test_a_trace_that_ends_at_its_ceiling_did_not_end_early():
    x, rng = ride()
    x[-20:] = 600 + 90 * np.sin(np.arange(20))
    for start in range(200, 1700, 250):
        x[start:start + 10] += 350
    y = np.minimum(x + np.where(x > 0, rng.normal(0, 2, x.size), 0), 420.0)
    assert kinds(x, y) == {"device_saturation"}


# Limits.

def view(y, usual, role="device"):
    y, usual = np.asarray(y, float), np.asarray(usual, float)
    return View(role, y, usual, usual.copy(), np.ones(y.size, bool), usual, None, 1.0, (0, 0))


@pytest.mark.parametrize(("watts", "found"), [(49, 0), (51, 1)])
def test_a_dropout_is_worth_a_quarter_of_a_second(watts, found):
    """Usual power is 200 W: a single 0 where 50 W are foretold is the least."""
    rng = np.random.default_rng(2)
    usual = np.full(600, 200.0)
    usual[290:310] = watts
    y = usual + rng.normal(0, 1, 600)
    y[300] = 0
    assert len(dropouts(view(y, usual))) == found


@pytest.mark.parametrize(("before", "found"), [(269, [300]), (271, [])])
def test_a_spike_rises_by_50_w(before, found):
    """Beside 100 W a spike is above 300 W: 320 W after 269 W rise by 51 W, after 271 W by 49 W."""
    y = np.full(600, 100.0) + np.random.default_rng(2).normal(0, 0.1, 600)
    y[299:301] = before, 320
    assert [one.start for one in spikes(view(y, np.full(600, 100.0)))] == found


@pytest.mark.parametrize(("coasts", "whose"), [(2, ""), (1, "device")])
def test_no_partial_reading_where_the_other_trace_coasts(coasts, whose):
    usual = np.full(60, 200.0)
    y = usual.copy()
    y[30:34] = 100
    judged = view(y, usual)
    judged.judge[30:30 + coasts] = 0
    assert side(judged, Claim(30, 34, 400.0, 400.0, 5.0, 0.0, 400.0, 5.0)) == whose


@pytest.mark.parametrize(("begins", "whose"), [
    pytest.param(5, "either", id="PARTIAL_BESIDE_S"), pytest.param(4, "", id="PARTIAL_BESIDE_S")])
def test_no_partial_reading_right_before_a_coasting(begins, whose):
    """Where the other trace jumps as much and there is a filter: it coasts so many seconds after the run."""
    usual = np.full(60, 200.0)
    usual[30:34], usual[34 + begins:] = 150, 0
    y = usual.copy()
    y[30:34] = 120
    claim = Claim(30, 34, 400.0, 400.0, 5.0, 0.0, 400.0, 5.0)
    assert side(replace(view(y, usual), reach=(0, 2)), claim) == whose
    assert side(replace(view(y, usual), reach=(0, 1)), claim) == "either"


@pytest.mark.parametrize(("stop", "whose"), [(9, ""), (10, "device")])
def test_the_first_seconds_alone_are_not_partial(stop, whose):
    usual = np.full(60, 200.0)
    y = usual.copy()
    y[:stop] = 100
    assert side(view(y, usual), Claim(0, stop, 100.0 * stop, 100.0 * stop, 5.0, 0.0, 100.0 * stop, 5.0)) == whose


@pytest.mark.parametrize(("working", "found"), [(4, 0), (5, 5)])
def test_an_early_end_costs_five_seconds(working, found):
    usual = np.full(600, 200.0) + np.random.default_rng(3).normal(0, 9, 600)
    y = usual.copy()
    y[560 - working:] = 0
    usual[560:] = 0
    assert late_starts(view(y, usual), early_end=True).sum() == found
