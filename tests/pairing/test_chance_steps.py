"""Another lag that chance found for a minute of faulty readings is no step of a clock; a true one is kept."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree import Recording, pair_recordings
from agree.core.thresholds import FAR_LAG_LEAST_S, FAR_LAG_S, REUSED_SHARE
from agree.pairing.clocks import lag_path
from agree.pairing.clocks.by_second.step_search import refined
from agree.pairing.clocks.lag_path import Stretch, without_reuse

SECONDS = 1200


def two(lost):
    """A ride, and a device that lost so many seconds before the last 80 s, with half of these at 0 as well."""
    rng = np.random.default_rng(3)
    x = np.rint(220 + lfilter([1], [1, -0.9], rng.normal(0, 15, SECONDS)))
    y = np.rint(x + rng.normal(0, 4, SECONDS))
    zero = 1120 + rng.permutation(80)[:35]
    y[zero] = 0
    return x, np.r_[y[:1120 - lost], y[1120:]]


def stretches(*parts):
    return [Stretch(start, stop, np.full(max((stop - start) // 30, 1), lag)) for start, stop, lag in parts]


@pytest.mark.parametrize(("lost", "steps"), [(0, 0), (50, 1)])
def test_a_lag_that_holds_for_a_minute_must_explain_most_of_its_seconds_better(lost, steps):
    x, y = two(lost)
    found = refined(x, y, stretches((0, 1050, 0), (1120, SECONDS, -50)))
    assert len(found) - 1 == steps
    assert (found[0].start, found[-1].stop) == (0, SECONDS)
    assert found[0].lags[0] == 0


def test_the_longer_of_two_stretches_is_the_one_that_stays():
    x, y = two(0)
    x, y = x[::-1].copy(), y[::-1].copy()
    found = refined(x, y, stretches((0, 80, -50), (120, SECONDS, 0)))
    assert [(one.start, one.stop, set(one.lags.tolist())) for one in found] == [(0, SECONDS, {0})]


@pytest.mark.parametrize(("lag", "kept"), [(-63, True), (-65, False)])
def test_seconds_of_the_device_are_not_used_twice(lag, kept):
    """REUSED_SHARE: of 60 s at another lag, 23 or 25 lie before the device's second 1000, which all lie at lag 0."""
    assert REUSED_SHARE == 0.4
    both = stretches((0, 1000, 0), (1040, 1100, lag))
    assert (len(without_reuse(both, 1200)) == 2) == kept


def test_a_stop_that_the_device_left_out_uses_none_of_its_seconds():
    """Windows reach into it: a stop of a minute at 1:45 was lost so, and a device that worked blamed a reference."""
    both, works = stretches((0, 120, 1), (120, 300, -63)), np.repeat([True, False, True], [105, 63, 132])
    assert len(without_reuse(both, 300, works)) == 2
    assert len(without_reuse(both, 300)) == 1


@pytest.mark.parametrize(("lag", "seconds", "kept"), [
    (-121, 241, True), (-121, 239, False), (-119, 60, True), (-900, 60, False)])
def test_a_lag_far_from_its_neighbours_must_last(lag, seconds, kept):
    assert (FAR_LAG_S, FAR_LAG_LEAST_S) == (120, 240)
    both = stretches((0, 1000, 0), (2000, 2000 + seconds, lag))
    assert (len(without_reuse(both, 3000)) == 2) == kept


@pytest.mark.parametrize(("seed", "minutes"), [(0, 10), (1, 15), (2, 10)])
def test_a_file_that_ends_early_is_not_strewn_over_the_ride(seed, minutes):
    """A trainer's steps: the last minute is alike to later ones by chance. Before, jumps of minutes: 8, 3 and 1."""
    rng = np.random.default_rng(seed)
    target = np.repeat(rng.choice([150, 180, 210, 250, 300], 60), 60).astype(float)
    x = np.rint(target + lfilter([1], [1, -0.9], rng.normal(0, 4, target.size)))
    y = np.rint(x + rng.normal(0, 3, x.size))[:60 * minutes]
    pairs = pair_recordings(*(Recording(time=np.arange(v.size) + begin, power=v) for v, begin in ((x, 0.0), (y, 19.0))))
    assert pairs.alignment.steps == ()
    assert (pairs.alignment.lag_s, pairs.reference.size) == (pytest.approx(19, abs=0.1), 60 * minutes)


@pytest.mark.parametrize(("most", "sought"), [(60, True), (0, False)])
def test_no_path_is_sought_with_care_where_the_lag_changes_far_too_often(monkeypatch, most, sought):
    """The exact search goes with the square of the lags: 15 s for two rides of 200,000 s that are not one."""
    calls = []
    best = lag_path.course_used_once
    monkeypatch.setattr(lag_path, "course_used_once", lambda *given: calls.append(1) or best(*given))
    monkeypatch.setattr(lag_path, "MOST_CLOCK_STEPS", most)
    x, y = (220 + lfilter([1], [1, -0.9], np.random.default_rng(seed).normal(0, 15, 3000)) for seed in (1, 2))
    assert len(lag_path.follow(x, y, 0, -1000, 1000)) > 1
    assert bool(calls) == sought
