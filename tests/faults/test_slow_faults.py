"""Steps of the zero and warm-ups: found with size and place where put in, and not where there are none."""

import numpy as np
import pytest

from agree.faults.slow import find_slow

BOTH = ("auto_zero_step", "warm_up_drift")
REST = [(600, 640), (1300, 1330), (2100, 2150), (2900, 2930)]


@pytest.fixture
def ride(rng):
    """An hour of invented riding with four rests: reference, and white errors of 3 W."""
    t = np.arange(3600)
    power = 200 + 60 * np.sin(t / 200) + np.convolve(rng.normal(0, 60, t.size + 19), np.ones(20) / 20, "valid")
    for start, stop in REST:
        power[start:stop] = 0
    return t.astype(float), power, rng.normal(0, 3, t.size)


def found(t, x, error, kinds=BOTH, cadence=None):
    y = np.where(x > 0, x + error, 0.0)
    return find_slow(x, y, t, (x > 0) & (y > 0), cadence, kinds)


@pytest.mark.parametrize("watts", [-8.0, 5.0, 12.0])
def test_a_step_at_the_end_of_a_coasting(ride, watts):
    t, x, noise = ride
    item, = found(t, x, noise + watts * (t >= REST[1][1]))
    assert item.kind == "auto_zero_step"
    assert item.detail["at_s"] == pytest.approx(REST[1][1], abs=3)
    assert abs(item.detail["step_W"] - watts) < 3.5 * item.detail["se_W"] < 5
    assert (item.start, item.stop) == (0, REST[1][1])  # the shorter side
    change = item.detail["bias_after_percent"] - item.detail["bias_before_percent"]
    assert change == pytest.approx(100 * watts / x[x > 0].mean(), abs=0.6)


def test_a_step_of_torque(ride):
    t, x, noise = ride
    cadence = np.where(x > 0, 85 + 10 * np.sin(t / 60), 0.0)
    item, = found(t, x, noise + 0.8 * cadence * 2 * np.pi / 60 * (t >= REST[2][1]), cadence=cadence)
    assert item.detail["step_Nm"] == pytest.approx(0.8, abs=3.5 * item.detail["se_Nm"])


def test_a_step_of_watts_beside_a_known_cadence(ride):
    t, x, noise = ride
    cadence = np.where(x > 0, 85 + 15 * np.sin(t / 300), 0.0)
    item, = found(t, x, noise + 8 * (t >= REST[2][1]), cadence=cadence)
    assert "step_Nm" not in item.detail
    assert item.detail["step_W"] == pytest.approx(8, abs=3.5 * item.detail["se_W"])


@pytest.mark.parametrize("size", [-0.05, 0.04])
def test_a_warm_up(ride, size):
    t, x, noise = ride
    item, = found(t, x, noise + size * x * np.exp(-3 * t / 900))
    assert item.kind == "warm_up_drift"
    assert item.detail["size_percent"] == pytest.approx(100 * size, abs=4 * item.detail["se_percent"])
    assert 500 < item.detail["settled_s"] < 1500


def test_what_is_neither(ride):
    t, x, noise = ride
    assert found(t, x, noise) == []
    assert found(t, x, noise + 0.005 * t) == []                      # a drift that goes on
    assert found(t, x, noise + 0.05 * x - 6) == []                   # scale and offset
    graded = np.where(x > 0, 100 + 60 * (t // 600), 0.0) + (x > 0) * (x - 200) / 5
    assert found(t, graded, noise - 0.0002 * graded**2) == []        # an error that depends on power, in a graded ride
    slow = np.convolve(np.random.default_rng(3).normal(0, 1, t.size + 59), np.ones(60) / 60 ** 0.5, "valid")
    assert found(t, x, noise + 3 * slow) == []                       # errors alike over a minute


def test_kinds_asked_for(ride):
    t, x, noise = ride
    assert found(t, x, noise + 12 * (t >= REST[1][1]), kinds=("warm_up_drift",)) != found(
        t, x, noise + 12 * (t >= REST[1][1]))
    assert found(t, x, noise + 12 * (t >= REST[1][1]), kinds=()) == []
    assert found(t[:500], x[:500], noise[:500]) == []                # too short to tell
