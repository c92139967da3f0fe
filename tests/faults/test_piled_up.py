"""Ceilings that noise or a slower trace hides, low ones amid ordinary riding, and what only looks like one."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import NOTHING, Filter
from agree.faults.ceilings.pile_up import Pile, piled_up
from agree.faults.set_aside import set_aside
from agree.faults.view import views

MEAN_3_S = Kernel(0, np.full(3, 1 / 3))
LAG_2_S = Kernel(0, (1 - np.exp(-0.5)) * np.exp(-np.arange(16) / 2) / (1 - np.exp(-8)))


def ride(rng, seconds=1500):
    power = np.maximum(170 + lfilter([13.0], [1, -0.905], rng.normal(0, 1, seconds)), 30)
    for start in np.linspace(100, seconds - 100, 8).astype(int):
        power[start:start + 9] = rng.uniform(500, 900) * np.linspace(1, 0.8, 9)
    return power


def found(reference, device, by=NOTHING, slower="reference", role="device"):
    return piled_up(views(np.rint(reference), np.rint(device), Filter(by, slower, None))[role])


@pytest.mark.parametrize("by", [pytest.param(NOTHING, id="as fast"), pytest.param(MEAN_3_S, id="mean over 3 s"),
                                pytest.param(LAG_2_S, id="lag of 2 s")])
@pytest.mark.parametrize("top", [400.0, 210.0])
def test_a_ceiling_is_found_whatever_the_other_trace_smoothes(by, top):
    """Noise of 2 W after the cut, so that no value is the largest one; 210 W lies amid ordinary riding."""
    rng = np.random.default_rng(1)
    power = ride(rng)
    slower = np.convolve(np.r_[np.full(15, power[0]), power], by.weights)[15:15 + power.size]
    at = found(slower + rng.normal(0, 1, power.size), np.minimum(power, top) + rng.normal(0, 2, power.size), by)
    assert at[power > top].mean() > 0.95
    assert power[at].min() > top - 10


@pytest.mark.parametrize("halves", ["device", "reference"])
def test_halves_beside_it_do_not_hide_it(halves):
    rng = np.random.default_rng(2)
    power = ride(rng)
    traces = {"reference": power + rng.normal(0, 1, 1500), "device": np.minimum(power, 300) + rng.normal(0, 2, 1500)}
    for start in (300, 700, 1100):
        traces[halves][start:start + 25] *= 0.5
    assert found(*traces.values())[power > 310].mean() > 0.9


def bend(power):
    return np.where(power > 300, 300 + 0.6 * (power - 300), power)


def falling(power):
    return power - 1e-4 * power**2


@pytest.mark.parametrize("by", [NOTHING, MEAN_3_S, LAG_2_S])
@pytest.mark.parametrize("gain", [bend, falling, np.array])
def test_a_device_that_reads_more_for_more_power_has_none(by, gain):
    rng = np.random.default_rng(3)
    power = ride(rng)
    slower = np.convolve(np.r_[np.full(15, power[0]), power], by.weights)[15:15 + power.size]
    assert not found(slower + rng.normal(0, 1, 1500), gain(power) + rng.normal(0, 2, 1500), by).any()


@pytest.mark.parametrize("by", [NOTHING, MEAN_3_S])
def test_one_power_held_for_minutes_does_not_tell_a_ceiling_from_a_bend(by):
    """Intervals that a trainer holds at 300 W, of which the device reads 3 % less."""
    rng = np.random.default_rng(4)
    power = np.tile(np.r_[np.full(200, 150.0), np.full(200, 300.0)], 4) + rng.normal(0, 3, 1600)
    slower = np.convolve(np.r_[np.full(2, 150.0), power], by.weights)[2:1602] if by is MEAN_3_S else power
    device = np.where(power > 225, 291 + rng.normal(0, 2, 1600), power)
    assert not found(slower + rng.normal(0, 3, 1600), device, by).any()


@pytest.mark.parametrize(("change", "counts"), [
    pytest.param({"at": np.ones(10, bool)}, True, id="CEILING_PILE_S"),
    pytest.param({"at": np.ones(9, bool)}, False, id="CEILING_PILE_S"),
    pytest.param({"errors": 10.1}, True, id="CEILING_PILE_ERRORS"),
    pytest.param({"errors": 9.9}, False, id="CEILING_PILE_ERRORS"),
    pytest.param({"slope": 0.14}, True, id="CEILING_PILE_SLOPE"),
    pytest.param({"slope": 0.16}, False, id="CEILING_PILE_SLOPE"),
    pytest.param({"moves": 2.1}, True, id="CEILING_PILE_MOVES"),
    pytest.param({"moves": 1.9}, False, id="CEILING_PILE_MOVES"),
    pytest.param({"stays": 0.61}, True, id="CLAIM_SHARE"), pytest.param({"stays": 0.59}, False, id="CLAIM_SHARE"),
    pytest.param({"signs": 2.1}, True, id="CEILING_SIGNS"),
    pytest.param({"signs": 1.9}, False, id="CEILING_SIGNS")])
def test_what_makes_a_ceiling(change, counts):
    one = Pile(np.ones(50, bool), np.full(50, 400.0), 300.0, 50.0, 0.0, 5.0, 1.0, 5.0)
    assert one._replace(**change).is_ceiling == counts


def test_the_mean_beside_a_slower_reference_is_that_of_what_is_below_the_ceiling():
    """It was 13 % too low, and nothing was told; a reference with a mean over 3 s."""
    rng = np.random.default_rng(5)
    power = ride(rng, 500)
    slower = np.convolve(np.r_[power[:1], power[:1], power], MEAN_3_S.weights)[2:502]
    setting = set_aside(np.rint(slower + rng.normal(0, 1, 500)),
                        np.rint(np.minimum(power, 400) + rng.normal(0, 1, 500)))
    used = setting.reason == ""
    assert {one.reason for one in setting.faults} == {"device_saturation"}
    assert abs(setting.matched.device[used].sum() / setting.matched.reference[used].sum() - 1) < 0.001


def test_a_top_that_a_third_of_the_ride_is_above_takes_more_than_its_sprints():
    """The seconds of sprints were at it, those of ordinary riding were not, and the mean was 1.7 % too low."""
    rng = np.random.default_rng(6)
    power = ride(rng, 600)
    setting = set_aside(np.rint(power + rng.normal(0, 2, 600)), np.rint(np.minimum(power, 190)
                                                                        + rng.normal(0, 2, 600)))
    used = setting.reason == ""
    assert (power > 190).mean() > 0.25
    assert abs(setting.matched.device[used].sum() / setting.matched.reference[used].sum() - 1) < 0.003
