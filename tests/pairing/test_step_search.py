"""Steps of a clock sought second by second: stops close together, many stops in a short ride, none invented."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from agree import Recording, pair_recordings
from agree.core.errors import MatchError
from agree.core.thresholds import CROWDED
from agree.pairing.clocks.by_second import step_search
from agree.pairing.clocks.by_second.likeliest_course import likeliest
from agree.pairing.clocks.by_second.step_search import refined
from agree.pairing.clocks.crowd import crowd, stands_out
from agree.pairing.clocks.lag_path import Stretch

RIDES = Path(__file__).parent.parent / "data" / "rides"


@pytest.fixture(scope="module")
def road():
    return pd.read_csv(RIDES / "single-road-78min.csv")["power_W"].to_numpy(float)


def record(power):
    return Recording(time=np.arange(power.size, dtype=float), power=power)


def stopped(x, stops, seed=1):
    """The ride with stops put in, and a device that averages over 3 s and does not count them."""
    rng = np.random.default_rng(seed)
    full, kept = [], []
    at = 0
    for place, seconds in stops:
        full += [x[at:place], np.zeros(seconds)]
        kept.append(x[at:place])
        at = place
    whole, part = np.concatenate([*full, x[at:]]), np.concatenate([*kept, x[at:]])
    y = 0.97 * (part + np.r_[part[:1], part[:-1]] + np.r_[part[:2], part[:-2]]) / 3
    return whole, np.rint(np.where(y > 0, np.maximum(y + 6 * rng.standard_normal(y.size), 0), y))


def sizes(x, y):
    return [step.step_s for step in pair_recordings(record(x), record(y)).alignment.steps]


@pytest.mark.parametrize("stops", [((1500, 14), (1580, 9)), ((3000, 40), (3060, 8))])
def test_stops_less_than_two_minutes_apart_are_told_one_by_one(road, stops):
    assert sizes(*stopped(road, stops)) == pytest.approx([-seconds for _, seconds in stops], abs=0.6)


@pytest.mark.parametrize("stops", [
    ((250, 15), (480, 19), (620, 25), (1090, 28), (1260, 10)), ((230, 41), (450, 3), (660, 51), (900, 6), (1100, 48))])
def test_many_stops_in_a_short_ride(road, stops):
    """No single lag stands out: windows crowd about the right ones."""
    x, y = stopped(road[600:2000], stops)
    assert sizes(x, y) == pytest.approx([-seconds for _, seconds in stops], abs=0.8)


def test_the_sum_is_right_and_the_mean_with_it(road):
    x, y = stopped(road, ((1500, 20), (1575, 17), (1650, 30)))
    pairs = pair_recordings(record(x), record(y))
    mean = 100 * (pairs.device[pairs.used].sum() / pairs.reference[pairs.used].sum() - 1)
    assert mean == pytest.approx(-3.0, abs=0.1)


def test_no_step_is_made_by_the_search(road):
    """A stretch of another lag that windows found by mistake goes; a lag that creeps stays one stretch."""
    y = np.r_[np.zeros(7), road]
    wrong = [Stretch(a, b, np.full((b - a) // 30, lag)) for a, b, lag in (
        (0, 2000, 7), (1970, 2200, 40), (2170, 4600, 7))]
    (found,) = refined(road, y, wrong)
    assert set(found.lags.tolist()) == {7}
    slow = np.interp(np.arange(road.size) * (1 - 6e-4), np.arange(road.size), road)
    (one,) = refined(road, slow, [Stretch(0, 4600, np.repeat([0, 1, 2], 51))])
    assert (one.start, one.stop) == (0, road.size)


@pytest.mark.parametrize("seed", [6, 13, 14])
def test_five_stops_of_45_s_on_a_steady_ride(seed):
    """Stretches of 150 s between, in which power changes every minute: a first stop missed moved the mean by 0.8."""
    rng = np.random.default_rng(seed)
    power = np.repeat(rng.choice([160, 190, 220, 250, 280, 310], 26), 60) + 12 * rng.normal(0, 1, 52).repeat(30)
    x, y = stopped(power + rng.normal(0, 4, 1560), [(place, 45) for place in (200, 350, 500, 690, 840)], seed)
    assert sizes(x, y) == pytest.approx([-45] * 5, abs=0.5)


def test_other_rides_are_refused_as_before(road):
    x, y = stopped(road[:1200], ((400, 20), (520, 20)))
    with pytest.raises(MatchError, match="probably not of the same ride"):
        pair_recordings(record(x), record(y[::-1]))


def test_the_crowd_of_windows_lies_about_the_lags_of_the_ride(road):
    x, y = stopped(road[600:2000], ((250, 15), (480, 19), (620, 25), (1090, 28), (1260, 10)))
    assert -100 - 97 <= crowd(x, y, -np.inf, np.inf) <= 100
    assert crowd(np.full(900, 200.0), np.full(900, 190.0), -np.inf, np.inf) is None


@pytest.mark.parametrize(("top", "crowd_there"), [(1.51, True), (1.49, False)])
def test_a_crowd_stands_out(top, crowd_there):
    """CROWDED: half as much again as nine lags of ten have."""
    assert CROWDED == 1.5
    assert stands_out(np.r_[np.zeros(50), np.linspace(0.1, 1.0, 91), np.full(109, 1.0), top]) == crowd_there
    assert not stands_out(np.zeros(9))


def test_seconds_of_the_device_are_used_once():
    """Where the lag falls by 5 s, 5 s of the reference are passed over."""
    rng = np.random.default_rng(3)
    x, lags = rng.normal(0, 1, 60), np.arange(-8, 3)
    y = np.delete(x, np.arange(30, 35))
    place = np.arange(60)[:, None] + lags
    cost = np.where((place >= 0) & (place < y.size), (y[np.clip(place, 0, y.size - 1)] - x[:, None])**2, 1.0)
    assert likeliest(cost, np.ones(60), np.zeros(70), np.full(60, 3.0), np.full(70, 3.0)) == [(0, 30, 8), (35, 60, 3)]


def test_a_long_ride_is_searched_near_its_steps_alone(road, monkeypatch):
    looked = []
    whole = step_search.likeliest
    monkeypatch.setattr(step_search, "likeliest", lambda cost, *rest: looked.append(cost.shape) or whole(cost, *rest))
    long = np.tile(road, 4)
    refined(long, np.delete(long, np.arange(9000, 9033)), [Stretch(0, 9020, np.full(300, 0)), Stretch(
        9010, long.size, np.full(300, -33))])
    assert max(seconds for seconds, _ in looked) <= 2 * step_search.BESIDE_S + 33
    assert max(lags for _, lags in looked) <= 60
    assert [stretch.start for stretch in refined(long, np.delete(long, np.arange(9000, 9033)), [Stretch(
        0, 9020, np.full(300, 0)), Stretch(9010, long.size, np.full(300, -33))])] == pytest.approx([0, 9033], abs=6)
