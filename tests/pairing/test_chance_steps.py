"""Another lag that chance found for a minute of faulty readings is no step of a clock; a true one is kept."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.pairing.clocks import lag_path
from agree.pairing.clocks.chance_steps import without_chance
from agree.pairing.clocks.lag_path import Stretch

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
    found = without_chance(x, y, stretches((0, 1050, 0), (1120, SECONDS, -50)))
    assert len(found) - 1 == steps
    assert (found[0].start, found[-1].stop) == (0, SECONDS)
    assert found[0].lags[0] == 0


def test_the_longer_of_two_stretches_is_the_one_that_stays():
    x, y = two(0)
    x, y = x[::-1], y[::-1]
    found = without_chance(x, y, stretches((0, 80, -50), (120, SECONDS, 0)))
    assert [(one.start, one.stop, set(one.lags.tolist())) for one in found] == [(0, SECONDS, {0})]


@pytest.mark.parametrize(("most", "sought"), [(60, True), (0, False)])
def test_no_path_is_sought_with_care_where_the_lag_changes_far_too_often(monkeypatch, most, sought):
    """The exact search goes with the square of the lags: 15 s for two rides of 200,000 s that are not one."""
    calls = []
    best = lag_path._best
    monkeypatch.setattr(lag_path, "_best", lambda *given: calls.append(1) or best(*given))
    monkeypatch.setattr(lag_path, "MOST_CLOCK_STEPS", most)
    x, y = (220 + lfilter([1], [1, -0.9], np.random.default_rng(seed).normal(0, 15, 3000)) for seed in (1, 2))
    assert len(lag_path.follow(x, y, 0, -1000, 1000)) > 1
    assert bool(calls) == sought
