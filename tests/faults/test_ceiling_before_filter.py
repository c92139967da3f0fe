"""The sensor of a slow device at a ceiling: no largest value shows, but the other trace cut there foretells it."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.estimators.response.kernels import Kernel
from agree.faults.ceilings.before_filter import Above, above_top, ceiling_before_filter, of_ceiling
from agree.faults.set_aside import set_aside
from agree.faults.view import View

TOP = 600 * 4 ** (-2 / 60)  # W: one of the ceilings that are tried


def found(power, cap, weights=(0.0, 1.0, 0.0)):
    """Seconds at a ceiling of a trace that smoothes after it, with no noise."""
    power = np.asarray(power, dtype=float)
    by, every = Kernel(0, np.array(weights)), np.ones(power.size, bool)
    whole, cut = (np.convolve(row, by.weights)[:power.size] for row in (power, np.minimum(power, cap)))
    smooth = View("device", cut, whole, whole, every, whole, None, 1.0, (0, 2))
    return int(ceiling_before_filter(smooth, View("reference", power, cut, cut, every, cut, by, 1.0, (0, 2))).sum())


@pytest.mark.parametrize(("highest", "seconds"), [
    pytest.param(6, 0, id="CEILING_FILTERED_LOW outside"), pytest.param(7, 7, id="CEILING_FILTERED_LOW inside")])
def test_the_highest_readings_must_be_low(highest, seconds):
    """Of the ten highest so many are 4.5 % low: 2.8 or 3.2 % in the mean."""
    assert found([200] * 100 + [600] * highest + [560] * 20 + [200] * 100, TOP) == seconds


@pytest.mark.parametrize(("last", "seconds"), [
    pytest.param(0.0103, 32, id="CEILING_FILTERED_SHARE outside"),
    pytest.param(0.0111, 33, id="CEILING_FILTERED_SHARE inside")])
def test_a_reading_that_hardly_lacks_anything_stays(last, seconds):
    """The last weight of the filter still shows 191 W that were cut: 0.96 or 1.04 % of 204 W. 12 s belong to 800 W."""
    cap = 800 * 4 ** (-29 / 60)
    power = [200] * 100 + [600] * 19 + [200] * 100 + [800] * 10 + [200] * 100
    assert found(power, cap, (0.5, 0.5 - last, last)) == seconds


@pytest.mark.parametrize(("noise", "slope", "counts"), [
    pytest.param(65, 0, True, id="CEILING_FILTERED_LEFT inside"),
    pytest.param(66, 0, False, id="CEILING_FILTERED_LEFT outside"),
    pytest.param(0, 0.14, True, id="CEILING_FILTERED_SLOPE inside"),
    pytest.param(0, 0.16, False, id="CEILING_FILTERED_SLOPE outside")])
def test_a_ceiling_leaves_nothing_of_what_is_above_it(noise, slope, counts):
    lost = np.full(40, 100.0)
    rest = -(1 - slope) * lost + noise * np.tile([1.0, -1.0], 20)
    assert above_top(rest, lost).is_ceiling == counts


@pytest.mark.parametrize(("cut", "which"), [pytest.param(0.129, 1, id="CEILING_FILTERED_ALIKE inside"),
                                            pytest.param(0.131, None, id="CEILING_FILTERED_ALIKE outside")])
def test_no_slope_at_all_may_leave_nearly_as_little(cut, which):
    assert of_ceiling([Above(0.3, 0.1, 0.9), Above(0.01, 0.12, cut), Above(-0.2, 0.14, 0.2)]) == which
    assert of_ceiling([]) is None


def ride(above, after=False):
    """A reference with sprints, and a device with a lag of 2 s behind a sensor that reads a share above 600 W.

    With `after` it is the lag that comes first, and noise that comes after the ceiling.
    """
    rng = np.random.default_rng(5)
    power = np.maximum(170 + lfilter([6.5], [1, -0.905], rng.normal(0, 1, 1100)), 0)
    for start in range(100, 1050, 110):
        power[start:start + 11] = rng.uniform(650, 1000)
    keep = np.exp(-1 / 2.0)
    sensor = power if after else np.where(power > 600, 600 + above * (power - 600), power)
    slow = lfilter([1 - keep], [1, -keep], sensor, zi=[keep * power[0]])[0]
    slow = np.where(slow > 600, 600 + above * (slow - 600), slow) if after else slow
    return set_aside(np.round(power + rng.normal(0, 2, power.size)), np.round(slow + rng.normal(0, 2, power.size)))


@pytest.mark.parametrize(("after", "seconds"), [(False, 100), (True, 50)])
def test_the_ceiling_of_a_sensor_before_a_lag_or_after_it_is_found(after, seconds):
    """It was a zero error of -433 W beside 48 N m, or an error that changes with cadence, or with power."""
    made = ride(above=0.0, after=after)
    used = made.reason == ""
    assert (made.reason == "device_saturation").sum() >= seconds
    assert made.matched.size_s == pytest.approx(2.0, abs=0.2)
    assert made.matched.device[used].sum() / made.matched.reference[used].sum() == pytest.approx(1.0, abs=0.002)


@pytest.mark.parametrize("after", [False, True])
def test_a_device_that_bends_at_high_power_has_no_ceiling(after):
    assert not (ride(above=0.4, after=after).reason == "device_saturation").any()


def test_a_ceiling_goes_on_to_the_end_of_a_sprint_though_a_slower_trace_foretells_less_there():
    """A lag of 3 s: beside it the last seconds at 700 W were left, and the next 6 s were told as partial readings."""
    rng = np.random.default_rng(2)
    power = np.full(1100, 170.0) + lfilter([6.5], [1, -0.905], rng.normal(0, 1, 1100))
    for start in range(100, 1050, 110):
        power[start:start + 8] = np.linspace(1, 0.85, 8) * rng.uniform(900, 1000)
    keep = np.exp(-1 / 3.0)
    slow = lfilter([1 - keep], [1, -keep], power, zi=[keep * power[0]])[0]
    sharp = np.minimum(np.round(power + rng.normal(0, 2, power.size)), 700)
    made = set_aside(sharp, np.round(slow + rng.normal(0, 2, power.size)))
    assert {fault.reason for fault in made.faults} == {"reference_saturation"}
    assert (made.reason == "reference_saturation").sum() == (sharp == 700).sum()


def test_one_spike_beside_the_highest_seconds_is_no_ceiling():
    """A spike of the device for 3 s, in 5 h with 89 others, made nine sound seconds of the reference a ceiling."""
    rng = np.random.default_rng(1)
    power = np.repeat(rng.uniform(100, 450, 100), 20)
    power[400:403], power[800:806] = 490, (589, 590, 604, 592, 622, 588)
    true = power.copy()
    power[400:403] += 600
    every, by = np.ones(power.size, bool), Kernel(0, np.array([1.0]))
    noisy = true + rng.normal(0, 4, power.size)
    smooth = View("reference", noisy, power, power, every, power, None, 1.0, (0, 0))
    assert not ceiling_before_filter(smooth, View("device", power, noisy, noisy, every, noisy, by, 1.0, (0, 0))).any()
