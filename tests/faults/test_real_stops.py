"""Zeros beside a few stops: those that the other trace shows as a stop are no dropout, others are one."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.core.data.runs import runs
from agree.estimators.response.kernels import Kernel
from agree.faults.claim import Claim
from agree.faults.dropout import dropouts
from agree.faults.real_stop import is_stop
from agree.faults.view import View
from tests.faults.test_no_faults import kinds


def ride(stops, seconds=1500, slope=0.7):
    """An invented effort of 200 W with stops of given begins and lengths."""
    rng = np.random.default_rng(5)
    x = np.clip(200 + 60 * np.sin(np.arange(seconds) / 40) + lfilter([1], [1, -slope], rng.normal(0, 18, seconds)),
                40, None)
    for start, length in stops:
        x[start:start + length] = 0
    return np.rint(x), rng


def held(x, by=3):
    y = x.copy()
    for start, stop in runs(x == 0):
        y[start:min(start + by, stop)] = x[start - 1]
    return y


def noisy(y, rng):
    return np.where(y > 0.5, np.maximum(y + rng.normal(0, 2, y.size), 1), 0)


def lag(y, tau):
    return lfilter([1 - np.exp(-1 / tau)], [1, -np.exp(-1 / tau)], y)


@pytest.mark.parametrize("stops", [[(900, 9)], [(900, 20)], [(400, 40), (1100, 12)], [(300, 30), (700, 15), (1200, 9)]])
def test_a_device_that_holds_3_s_at_few_stops_blames_no_reference(stops):
    x, rng = ride(stops)
    assert kinds(x, noisy(held(x), rng)) == set()


@pytest.mark.parametrize("stops", [[(900, 17)], [(300, 30), (1200, 7)]])
def test_nor_does_one_that_is_slow_as_well(stops):
    x, rng = ride(stops)
    assert kinds(x, noisy(lag(held(x), 2.0), rng)) == set()


def test_nor_does_a_mean_of_30_s_that_no_filter_was_found_for():
    x, rng = ride([(44, 16), (212, 13)], slope=0.3)
    usual = lfilter(np.ones(30) / 30, [1], x)
    usual = np.r_[usual[14:], np.full(14, usual[-1])] + rng.normal(0, 1, x.size)
    judge = View("reference", x, usual, usual, np.ones(x.size, bool), usual, Kernel(0, np.ones(1)), 1.0, (0, 0))
    assert dropouts(judge) == []


@pytest.mark.parametrize("response", ["instant", "lag"])
@pytest.mark.parametrize("lost", [(500, 507), (892, 901), (919, 930)])
def test_a_dropout_of_the_reference_amid_work_or_beside_a_stop_is_found(lost, response):
    """Of 7 s amid work, of 9 s before a stop (longer than a device holds), and of 10 s after it."""
    x, rng = ride([(900, 20)])
    y = noisy(x if response == "instant" else lag(x, 3.0), rng)
    x[slice(*lost)] = 0
    assert "reference_dropout" in kinds(x, y)


# Limits: a stop of 200 W from 100 s on.

def shown(zeros, held_s, wave=0.0, role="reference"):
    """Whether a claim at the begin of zeros is a stop, which the other trace shows after so long, and a wave."""
    y = np.full(300, 200.0)
    usual = y.copy()
    y[100:100 + zeros], usual[100 + held_s:100 + zeros] = 0.0, 0.0
    usual += wave * (-1.0) ** np.arange(300)
    one = View(role, y, usual, usual, np.ones(300, bool), usual, None, 1.0, (0, 0))
    return is_stop(one, Claim(100, 100 + max(held_s, 1), 600.0, 600.0, 1.0, 0.0, 600.0, 1.0))


@pytest.mark.parametrize(("role", "seconds", "stop"), [
    pytest.param("reference", 5, True, id="STOP_HELD_S"), pytest.param("reference", 6, False, id="STOP_HELD_S"),
    pytest.param("device", 0, True, id="STOP_HELD_S"), pytest.param("device", 1, False, id="STOP_HELD_S")])
def test_how_long_a_reading_is_held(role, seconds, stop):
    assert shown(40, seconds, role=role) is stop


@pytest.mark.parametrize(("wave", "stop"), [
    pytest.param(39.0, True, id="STOP_MISFIT"), pytest.param(41.0, False, id="STOP_MISFIT")])
def test_how_well_a_stop_fits(wave, stop):
    assert shown(40, 3, wave) is stop


@pytest.mark.parametrize(("wave", "stop"), [
    pytest.param(-28.0, True, id="STOP_SURE"), pytest.param(-29.0, False, id="STOP_SURE")])
def test_how_much_better_than_work_a_stop_fits(wave, stop):
    """Of 6 s one without work, among 12 s looked at: a wave leaves its square, and work in all of them 3333 more."""
    assert shown(6, 5, wave) is stop


@pytest.mark.parametrize(("dip", "wave", "stop"), [
    pytest.param(94.9, 0.031, True, id="STOP_DIP"), pytest.param(95.2, 0.031, False, id="STOP_DIP"),
    pytest.param(90.0, 0.031, True, id="STOP_SMOOTHER"), pytest.param(90.0, 0.029, False, id="STOP_SMOOTHER")])
def test_a_dip_of_a_far_smoother_trace(dip, wave, stop):
    sign = (-1.0) ** np.arange(300)
    usual = np.full(300, 100.0)
    usual[100:110] = dip
    usual, y = usual + 0.01 * sign, 100 + wave * sign
    y[100:110] = 0.0
    one = View("reference", y, usual, usual, np.ones(300, bool), usual, None, 1.0, (0, 0))
    assert is_stop(one, Claim(100, 110, 950.0, 950.0, 1.0, 0.0, 950.0, 1.0)) is stop


@pytest.mark.parametrize(("zeros", "stop"), [
    pytest.param(60, True, id="STOP_LONGEST_S"), pytest.param(61, False, id="STOP_LONGEST_S")])
def test_how_long_a_stop_is_looked_at(zeros, stop):
    """The claim is of its last ten seconds, in which the other trace shows no work."""
    y = np.full(300, 200.0)
    y[100:100 + zeros] = 0.0
    one = View("reference", y, y.copy(), y.copy(), np.ones(300, bool), y.copy(), None, 1.0, (0, 0))
    assert is_stop(one, Claim(90 + zeros, 100 + zeros, 950.0, 950.0, 1.0, 0.0, 950.0, 1.0)) is stop


@pytest.mark.parametrize(("second", "stop"), [
    pytest.param(4, True, id="STOP_AFTER_S"), pytest.param(5, False, id="STOP_AFTER_S")])
def test_how_long_after_a_stop_a_smoother_trace_may_fall(second, stop):
    sign = (-1.0) ** np.arange(300)
    usual = np.full(300, 100.0) + 0.01 * sign
    y = 100 + 0.031 * sign
    y[100:110], usual[110 + second] = 0.0, 80.0
    one = View("reference", y, usual, usual, np.ones(300, bool), usual, None, 1.0, (0, 0))
    assert is_stop(one, Claim(100, 110, 950.0, 950.0, 1.0, 0.0, 950.0, 1.0)) is stop
