"""Ceilings that are exceeded by little more than noise, and steady power that only looks like one."""

import numpy as np
import pytest

from agree.faults.ceilings.top_value import ceiling
from agree.faults.detect import dips
from agree.faults.view import View

SD = 14.826  # of errors of +-10 W, from their median


def seen(y, usual):
    """A trace that the other one foretells second by second, without a filter or a delay."""
    return View("device", y, usual, usual, np.ones(usual.size, bool), usual, None, 1.0, (0, 0))


def stuck(seconds=40, above=0.8, moves=1.3, at_top=1.0):
    """Power of 300 W and errors of 10 W; then so many seconds at 500 W, foretold above it by so many SD and moving."""
    y, usual = 300 + 10 * np.tile([1.0, -1.0], 300), np.full(600, 300.0)
    swing = np.tile([1.0, -1.0], 300)[:seconds]
    usual[100:100 + seconds] = 500 + SD * above + moves * SD * swing
    y[100:100 + seconds] = np.where(np.arange(seconds) < at_top * seconds, 500.0, 490.0)
    return int(ceiling(seen(y, usual)).sum())


@pytest.mark.parametrize(("made", "found"), [
    pytest.param({"seconds": 40}, 40, id="CEILING_STUCK_S"),
    pytest.param({"seconds": 38}, 0, id="CEILING_STUCK_S"),
    pytest.param({"above": 0.76}, 40, id="CEILING_STUCK_SD above"),
    pytest.param({"above": 0.74}, 0, id="CEILING_STUCK_SD above"),
    pytest.param({"moves": 1.26}, 40, id="CEILING_STUCK_SD moves"),
    pytest.param({"moves": 1.24}, 0, id="CEILING_STUCK_SD moves"),
    pytest.param({"at_top": 0.72}, 29, id="CEILING_AT"), pytest.param({"at_top": 0.62}, 0, id="CEILING_AT")])
def test_many_readings_at_one_largest_value(made, found):
    """Half of the seconds at the top are foretold above it: 1.04 times the top and 2 SD, 550 W, is reached by none."""
    assert stuck(**made) == found


def test_a_mean_over_10_s_hides_how_far_its_ceiling_is_exceeded():
    """Of 100 seconds beyond a ceiling two were foretold 4 % and two standard deviations above it: none was told."""
    rng = np.random.default_rng(2)
    t = np.arange(4000)
    usual = 220 + 90 * np.sin(t / 40) + 25 * np.sin(t / 13)
    whole = np.rint(usual + rng.normal(0, 4.3, t.size))
    y, beyond = np.minimum(whole, 318.0), whole > 318
    assert (usual > 1.04 * 318 + 2 * 4.3).sum() < 5 < 60 < beyond.sum()
    found = ceiling(seen(y, usual))
    assert (found & beyond).sum() >= 0.97 * beyond.sum()
    assert (found & beyond).sum() >= 0.8 * found.sum()


@pytest.mark.parametrize("reads", [300.0, 291.0])
def test_power_that_a_trainer_holds_is_no_ceiling(reads):
    """Ten minutes at 300 W, the most there is, read to the watt: right, or 3 % low as a bend makes it."""
    rng = np.random.default_rng(3)
    true = np.r_[np.full(1800, 150.0), np.full(600, 300.0), np.full(1200, 150.0)]
    y = np.where(true == 300, reads, np.rint(true + rng.normal(0, 4, 3600)))
    assert not ceiling(seen(y, true + rng.normal(0, 5, 3600))).any()


@pytest.mark.parametrize(("power", "found"), [
    pytest.param(139.0, True, id="DIP_SHARE"), pytest.param(141.0, False, id="DIP_SHARE")])
def test_where_the_other_trace_dips(power, found):
    usual = np.full(400, 200.0)
    usual[198:203] = power
    assert dips(seen(usual, usual), 200, 201) == found
    assert not dips(seen(usual, usual), 300, 301)
