"""Lags and drifts of known size, and matches that must be refused."""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from agree.core.errors import MatchError
from agree.pairing import refusal, witnesses
from agree.pairing.clocks import clock, fine
from agree.pairing.grid import Grid

RIDES = Path(__file__).parent.parent / "data" / "rides"


def ride(name):
    table = pd.read_csv(RIDES / name)
    if "timestamp" in table:
        second = (pd.to_datetime(table["timestamp"]).astype("datetime64[s, UTC]").astype("int64")).to_numpy()
    else:
        second = table["time_s"].to_numpy()
    power = np.full(int(second[-1] - second[0]) + 1, np.nan)
    power[second - second[0]] = table["power_W"]
    return power


@pytest.fixture(scope="module")
def road():
    return ride("single-road-stops.csv")


def late(x, delay):
    whole = int(delay)
    a, b = (np.r_[np.full(back, x[0]), x[:x.size - back]] for back in (whole, whole + 1))
    return (whole + 1 - delay) * a + (delay - whole) * b


def fine_lag(x, y):
    return fine.refine(x, y, clock.candidates(x, y, -math.inf, math.inf)[0].lag)


@pytest.mark.parametrize("delay", [0.0, 0.25, 0.5, 1.75, 3.4])
@pytest.mark.parametrize("name", ["single-road-stops.csv", "single-road-78min.csv"])
def test_delay_by_interpolation_comes_back(name, delay):
    x = ride(name)
    assert fine_lag(x, late(x, delay)).lag == pytest.approx(delay, abs=0.04)


def test_delay_comes_back_from_a_bad_device(road):
    rng = np.random.default_rng(1)
    y = 0.97 * road - 6 * (road > 0)
    y = (y + late(y, 1) + late(y, 2)) / 3
    y = np.rint(late(y, 3.4) + 8 * rng.standard_normal(y.size))
    y[rng.random(y.size) < 0.02] = 0
    line = fine_lag(road, y)
    assert line.lag == pytest.approx(4.4, abs=0.2)  # a mean over the last 3 s is 1 s late
    assert not line.drifting


def test_lag_is_antisymmetric(road):
    y = late(road, 3.4)
    assert fine_lag(y, road).lag == pytest.approx(-fine_lag(road, y).lag, abs=0.01)


def test_standard_error_covers_the_spread_of_the_lag(road):
    rng = np.random.default_rng(2)
    found = [fine_lag(road, late(road, 3.4) + 40 * rng.standard_normal(road.size)) for _ in range(30)]
    spread = np.std([f.lag for f in found], ddof=1)
    # 30 draws give the spread to about 13 %; the error of the mean window is a little more than that of the whole.
    assert 0.6 * spread < np.median([f.lag_se for f in found]) < 2.5 * spread


@pytest.mark.parametrize("ppm", [-400, 250, 1000])
def test_drift_comes_back(road, ppm):
    filled = np.interp(np.arange(road.size), np.flatnonzero(np.isfinite(road)), road[np.isfinite(road)])
    place = np.arange(road.size)
    y = np.interp(place / (1 + ppm * 1e-6), place, filled)
    line = fine_lag(filled, y)
    assert line.drifting
    assert 1e6 * line.drift == pytest.approx(ppm, abs=25)
    assert line.at(np.array([0.0, 3000.0])) == pytest.approx([0, 3e-3 * ppm], abs=0.1)


def test_small_drift_is_estimated_but_not_taken_out(road):
    place = np.arange(road.size)
    filled = np.interp(place, np.flatnonzero(np.isfinite(road)), road[np.isfinite(road)])
    line = fine_lag(filled, np.interp(place / (1 + 60e-6), place, filled))
    assert not line.drifting
    assert 1e6 * line.drift == pytest.approx(60, abs=20)


def test_short_overlap_gives_no_standard_error(road):
    line = fine_lag(road[1000:1300], road[1000:1300])
    assert line.lag == 0
    assert math.isnan(line.lag_se)
    assert math.isnan(line.drift)


def test_correlation_is_that_of_the_readings_both_have():
    rng = np.random.default_rng(3)
    x, y = rng.standard_normal(200), rng.standard_normal(150)
    x[40:50] = y[100:103] = np.nan
    lags, r, count = clock.correlate(x, y)
    for lag in (-120, -7, 0, 33, 100):
        i = np.arange(max(0, -lag), min(x.size, y.size - lag))
        both = np.isfinite(x[i]) & np.isfinite(y[i + lag])
        a, b = x[i][both], y[i + lag][both]
        at = np.flatnonzero(lags == lag)[0]
        assert count[at] == both.sum()
        assert r[at] == pytest.approx(a @ b / math.sqrt((a @ a) * (b @ b)), rel=1e-9)


def refused(x, y):
    with pytest.raises(MatchError) as caught:
        refusal.accept(clock.candidates(x, y, -math.inf, math.inf), 0.0,
                         lambda: witnesses.calm(Grid(0, x), Grid(0, y)))
    return str(caught.value)


def test_real_pair_is_far_above_the_limit():
    found = clock.candidates(ride("pair-1-bike.csv"), ride("pair-1-pedals.csv"), -math.inf, math.inf)
    refusal.accept(found, 0.0)
    assert found[0].strength > 120
    assert found[0].correlation > 0.95
    assert found[1].strength < 0.1 * found[0].strength


@pytest.mark.parametrize("other", ["single-road-78min.csv", "pair-1-bike.csv", "reversed", "shuffled"])
def test_wrong_pairings_are_refused(road, other):
    if other == "reversed":
        y = road[::-1]
    elif other == "shuffled":
        y = np.random.default_rng(4).permutation(road)
    else:
        y = ride(other)
    assert "do not match" in refused(road, y)


@pytest.mark.parametrize("length", [120, 600, 1800])
def test_pieces_of_wrong_rides_are_refused(road, length):
    rng = np.random.default_rng(length)
    others = [ride("single-road-78min.csv"), ride("pair-1-bike.csv")]
    passed = 0
    for _ in range(60):
        other = others[int(rng.integers(2))]
        i, j = int(rng.integers(road.size - length)), int(rng.integers(other.size - length))
        found = clock.candidates(road[i:i + length], other[j:j + length], -math.inf, math.inf)
        try:
            refusal.accept(found, 0.0)
            passed += 1
        except MatchError:
            pass
    assert passed == 0


@pytest.mark.parametrize("seconds", [300, 3600, 20000])
@pytest.mark.parametrize("change", ["noise", "strong noise", "slow", "smooth"])
def test_steady_ride_is_refused(seconds, change):
    rng = np.random.default_rng(seconds)
    x, y = (200 + (40 if change == "strong noise" else 5) * rng.standard_normal(seconds) for _ in range(2))
    if change == "slow":
        x, y = (v + 50 * np.sin(np.arange(seconds) / 300) for v in (x, y))
    if change == "smooth":
        x, y = (np.convolve(v, np.ones(3) / 3, "same") for v in (x, y))
        x[:2] = y[:2] = x[-2:] = y[-2:] = 200
    message = refused(np.rint(x), np.rint(y))
    assert message.startswith("a steady ride cannot be aligned: the reference has no fast changes of power")
    assert "and the device has" in message
    assert "add a few 5-s sprints at start and end" in message
    assert message.count("(correlation") == clock.MOST_CANDIDATES
    assert "lag_s=... (--lag ...)" in message


def test_a_steady_device_is_named(road):
    y = 200 + 5 * np.random.default_rng(8).standard_normal(road.size)
    message = refused(road, y)
    assert message.startswith("a steady ride cannot be aligned: the device has no fast changes")
    assert "reference" not in message
    assert not witnesses.steady(road)


def test_pieces_of_real_rides_are_not_steady(road):
    for x in (road, ride("single-road-78min.csv"), ride("pair-1-bike.csv")):
        for start in range(0, x.size - 600, 120):
            assert not witnesses.steady(x[start:start + 600])


@pytest.mark.parametrize(("found", "doubt"), [
    ([(0.9, 100.0), (0.5, 74.9)], "NONE"), ([(0.9, 100.0), (0.5, 75.1)], "RIVAL"),
    ([(0.9, 100.0), (0.872, 50.0)], "NONE"), ([(0.9, 100.0), (0.874, 50.0)], "RIVAL"),
    ([(0.9, 15.1)], "NONE"), ([(0.9, 14.9)], "WEAK"), ([(0.301, 100.0)], "NONE"), ([(0.299, 100.0)], "WEAK"),
    ([], "MISSING")])
def test_limits_of_a_match(found, doubt):
    lags = [clock.Candidate(60 * k, *item) for k, item in enumerate(found)]
    assert refusal.doubt(lags) is refusal.Doubt[doubt]


def test_rival_is_refused_and_both_are_shown():
    rng = np.random.default_rng(5)
    place = np.arange(2400)
    x = np.where(place // 30 % 2 == 0, 120.0, 300.0) + 3 * rng.standard_normal(2400)
    y = np.where(place // 30 % 2 == 0, 120.0, 300.0) + 3 * rng.standard_normal(2400)
    message = refused(x, y)
    assert "match at several lags almost equally well: +0.0 s (correlation" in message
    for lag in ("-60.0", "+60.0"):
        assert f"{lag} s (correlation" in message
    assert message.count("(correlation") == clock.MOST_CANDIDATES
    assert "lag_s=... (--lag ...)" in message


def test_no_overlap_is_said(road):
    found = clock.candidates(road, road, 5000, 6000)
    assert found == []
    with pytest.raises(MatchError, match="do not overlap"):
        refusal.accept(found, 0.0)


def test_constant_trace_has_no_correlation():
    assert clock.candidates(np.full(600, 200.1), np.full(600, 180.3), -math.inf, math.inf) == []
