"""The ceiling of a sharp trace beside one that is slower by half a minute: told, and no frozen value or bend."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter
from agree.faults.ceilings.often_at_top import above_top, often_at_top
from agree.faults.set_aside import set_aside
from agree.faults.view import views

LAG_30_S = Kernel(0, (1 - np.exp(-1 / 30)) * np.exp(-np.arange(150) / 30) / (1 - np.exp(-5)))


def found(power, sharp):
    padded = np.r_[np.full(149, power[0]), power]
    slow = np.convolve(padded, LAG_30_S.weights)[149:149 + power.size]
    return int(often_at_top(views(sharp, slow, Filter(LAG_30_S, "device", None))["reference"]).sum())


def pushes(long, times, near, beyond=300.0):
    """Pushes to some power beyond 300 W, and seconds 5 W below 300."""
    power = 150 + 20 * np.sin(np.arange(2000) / 50)
    starts = np.linspace(200, 1800, times).astype(int)
    for start in starts:
        power[start:start + long] = 300 + beyond
    power[np.flatnonzero(power < 200)[100::18][:near]] = 295.0
    return power, np.minimum(power, 300.0)


@pytest.mark.parametrize(("long", "times", "near", "seconds"), [
    pytest.param(5, 8, 70, 40, id="CEILING_OFTEN inside"), pytest.param(5, 8, 82, 0, id="CEILING_OFTEN outside"),
    pytest.param(10, 8, 20, 80, id="CEILING_OFTEN_RUN_S inside"),
    pytest.param(11, 8, 20, 0, id="CEILING_OFTEN_RUN_S outside")])
def test_a_trace_far_more_often_at_its_top_than_near_it(long, times, near, seconds):
    assert found(*pushes(long, times, near)) == seconds


def test_what_reads_right_at_its_top_is_no_ceiling():
    power, _ = pushes(5, 8, 20, beyond=0.0)
    assert found(power, power) == 0


def test_what_is_beyond_the_top_is_told_by_how_often_power_is_right_below():
    rng = np.random.default_rng(1)
    power = 200 + rng.exponential(40.0, 20000)
    beyond = power > 300
    assert above_top(power[~beyond], int(beyond.sum())) == pytest.approx(power[beyond].mean(), abs=5)


def test_the_mean_beside_a_slow_device():
    """The reference had frozen 53 times, and the device read 1.5 % too much."""
    rng = np.random.default_rng(3)
    pushes_of = np.abs(lfilter([1], [1, -0.7], rng.normal(0, 1, 900)))**1.2
    power = 140 + 30 * pushes_of * (1 + 0.3 * np.sin(np.arange(900) / 150))
    slow = np.convolve(np.r_[np.full(149, power[0]), power], LAG_30_S.weights)[149:149 + power.size]
    setting = set_aside(np.rint(np.minimum(power, 220)), np.rint(slow + rng.normal(0, 1, 900)))
    used = setting.reason == ""
    assert {one.reason for one in setting.faults} == {"reference_saturation"}
    assert abs(setting.matched.device[used].sum() / setting.matched.reference[used].sum() - 1) < 0.003
