"""Whether two recordings are of one ride: minutes that match, days, drifts, equal intervals, and what is refused."""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from agree import Recording, pair_recordings
from agree.core.errors import MatchError
from agree.pairing.same_ride.minutes import likeness, shifts, wilson_low
from agree.report.notes.sentence import note_text

RIDES = Path(__file__).parent.parent / "data" / "rides"
DAY = 86_400.0


@pytest.fixture(scope="module")
def road():
    return pd.read_csv(RIDES / "single-road-78min.csv")["power_W"].to_numpy(float)


@pytest.fixture(scope="module")
def bench():
    sys.path.insert(0, str(Path(__file__).parent.parent.parent / "benchmarks"))
    import same_ride
    yield same_ride
    sys.path.pop(0)


def record(power, begin=0.0, clock="elapsed", **fields):
    return Recording(time=begin + np.arange(power.size), power=power, clock=clock, **fields)


def noisy(x, seed=1):
    y = 0.97 * (x + np.r_[x[:1], x[:-1]] + np.r_[x[:2], x[:-2]]) / 3
    return np.rint(np.where(y > 0, np.maximum(y + 6 * np.random.default_rng(seed).standard_normal(x.size), 0), y))


def facts(pairs, kind):
    return [note for note in pairs.notes if getattr(note, "kind", "") == kind]


def refused(*args, **options):
    with pytest.raises(MatchError) as caught:
        pair_recordings(*args, **options)
    return str(caught.value)


# Minutes.

def test_wilson_s_limit():
    """The limit p of k of n solves |k - n p| = 1.96 sqrt(n p (1 - p)), from below."""
    for k, n in ((0, 10), (3, 10), (9, 10), (10, 10), (60, 100)):
        p = wilson_low(k, n)
        assert k - n * p == pytest.approx(1.959964 * np.sqrt(n * p * (1 - p)), abs=1e-6)
    assert wilson_low(0, 0) == 0


def test_minutes_of_one_trace_are_matched_and_of_noise_are_not():
    rng = np.random.default_rng(1)
    u, v = rng.standard_normal((2, 6000))
    assert likeness(u, np.roll(u, 7), np.full(6000, 7.0)).share == 1
    chance = likeness(u, v, np.zeros(6000))
    assert chance.matched.size == 100
    assert chance.share < 0.15  # 3 lags at the path, 64 others: 3 / 67
    u[3000:] = np.nan
    assert likeness(u, u, np.zeros(6000)).matched.size == 50


def test_surrogates_stay_away_from_the_path():
    for size in (120, 600, 100_000):
        found = shifts(size)
        assert np.abs(found).min() == 12
        assert np.abs(found).max() <= max(840, 12)
    assert shifts(100_000).size == 64


def test_files_of_other_rides_are_not_repaired(bench, road):
    """Another day of a workout, and of a course: no steps of a clock make one ride of them."""
    rng = np.random.default_rng(3)
    target = bench.workout(3600, rng)
    days = [np.rint(np.maximum(lfilter([0.3], [1, -0.7], target) + bench.noise(3600, rng, 12, 0.8), 0))
            for _ in range(2)]
    assert "minutes are more alike" in refused(record(days[0]), record(days[1]))
    other = pd.read_csv(RIDES / "single-road-stops.csv")["power_W"].to_numpy(float)
    refused(record(road), record(bench.other_day(road, other, 31)))
    refused(record(road), record(noisy(road[::-1])))
    one, two = bench.laps(road, rng, noisy)
    refused(record(one), record(two))


@pytest.mark.parametrize("width", [3, 15, 25])
def test_a_calmer_rider_on_one_course_is_told_from_a_device_that_averages(road, width):
    """The other rider's changes within 15 s are a third as large; a device that averages has noise instead."""
    rng = np.random.default_rng(8)
    slow = np.convolve(np.pad(road, 12, mode="edge"), np.ones(25) / 25, "valid")
    other = lfilter([1], [1, -0.6], rng.standard_normal(road.size))
    rider = np.rint(np.maximum(slow + 0.25 * np.std(road - slow) * other / np.std(other), 0))
    assert "the rider's own" in refused(record(road), record(rider))
    mean = lfilter(np.ones(width) / width, [1], road)
    pair_recordings(record(road), record(np.rint(np.maximum(mean + rng.normal(0, 6, road.size) * (mean > 0), 0))))


def test_a_course_shared_but_for_the_rider_is_refused(road):
    """All that takes 17 s and longer is shared, and the rider's own changes are those of the ride backwards."""
    rest = road - np.convolve(np.pad(road, 8, mode="edge"), np.ones(17) / 17, "valid")
    other = np.maximum(np.rint(road - rest + rest[::-1]), 0)
    assert "on two days: their slower changes are alike" in refused(record(road), record(other))
    slow = np.convolve(np.pad(road, (24, 0), mode="edge"), np.ones(25) / 25, "valid")  # a device has none of them
    assert pair_recordings(record(road), record(np.rint(slow))).alignment.lag_s == pytest.approx(12, abs=0.5)


@pytest.mark.parametrize("stops", [True, False])
def test_a_device_upside_down_is_said_to_be_so(road, stops):
    power = road if stops else np.where(road > 0, road, 200.0)
    turned = np.where(power > 0, np.maximum(2 * power[power > 0].mean() - power, 1), 0)
    said = refused(record(power), record(np.rint(turned), 12.0))
    assert "where one recording rises the other one falls (correlation -1.00 at a lag of +12.0 s)" in said


# Days, drifts.

@pytest.mark.parametrize(("apart", "good"), [(14.99 * 3600, True), (15.01 * 3600, False), (86_440.0, False)])
def test_another_day_is_refused_by_stamps(road, apart, good):
    one = record(road, 1.6e9, "utc", start="2020-09-13T12:26:40Z")
    two = record(noisy(road), 1.6e9 + apart, "utc", start="2020-09-14T12:26:40Z")
    if good:
        assert pair_recordings(one, two).alignment.lag_s == pytest.approx(apart + 1, abs=0.2)
        return
    message = refused(one, two)
    assert "which no time zone explains: the same workout, or the same course, on another day is alike too" in message
    allowed = pair_recordings(one, two, max_lag_s=apart + 60)  # a clock that was never set
    assert allowed.alignment.lag_s == pytest.approx(apart + 1, abs=0.2)
    assert facts(allowed, "pair_lag_unusual") or facts(allowed, "pair_zone")
    assert pair_recordings(record(road), record(noisy(road), apart)).alignment.lag_s > 0  # no dates, no days


def test_a_slow_device_with_dropouts_is_paired_with_its_ride(road):
    """Of 20 min 2 % of the seconds are 0, and four times 3 to 20 s: that was another ride, or a drift."""
    rng = np.random.default_rng(6)
    for begin in (0, 1200, 2400):
        x = road[begin:begin + 1200]
        y = lfilter([1 - np.exp(-1 / 4)], [1, -np.exp(-1 / 4)], x)
        y = np.where(rng.random(1200) < 0.02, 0, np.rint(y))
        for at in rng.integers(100, 1100, 4):
            y[at:at + int(rng.integers(3, 21))] = 0
        found = pair_recordings(record(x), record(y)).alignment
        assert abs(found.lag_s) < 4
        assert found.steps == ()


def test_a_drift_that_no_clock_has(road):
    y = np.interp(np.arange(road.size) * (1 - 2e-3), np.arange(road.size), road)
    assert "one of the recordings seems to lose seconds" in refused(record(road), record(y))
    one, two = (record(v, 1.6e9, "utc", start="2020-09-13T12:26:40Z") for v in (road, y))
    assert pair_recordings(one, two).alignment.drift_ppm == pytest.approx(2000, abs=60)


@pytest.mark.parametrize("seed", range(4))
def test_stops_of_a_few_seconds_are_steps_and_no_drift(road, seed):
    """Five stops of 3 to 7 s that the device does not count; its true error comes back."""
    rng = np.random.default_rng(seed)
    spots = np.sort(rng.choice([600, 1150, 1700, 2250, 2900, 3450, 4000], 5, replace=False))
    spots = [int(s + np.argmin(road[s:s + 120])) for s in spots]
    x, lost, added = road.copy(), [], 0
    for spot in spots:
        length = int(rng.integers(3, 8))
        x = np.insert(x, spot + added, np.zeros(length))
        added += length
        lost.append(length)
    y = np.where(road > 0, np.maximum(np.rint(0.98 * road + 5 * rng.standard_normal(road.size)), 0), 0)
    pairs = pair_recordings(record(x), record(y))
    assert [-step.step_s for step in pairs.alignment.steps] == pytest.approx(lost, abs=0.5)
    assert all(0 < step.se_s < 0.5 for step in pairs.alignment.steps)
    used = pairs.used
    assert 100 * (pairs.device[used].sum() / pairs.reference[used].sum() - 1) == pytest.approx(-2, abs=0.15)


# Equal intervals.

def intervals(rng, count=20, period=180):
    one = np.tile(np.where(np.arange(period) < period // 3, 320.0, 140.0), count)
    return np.maximum(np.rint(one + 2 * rng.standard_normal(one.size)), 0)


@pytest.mark.parametrize(("late", "good"), [(4.0, True), (44.0, False)])
def test_equal_intervals_are_paired_by_stamps(late, good):
    """The stamps must agree within 30 s, and a quarter of the 180 s to the next lag.

    Noise hides the rider's own changes, which would tell.
    """
    rng = np.random.default_rng(2)
    x = intervals(rng)
    y = np.maximum(np.rint(0.97 * x + 40 * rng.standard_normal(x.size)), 0)
    one = record(x, 1.6e9, "utc", start="2020-09-13T12:26:40Z")
    two = record(y, 1.6e9 + late, "utc", start="2020-09-13T12:26:44Z")
    assert "match at several lags" in refused(record(x), record(y, late))
    if not good:
        assert "match at several lags" in refused(one, two)
        return
    pairs = pair_recordings(one, two)
    assert pairs.alignment.lag_s == pytest.approx(late, abs=0.3)
    (fact,) = facts(pairs, "pair_stamps_decided")
    assert fact.severity == "trust"
    assert abs(abs(fact.values["rival_lag_s"] - late) - 180) <= 1
    assert "if a clock was wrong by an interval" in note_text(fact)


# Once each.

def test_each_stage_runs_once(road, monkeypatch):
    """In one pairing: files read once, the clock refined at most twice, faults looked for once a side."""
    from agree.faults import set_aside as stage
    from agree.pairing import match, pair
    calls = {}

    def counted(module, name, as_name=None):
        real = getattr(module, name)

        def wrapper(*args, **options):
            calls[as_name or name] = calls.get(as_name or name, 0) + 1
            return real(*args, **options)

        monkeypatch.setattr(module, name, wrapper)

    counted(match, "refine")
    counted(pair, "set_aside")
    counted(pair, "read_both")
    counted(pair, "to_grid")
    counted(pair, "lay_over")
    counted(stage, "find_faults")
    cadence = 80 + lfilter([0.3], [1, -0.9], np.random.default_rng(1).standard_normal(road.size)) * 5
    y = noisy(road)
    for other, steps in ((y, 0), (np.delete(y, np.r_[1500:1543]), 1)):
        calls.clear()
        seen = np.delete(cadence, np.r_[1500:1543]) if steps else cadence
        found = pair_recordings(record(road, cadence=cadence), record(other, cadence=seen))
        assert len(found.alignment.steps) == steps
        assert calls["refine"] <= 2
        assert calls.pop("refine") == 1
        assert calls.pop("find_faults") == 1  # both sides at once
        assert calls.pop("to_grid") == 2
        assert calls == {"set_aside": 1, "read_both": 1, "lay_over": 1}
