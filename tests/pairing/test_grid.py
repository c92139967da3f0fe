"""What a reading stands for: seconds left as they are, means over time, gaps."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agree import Recording
from agree.core.errors import InputError, SampleSizeError
from agree.pairing.grid import MAX_GAP_S, integrate, to_grid


def grid(time, power, **channels):
    return to_grid(Recording(time=time, power=power, **channels), "device")


def course(rng):
    """Band-limited power: 30 waves of 4 s and longer."""
    period, phase, height = rng.uniform(4, 120, 30), rng.uniform(0, 7, 30), rng.uniform(0, 20, 30)
    return lambda t: 250 + (height * np.cos(2 * np.pi * np.asarray(t)[:, None] / period + phase)).sum(axis=1)


# Every second.

def test_readings_every_second_are_left_as_they_are():
    power = np.random.default_rng(1).integers(0, 900, 300).astype(float)
    assert np.array_equal(grid(np.arange(300.0), power).power, power)


@pytest.mark.parametrize("jitter", [0.03, 0.2, 0.3])
def test_jitter_makes_no_gaps(jitter):
    rng = np.random.default_rng(1)
    power = rng.integers(0, 400, 500).astype(float)
    found = grid(np.arange(500) + 1 + rng.uniform(-jitter, jitter, 500), power)
    assert np.array_equal(found.power, power)
    assert found.first == pytest.approx(1.0, abs=0.1)
    assert found.note == ""


def test_missing_seconds_and_blanks_stay_missing():
    keep = np.r_[0:40, 43:100, 101:150]
    power = np.where(keep == 60, np.nan, 200.0)
    assert np.flatnonzero(np.isnan(grid(keep, power).power)).tolist() == [40, 41, 42, 60, 100]


def test_readings_with_one_stamp_are_averaged():
    assert grid(np.repeat(np.arange(80.0), 2), np.tile([100.0, 200.0], 80)).power.tolist() == [150] * 80
    uneven = np.cumsum(np.random.default_rng(2).uniform(0.2, 1.8, 200))
    power = np.random.default_rng(3).uniform(0, 400, 200)
    twice = grid(np.repeat(uneven, 2), np.repeat(power, 2) + np.tile([-7.0, 7.0], 200))
    assert twice.power == pytest.approx(grid(uneven, power).power, nan_ok=True)


# Faster.

@pytest.mark.parametrize("begin", [0.0, 1.6e9 + 0.3])
def test_four_readings_a_second_are_averaged(begin):
    power = np.random.default_rng(4).integers(0, 900, 400).astype(float)
    found = grid(begin + 0.25 * np.arange(400), power)
    means = power.reshape(-1, 4).mean(axis=1)
    assert found.power == pytest.approx(means, abs=1e-3)  # stamps of today are good to 0.2 us
    assert found.first == pytest.approx(begin + 0.375, abs=1e-5)
    assert "every 0.25 s" in found.note
    slow = grid(found.first + np.arange(100), means)
    assert slow.power == pytest.approx(found.power, abs=1e-3)
    assert slow.first == pytest.approx(found.first, abs=1e-5)


@pytest.mark.parametrize("step", [0.1, 0.3, 0.8, 1.003])
def test_even_steps_keep_energy(step):
    power = np.random.default_rng(5).uniform(0, 900, 2000)
    means, covered = integrate(step / 2 + step * np.arange(2000), power, int(np.ceil(2000 * step)), step)
    assert covered[:-1] == pytest.approx(1)
    assert np.nansum(means * covered) == pytest.approx(step * power.sum(), rel=1e-3 / step)  # but for the last second
    assert (np.isnan(means) == (covered < 0.5)).all()


def test_lost_readings_of_a_fast_recording():
    time = np.delete(0.25 * np.arange(400), np.r_[40, 80:82, 120:123])  # 1, 2 and 3 of the 4 of a second
    found = grid(time, time)
    assert np.flatnonzero(np.isnan(found.power)).tolist() == [30]
    assert found.power[10] == pytest.approx(np.mean([10.25, 10.5, 10.75]))


# Uneven.

@given(st.integers(0, 10**6), st.floats(0.3, 1.9))
@settings(max_examples=60, deadline=None)
def test_uneven_readings_keep_the_integral_of_their_line(seed, longest):
    rng = np.random.default_rng(seed)
    inner = np.cumsum(rng.uniform(0.05, longest, int(240 / longest)))
    end = float(np.ceil(inner[-1]))
    time = np.unique(np.r_[0.0, inner, end])
    power = course(rng)(time)
    found = grid(time, power)
    assert found.power.size == end
    assert found.power.sum() == pytest.approx(np.trapezoid(power, time), rel=1e-12)
    extra = np.sort(np.r_[time, rng.uniform(0, end, 100)])  # on the line, they tell nothing new
    again = grid(extra, np.interp(extra, time, power))
    assert again.power == pytest.approx(found.power, rel=1e-9)
    assert again.first == found.first


def test_uneven_readings_of_a_smooth_course_give_its_means():
    rng = np.random.default_rng(6)
    power = course(rng)
    time = np.r_[0.0, np.cumsum(rng.uniform(0.05, 0.5, 2000))]
    fine = np.arange(500_000) / 1000 + 0.0005
    assert grid(time, power(time)).power[:500] == pytest.approx(power(fine).reshape(500, 1000).mean(axis=1), abs=4)


def test_whole_second_stamps_with_holes_keep_their_seconds():
    rng = np.random.default_rng(7)
    time = np.r_[0.0, np.cumsum(rng.choice([1.0, 2.0, 3.0], 300, p=[0.6, 0.3, 0.1]))]
    found = grid(time, 2 * time)
    assert found.first == 0
    apart = np.diff(time)
    inside = np.concatenate([np.arange(a + 1, b) for a, b in pairwise(time) if b - a > 2])
    assert np.isnan(found.power[inside.astype(int)]).all()
    kept = np.isfinite(found.power)
    edge = np.isin(np.arange(found.power.size), np.r_[time[:-1][apart > 2], time[1:][apart > 2], 0, time[-1]])
    assert found.power[kept & ~edge] == pytest.approx(2 * np.flatnonzero(kept & ~edge))
    assert "2 s apart" in found.note


def test_readings_every_2_s_are_joined_but_not_over_gaps():
    keep = np.r_[0:100:2, 110:200:2].astype(float)
    found = grid(keep + 0.05 * np.sin(keep), 10 * (keep + 0.05 * np.sin(keep)))
    assert found.power[1:98] == pytest.approx(10 * np.arange(1, 98), abs=0.01)
    assert np.isnan(found.power[99:110]).all()
    assert "at the seconds at which one comes" in found.note


@pytest.mark.parametrize(("gap", "bridged"), [(MAX_GAP_S, True), (2.15, True), (2.3, False), (5.0, False)])
def test_longest_gap(gap, bridged):
    rng = np.random.default_rng(8)
    time = np.cumsum(rng.uniform(0.2, 1.8, 300))
    time[150:] += gap - (time[150] - time[149])
    found = grid(time, np.full(300, 200.0))
    assert np.isfinite(found.power[:-1]).all() == bridged
    assert np.nanmin(found.power) == np.nanmax(found.power)


def test_blank_rows_of_another_sensor_do_not_part_the_line():
    time = np.arange(0, 200, 0.5)
    other = np.arange(400) % 3 == 0
    found = grid(time, np.where(other, np.nan, time), cadence=np.where(other, 80 + 0 * time, np.nan))
    assert found.power[1:-1] == pytest.approx(found.first + np.arange(1, found.power.size - 1))
    assert np.nanmax(np.abs(found.cadence - 80)) < 1e-9


# Channels, refusals.

def test_channels_come_along():
    t = np.arange(100.0)
    found = grid(t, t, speed=t / 10, temperature=np.where(t == 3, np.nan, 20))
    assert found.cadence is None
    assert found.speed.tolist() == (t / 10).tolist()
    assert np.flatnonzero(np.isnan(found.temperature)).tolist() == [3]
    fast = grid(t / 4, t, speed=t / 10)
    assert fast.speed == pytest.approx(fast.power / 10)


@pytest.mark.parametrize(("time", "kind", "words"), [
    (np.arange(100.0) * 5, InputError, "a reading every 5 s"), (np.arange(100.0) * 2.4, InputError, "every 2.4 s"),
    (np.r_[np.arange(99.0), 8 * 86400], InputError, "spans 8.0 days"),
    (np.r_[np.arange(50.0), np.arange(50.0)], InputError, "stamps that go back"),
    (np.arange(50.0), SampleSizeError, "holds 50 power readings")])
def test_refusals(time, kind, words):
    with pytest.raises(kind, match=words):
        grid(time, np.arange(float(time.size)))
