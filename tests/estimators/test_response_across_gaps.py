"""A slow trace whose recorder leaves out stops: the filter goes on through them, unless the data show otherwise."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.signal import lfilter

from agree import response_difference
from agree.core.thresholds import WORKING_W
from agree.estimators.response.choice import Choice
from agree.estimators.response.gaps import across
from agree.estimators.response.gaps.across import after_gaps
from agree.estimators.response.gaps.left_out import left_out, stops_left_out
from agree.estimators.response.gaps.second_by_second import Fit
from agree.estimators.response.kernels import Kernel, weights_of
from agree.estimators.response.matching import Filter, linear_filter
from agree.faults import set_aside
from agree.report.notes.sentence import note_sentences
from tests.estimators.test_response_thresholds import seconds

AFTER_S = 3


def ride(seed=1, minutes=10):
    """Power in blocks with stops of 15 to 30 s; and where recorders leave them out."""
    rng = np.random.default_rng(seed)
    x = np.repeat(rng.uniform(130, 280, minutes), 60) + lfilter([1], [1, -0.8], rng.normal(0, 6, 60 * minutes))
    gone = np.zeros(x.size, bool)
    for start in np.cumsum(rng.integers(45, 80, minutes)):
        stop = start + rng.integers(15, 30)
        x[start:stop] = 0
        gone[start + AFTER_S:stop] = True
    return x, gone, rng


def lag(x, tau):
    keep = math.exp(-1 / tau)
    return lfilter([1 - keep], [1, -keep], x, zi=[keep * x[0]])[0]


def noisy(y, rng):
    return np.where(y > 1, np.maximum(np.rint(y + rng.normal(0, 2, y.size)), 0), 0.0)


@pytest.mark.parametrize(("slow", "gaps"), [("device", "slow"), ("reference", "slow"), ("device", "both")])
def test_a_filter_goes_on_through_stops_that_its_recorder_leaves_out(slow, gaps):
    """Bridged by lines, a lag of 4 s was one of 7.4 s, and energy off by 5 or 6 %."""
    x, gone, rng = ride()
    true = lag(x, 4.0)
    y = np.where(gone, np.nan, noisy(1.02 * true, rng))
    x = np.where(gone & (gaps == "both"), np.nan, noisy(x, rng))
    made = linear_filter(*((x, y) if slow == "device" else (y, x)))
    u, v = made.columns(x, y) if slow == "device" else made.columns(y, x)[::-1]
    known = np.isfinite(u) & np.isfinite(v)
    assert (made.smoother, made.choice.kind) == (slow, "first order")
    assert made.choice.size.value == pytest.approx(4.0, abs=0.1)
    assert float(u[known].sum() / true[known].sum()) == pytest.approx(1.0, abs=0.002)
    assert made.choice.unsure is None


def test_a_mean_across_stops():
    x, gone, rng = ride(seed=2)
    y = np.where(gone, np.nan, noisy(np.convolve(x, np.full(5, 0.2))[:x.size], rng))
    found = response_difference(noisy(x, rng), y)
    assert (found.kind, found.smoother, found.width_s.value) == ("running mean", "device", pytest.approx(5, abs=0.1))


@pytest.mark.parametrize("recorder", ["freezes", "anew"])
def test_a_filter_that_does_not_go_on(recorder):
    """Seconds after the gaps are left out; the rest tells filter and energy."""
    x, gone, rng = ride(seed=3)
    there = np.where(gone, np.nan, 0.0)
    if recorder == "freezes":
        there[~gone] = lag(x[~gone], 4.0)
    else:
        starts = np.r_[0, np.flatnonzero(np.diff(gone.astype(int)) == -1) + 1, x.size]
        x[starts[1:-1]] = 180.0  # it is recorded again when pedalling goes on
        for start, stop in pairwise(starts):
            there[start:stop] = lag(x[start:stop], 4.0)
    y = np.where(gone, np.nan, noisy(there, rng))
    x = noisy(x, rng)
    made = linear_filter(x, y)
    u, v = made.columns(x, y)
    known = np.isfinite(u) & np.isfinite(v)
    after = np.flatnonzero(np.diff(gone.astype(int)) == -1) + 1
    assert made.choice.size.value == pytest.approx(4.0, abs=0.15)
    assert made.choice.unsure[after].all()
    assert not np.isfinite(u[after + 10]).any()
    assert float(v[known].sum() / u[known].sum()) == pytest.approx(1.0, abs=0.004)


def test_that_an_average_froze_is_said():
    x, gone, _ = ride()
    unsure = after_gaps(gone, weights_of("first order", 4.0, 0.0))
    made = Filter(weights_of("first order", 4.0, 0.0), "device", Choice(
        "first order", "device", seconds(4.0), seconds(0.0), (), 1.0, unsure=unsure))
    reason = np.where(unsure, "beside_gap", "")
    (note,) = set_aside._paused(made, reason)
    assert (note.kind, note.role, note.values) == ("pair_average_paused", "device", {"seconds": int(unsure.sum())})
    assert f"the average has frozen, or begins anew: {int(unsure.sum())} s" in note_sentences(note)[0]
    assert set_aside._paused(made, np.full(x.size, "")) == ()


@pytest.mark.parametrize(("length", "count", "told"), [
    pytest.param(3, 3, True, id="GAP_STOP_S"), pytest.param(2, 3, False, id="GAP_STOP_S"),
    pytest.param(3, 2, False, id="GAP_STOPS"), pytest.param(3, 4, True, id="GAP_STOPS")])
def test_stops_that_are_left_out(length, count, told):
    x = np.full(400, 200.0)
    y = x.copy()
    for k in range(count):
        x[50 + 60 * k:60 + 60 * k] = 0
        y[52 + 60 * k:52 + 60 * k + length] = np.nan
    found = stops_left_out(x, y)
    assert (found is not None) == told
    assert found is None or int(found.sum()) == length * count


def test_faults_hidden_amid_work_are_no_stops():
    x = np.full(400, 200.0)
    y = x.copy()
    for k in range(5):
        y[50 + 60 * k:60 + 60 * k] = np.nan
    assert stops_left_out(x, y) is None
    assert stops_left_out(np.where(np.isnan(y), WORKING_W, x), y) is not None


def test_what_a_slow_reading_may_come_of():
    """GAP_UNKNOWN, 2 %: with 0.1 in a second's power of 0.5, the fifth weight is 1.6 % and the fourth 3.1 %."""
    absent = np.zeros(30, bool)
    absent[10:15] = True
    by = Kernel(0, np.r_[0.5 ** np.arange(1, 8), 0.5**7])
    assert np.flatnonzero(after_gaps(absent, by)).tolist() == [15, 16, 17, 18, 19]
    x = np.where(absent, np.nan, 100.0)
    unknown = left_out(x, np.full(30, 100.0), absent).unknown(by)
    assert np.flatnonzero(unknown).tolist() == [10, 11, 12, 13, 14, 15, 16, 17, 18, 19]


@pytest.mark.parametrize(("share", "stops"), [
    pytest.param(0.59, True, id="GAP_GOES_ON"), pytest.param(0.61, False, id="GAP_GOES_ON")])
def test_what_a_filter_that_froze_must_leave_less_than(share, stops, monkeypatch):
    x, gone, _ = ride()
    item = left_out(x, np.where(gone, np.nan, lag(x, 3.0)), gone)
    monkeypatch.setattr(across, "_beside", lambda trial, one, after: 10.0 if (
        trial.frozen is None and not trial.pieces) else 10.0 * share)
    monkeypatch.setattr(across, "nearer", lambda trial, one: one)
    assert (across._start(item, Fit("first order", 3.0, 0.0))[1] is not None) == stops


@pytest.mark.parametrize(("times", "amiss"), [
    pytest.param(2.9, False, id="GAP_AMISS"), pytest.param(3.1, True, id="GAP_AMISS")])
def test_what_a_filter_that_goes_on_may_leave(times, amiss, monkeypatch):
    x, gone, _ = ride()
    item, by = left_out(x, np.where(gone, np.nan, x), gone), weights_of("first order", 3.0, 0.0)
    after = after_gaps(item.absent, by)
    monkeypatch.setattr(across.Trial, "errors", lambda self, made: np.where(after, times, 1.0))
    assert (across._does_not_go_on(item, by) is not None) == amiss


@pytest.mark.parametrize(("share", "finer"), [
    pytest.param(0.97, True, id="GAP_FINER"), pytest.param(0.99, False, id="GAP_FINER")])
def test_how_much_less_a_filter_from_single_readings_must_leave(share, finer, monkeypatch):
    x, gone, _ = ride()
    trial = across.Trial(left_out(x, x, gone), gone)
    monkeypatch.setattr(across.Trial, "left", lambda *_: 1.0)
    monkeypatch.setattr(across, "nearer", lambda *_: Fit("first order", 3.5, 0.2, share))
    chosen = Choice("first order", "device", seconds(3.0, 0.1), seconds(0.0), (), 1.0)
    assert (across._finer(weights_of("first order", 3.0, 0.0), chosen, trial)[1].size.value == 3.5) == finer
