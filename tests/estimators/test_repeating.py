"""Traces that read every n seconds and repeat that: when their readings come, and what they are readings of."""

import numpy as np
import pytest

from agree.core.data.held_readings import held
from agree.core.thresholds import REPEAT_LEFT
from agree.estimators.response.kernels import Kernel, smoothed
from agree.estimators.response.matching import find_filter
from agree.estimators.response.nonlinear.any_filter import answered, through
from agree.estimators.response.nonlinear.repeating import Repeating
from agree.estimators.response.own_readings import every_s, first_seconds
from agree.faults.set_aside import set_aside


@pytest.fixture
def power(rng):
    """20 min with stops of 5 s."""
    course = 220 + np.convolve(rng.normal(0, 40, 1210), np.exp(-np.arange(11) / 3) / 1.5, "valid")
    course[np.arange(1200) % 97 < 5] = 0
    return np.maximum(course, 0)


def noisy(values, rng):
    return np.rint(np.where(values > 0, np.maximum(values + rng.normal(0, 3, values.size), 1), 0))


def repeated(values, every, first=0):
    at = np.maximum((np.arange(values.size) - first) // every * every + first, 0)
    return values[at]


@pytest.mark.parametrize("first", [0, 1, 3])
def test_readings_come_in_step_and_after_a_slip_of_the_clock_in_another(power, rng, first):
    y = repeated(noisy(power, rng), 4, first)
    y = np.delete(y, 600)
    y[[111, 112, 402]] = 0  # dropouts within a reading
    found = first_seconds(y, 4)
    inside = found[(found > 20) & (found < 590)]
    assert (inside % 4 == first % 4).all()
    assert (np.diff(inside) == 4).all()
    later = found[(found > 620) & (found < 1190)]
    assert (later % 4 == (first - 1) % 4).all()
    assert (np.diff(later) == 4).all()


@pytest.mark.parametrize(("share", "every"), [(0.39, 2), (0.44, 1)])
def test_changes_one_after_the_other_are_of_no_reading_every_two_seconds(power, rng, share, every):
    """REPEAT_SHARE: of two such changes one is out of step, so that two fifths of all are too many."""
    odd = np.flatnonzero(rng.random(600) < share / (2 - share)) * 2 + 1
    trace = repeated(np.arange(1200) + 100.0, 2)
    trace[odd] += 0.5
    assert every_s(trace) == every


@pytest.mark.parametrize("made", [Kernel(0, np.ones(1)), Kernel(2, np.ones(1)), Kernel(1, np.full(3, 1 / 3))])
@pytest.mark.parametrize("role", ["device", "reference"])
def test_what_is_read_is_found_and_energy_is_that_of_both(power, rng, made, role):
    other, trace = noisy(power, rng), noisy(np.nan_to_num(smoothed(power, made), nan=200.0), rng)
    trace = repeated(trace, 4)
    found = find_filter(*((other, trace) if role == "device" else (trace, other)))
    assert isinstance(found.kernel, Repeating)
    assert (found.smoother, found.kernel.every) == (role, 4)
    assert found.kernel.kernel.start == made.start
    np.testing.assert_allclose(found.kernel.kernel.weights, made.weights)
    left = np.abs(trace - answered(other, found.kernel))
    assert np.nanmean(left) < 6


def test_a_trace_with_gaps_is_unknown_for_as_long_as_the_reading_is_repeated():
    by = Repeating(3, Kernel(0, np.ones(1)), np.array([-1, 1, 1, 1, 4, 4, 4, 7]))
    values = np.array([1.0, 2.0, np.nan, 4.0, np.nan, 6.0, 7.0, 8.0])
    np.testing.assert_array_equal(answered(values, by), [np.nan, 2, 2, 2, np.nan, np.nan, np.nan, 8])
    np.testing.assert_array_equal(through(np.arange(8.0), by), [0, 1, 1, 1, 4, 4, 4, 7])
    np.testing.assert_array_equal(through(np.arange(5.0), by.cut(3, 5)), [0, 1, 1, 1, 4])


def test_a_reading_that_is_the_mean_of_the_seconds_it_is_shown_for_is_no_less_a_repeated_one(power, rng):
    """Ahead by its own length: so recordings are that were averaged afterwards."""
    other = noisy(power, rng)
    trace = np.repeat(np.rint(noisy(power, rng).reshape(-1, 4).mean(axis=1)), 4)
    found = find_filter(other, trace)
    assert (found.kernel.kernel.start, found.kernel.kernel.weights.size) == (-3, 4)


@pytest.mark.parametrize(("lag_s", "taken"), [(0.8, True), (1.05, False)])
def test_how_much_less_must_be_left(rng, lag_s, taken):
    """REPEAT_LEFT: beside a reference that lags more than the repeated readings it is that lag which counts."""
    assert REPEAT_LEFT == 1.0
    course = 220 + np.convolve(rng.normal(0, 40, 1210), np.exp(-np.arange(11) / 3) / 1.5, "valid")
    row = np.exp(-np.arange(12) / lag_s)
    reference = smoothed(course, Kernel(0, row / row.sum()))[11:] + rng.normal(0, 3, 1189)
    device = repeated(course[11:] + rng.normal(0, 3, 1189), 2)
    assert isinstance(find_filter(reference, device).kernel, Repeating) == taken


@pytest.mark.parametrize("held_s", [0, 3])
def test_a_device_that_repeats_its_reading_and_holds_the_last_one_at_stops(power, rng, held_s):
    """It adds energy by holding, not by which seconds it reads, and is no dropout of the reference at its stops."""
    reference, read = noisy(power, rng), repeated(noisy(power, rng), 4)
    device = held(read, held_s)
    setting = set_aside(reference, device)
    assert setting.matched.held_s == held_s
    assert (setting.matched.energy == 1) == (not held_s)
    assert not setting.faults
    used = setting.reason == ""
    u, v = setting.matched.reference[used], setting.matched.device[used]
    assert abs(read.sum() / reference.sum() - 1) > 0.0025  # by chance of the seconds that are read
    assert 100 * (v.sum() / u.sum() - device.sum() / read.sum()) == pytest.approx(0, abs=0.15)
