"""Stops on a trainer that one recorder does not count, of which no window of a minute tells the first."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.pairing.clocks import retime
from agree.pairing.clocks.by_second.poor_parts import Course, mended
from agree.pairing.clocks.fine import Extra, Fine
from agree.pairing.clocks.lag_path import Stretch
from agree.pairing.grid import Grid
from agree.pairing.match import match

SIZE = 2400


def trainer(rng):
    """Targets of a minute with a wave of 31 s, which is alike at many lags, and a rider's own changes."""
    target = np.repeat(rng.choice(np.arange(120.0, 310, 30), 60), 60)[:SIZE]
    own = lfilter([1], [1, -0.8], rng.standard_normal(SIZE))
    wave = 15 * np.sin(2 * np.pi * np.arange(SIZE) / 31)
    return np.maximum(lfilter([0.3], [1, -0.7], target + wave) + 3.6 * own, 1)


@pytest.mark.parametrize("mean", [1, 5])
def test_five_stops_are_found_with_their_sizes(mean):
    """The first was told as a jump by 148 s and back by 132 s."""
    rng = np.random.default_rng(10)
    x = trainer(rng)
    first = int(rng.integers(150, 600))
    y = np.convolve(np.rint(0.97 * x + 4 * rng.standard_normal(SIZE)), np.ones(mean) / mean)[:SIZE]
    x = np.insert(x, np.repeat(first + 150 * np.arange(5), 45), 0)
    found = match(Grid(0.0, np.rint(x)), Grid(0.0, np.rint(y)), None, None, False)
    sizes = [step.step_s for step in retime.steps(found.changes, found.fine, 0, SIZE)[0]]
    assert sizes == pytest.approx([-45.0] * 5, abs=0.5)


@pytest.mark.parametrize(("noise", "times", "lag"), [
    (0.2, 3.15, -40), (0.48, 3.15, -40), (0.2, 2.85, 0), (0.53, 3.15, 0)])
def test_a_part_is_moved_to_a_lag_at_which_it_agrees(noise, times, lag):
    """Where it costs no more than noise does (GOOD), and varies by so many times more than noise (LIVELY_SD)."""
    two = 200 + 20 * np.repeat(np.random.default_rng(2).standard_normal(60), 10)
    own, part = two.copy(), two[80:200]
    own[120:240] = part + noise * part.std() * np.resize([1.0, -1.0], 120)
    found = mended(own, two, [Course(0, 600, 0)], float(own[120:240].std()) / times, 4.5)
    assert max((course.lag for course in found), key=abs) == lag


@pytest.mark.parametrize(("poor", "seconds", "lag"), [(1.85, 60, -70), (1.75, 60, 0), (4.0, 29, 0)])
def test_a_part_is_poor_where_it_costs_more_than_noise_for_a_minute(poor, seconds, lag):
    """POOR, 1.8, and LEAST_POOR_PIECES, 2 of 30 s."""
    two = 200 + 20 * np.repeat(np.random.default_rng(2).standard_normal(60), 10)
    own = two.copy()
    part = slice(120, 120 + seconds)
    own[part] = two[50:50 + seconds]
    two[part] = own[part] + 2 * np.sqrt(2 * poor)
    found = mended(own, two, [Course(0, 600, 0)], 2.0, 4.5)
    assert max((course.lag for course in found), key=abs) == lag


def change(told):
    changes = [retime.Change(100, -45), retime.Change(300, -2)]
    extra = (Extra(100, 0.0, 0.1, 0.1), Extra(300, told, told, 0.1))
    return retime.no_step(changes, Fine(0.0, 0.1, 0.0, 0.0, 0.0, False, extra))


def test_a_change_of_less_than_a_second_is_no_step():
    """LEAST_STEP_S."""
    assert change(1.1) == 1
    assert change(0.9) is None


def test_the_lag_before_a_change_that_is_none_holds_after_it():
    made = [Stretch(0, 100, np.array([5, 5])), Stretch(100, 200, np.array([-40])),
            Stretch(200, 300, np.array([-42, -43]))]
    joined = retime.without_change(made, 1)
    assert [(part.start, part.stop, part.lags.tolist()) for part in joined] == [
        (0, 100, [5, 5]), (100, 300, [-40, -40, -41])]
