"""What a look at one recording distrusts, on both sides of each threshold: inputs are literal."""

import numpy as np
import pytest

from agree import InputError, Recording, look, read_recording
from agree.recordings.inspect import oddities


def odd(word, power, cadence=None, balance=None):
    """How many readings are distrusted for a reason that has a word in it."""
    power = np.array(power, float)
    found = oddities(Recording(time=np.arange(power.size, dtype=float), power=power, clock="elapsed", cadence=cadence,
                               balance=balance))
    return sum(item.readings for item in found if word in item.what)


RISING = np.arange(100.0, 140.0)


def among(*readings):
    """Some readings amid rising power, of which no two are alike."""
    return np.r_[RISING[:20], readings, RISING[20:]]


def cells(time, power):
    return ("time,power\n" + "\n".join(f"{t:.6f},{p}" for t, p in zip(time, power, strict=True)) + "\n").encode()


@pytest.mark.parametrize(("step", "usual", "gaps"), [
    pytest.param(2.05, 0.5, 1, id="LOOK_GAP_S"), pytest.param(1.95, 0.5, 0, id="LOOK_GAP_S"),
    pytest.param(5.1, 2.0, 1, id="LOOK_GAP_STEPS"), pytest.param(4.9, 2.0, 0, id="LOOK_GAP_STEPS")])
def test_a_gap(step, usual, gaps):
    time = np.cumsum(np.r_[0.0, np.full(20, usual), step, np.full(20, usual)])
    assert len(look(cells(time, range(200, 242))).gaps) == gaps


@pytest.mark.parametrize(("word", "power", "number"), [
    pytest.param("power above", among(2501.0), 1, id="LOOK_HIGH_W"),
    pytest.param("power above", among(2499.0), 0, id="LOOK_HIGH_W"),
    pytest.param("same power", among(*[99.0] * 10), 10, id="LOOK_HELD"),
    pytest.param("same power", among(*[99.0] * 9), 0, id="LOOK_HELD"),
    pytest.param("the highest", among(*[199.0] * 3), 3, id="LOOK_CEILING"),
    pytest.param("the highest", among(*[199.0] * 2), 0, id="LOOK_CEILING"),
    pytest.param("far above", np.r_[np.full(9, 200.0), 910.0, np.full(9, 200.0)], 1,
                 id="LOOK_SPIKE_FACTOR, LOOK_SPIKE_W"),
    pytest.param("far above", np.r_[np.full(9, 200.0), 890.0, np.full(9, 200.0)], 0,
                 id="LOOK_SPIKE_FACTOR, LOOK_SPIKE_W"),
    pytest.param("far above", np.r_[np.full(9, 100.0), np.full(4, 990.0), np.full(9, 100.0)], 4,
                 id="LOOK_SPIKE_READINGS"),  # of the 9 around each most are usual
    pytest.param("far above", np.r_[np.full(9, 100.0), np.full(5, 990.0), np.full(9, 100.0)], 0,
                 id="LOOK_SPIKE_READINGS")])
def test_power_that_is_distrusted(word, power, number):
    assert odd(word, power) == number


@pytest.mark.parametrize(("word", "power", "cadence", "readings", "number"), [
    pytest.param("0 W at 30", 0.0, 31.0, 3, 3, id="LOOK_TURNING_RPM"),
    pytest.param("0 W at 30", 0.0, 29.0, 3, 0, id="LOOK_TURNING_RPM"),
    pytest.param("0 W at 30", 0.0, 80.0, 2, 0, id="LOOK_CONFLICT"),
    pytest.param("at 0 rpm", 21.0, 0.0, 3, 3, id="LOOK_WORKING_W"),
    pytest.param("at 0 rpm", 19.0, 0.0, 3, 0, id="LOOK_WORKING_W"),
    pytest.param("at 0 rpm", 99.0, 0.0, 2, 0, id="LOOK_CONFLICT"),
    pytest.param("cadence above", 200.0, 201.0, 1, 1, id="LOOK_HIGH_RPM"),
    pytest.param("cadence above", 200.0, 199.0, 1, 0, id="LOOK_HIGH_RPM")])
def test_power_and_cadence_that_do_not_agree(word, power, cadence, readings, number):
    turning = np.r_[np.full(20, 80.0), np.full(readings, cadence), np.full(20, 80.0)]
    assert odd(word, among(*[power] * readings), cadence=turning) == number


@pytest.mark.parametrize(("power", "read"), [
    pytest.param(19_900, True, id="MAX_POWER_W"), pytest.param(20_100, False, id="MAX_POWER_W"),
    pytest.param(-1_990, True, id="MIN_POWER_W"), pytest.param(-2_010, False, id="MIN_POWER_W")])
def test_power_that_is_none(power, read):
    refused_unless(read, cells(range(3), [200, 201, power]), "-2000 to 20000 W")


@pytest.mark.parametrize(("time", "read"), [
    pytest.param((0.0, 1.0, 6.99 * 86_400), True, id="MAX_SPAN_S"),
    pytest.param((0.0, 1.0, 7.01 * 86_400), False, id="MAX_SPAN_S"),
    pytest.param((0.0, 0.001, 0.0021), True, id="MIN_MEAN_STEP_S"),
    pytest.param((0.0, 0.001, 0.0019), False, id="MIN_MEAN_STEP_S")])
def test_time_that_is_none(time, read):
    refused_unless(read, cells(time, [200, 201, 202]), "7 days in one recording|stamps that advance")


def refused_unless(read, data, words):
    if read:
        assert read_recording(data).power.size == 3
    else:
        with pytest.raises(InputError, match=words):
            read_recording(data)
