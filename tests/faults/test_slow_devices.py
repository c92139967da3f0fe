"""Slow devices are not blamed, nor is the reference; a response that no filter describes is said to be so."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from agree import check_claim, pair_recordings, response_difference
from agree.faults.late_start import late_starts
from agree.faults.view import View

RIDE = Path(__file__).parent.parent / "data" / "rides" / "single-road-stops.csv"


@pytest.fixture(scope="module")
def true():
    rows = pd.read_csv(RIDE)
    power = np.zeros(int(rows["time_s"].iloc[-1] - rows["time_s"].iloc[0]) + 1)
    power[(rows["time_s"] - rows["time_s"].iloc[0]).to_numpy(int)] = np.nan_to_num(rows["power_W"])
    return power


def frame(power):
    return pd.DataFrame({"time_s": np.arange(power.size), "power_W": power})


def slow(power, tau, scale=1.0):
    keep = np.exp(-1 / tau)
    return np.rint(scale * lfilter([1 - keep], [1, -keep], power))


@pytest.mark.parametrize(("scale", "answer"), [(1.0, "holds"), (0.95, "does not hold")])
def test_a_lag_of_4_s_neither_moves_the_answer_nor_makes_faults(true, scale, answer):
    pairs = pair_recordings(frame(true), frame(slow(true, 4.0, scale)))
    assert not [one.kind for one in pairs.faults]
    assert pairs.matched.size_s == pytest.approx(4, abs=0.1)
    check = check_claim(pairs, "1.5 %")
    assert check.verdict == answer
    assert check.bias.value == pytest.approx(100 * (scale - 1), abs=0.15)


def test_readings_stay_as_recorded_so_that_a_slow_device_does_not_pass_for_a_fast_one(true):
    pairs = pair_recordings(frame(true), frame(slow(true, 4.0)))
    apart = np.std((pairs.device - pairs.reference)[pairs.recorded])
    assert apart > 5 * np.std((pairs.matched_device - pairs.matched_reference)[pairs.used])


@pytest.mark.parametrize(("kind", "fits"), [("lag", True), ("slow at low power", False)])
def test_a_response_that_no_kind_of_filter_describes_is_said_to_be_so(true, kind, fits):
    rng = np.random.default_rng(2)
    device = slow(true, 4.0) if kind == "lag" else np.where(true < 150, slow(true, 6.0), true)
    found = response_difference(true + rng.normal(0, 2, true.size), device + rng.normal(0, 2, true.size))
    assert found.fits is fits
    assert (found.misfit <= 1.8) is fits


def of_the_road(seed):
    """Half an hour, invented: power that wanders, and a coasting of some seconds every two minutes."""
    rng = np.random.default_rng(seed)
    power = 190 + sum(lfilter([sd * np.sqrt(1 - np.exp(-2 / tau))], [1, -np.exp(-1 / tau)], rng.normal(size=1800))
                      for tau, sd in ((60, 60), (5, 45)))
    at = 0
    while at < power.size:
        at += int(rng.exponential(100)) + 15
        length = int(rng.exponential(9)) + 2
        power[at:at + length] = 0
        at += length
    cadence = lfilter([1.0], [1, -0.97], rng.normal(0, 0.6, power.size)) + 85
    return rng, np.where(power < 15, 0, power), np.where(power < 15, 0, cadence)


@pytest.mark.parametrize(("width", "swapped"), [(30, False), (45, True), (60, False)])
def test_coasting_beside_a_mean_over_half_a_minute_and_more_is_no_dropout(width, swapped):
    rng, power, cadence = of_the_road(2)
    sharp = np.rint(np.where(power > 0, np.maximum(power + rng.normal(0, 3, power.size), 1), 0))
    smooth = np.rint(lfilter(np.ones(width) / width, [1], power) + rng.normal(0, 1, power.size).clip(-3, 3)).clip(0)
    rows = [frame(one).assign(cadence_rpm=np.rint(cadence)) for one in (sharp, smooth)]
    pairs = pair_recordings(*rows[::-1] if swapped else rows)
    assert not [one.kind for one in pairs.faults]
    assert (pairs.matched.kind, round(pairs.matched.size_s)) == ("running mean", width)
    check = check_claim(pairs, "2 %")
    assert check.verdict == "holds"
    assert check.bias.value == pytest.approx(0, abs=0.15)


@pytest.mark.parametrize("tau", [40])
def test_a_lag_of_many_seconds_is_found(true, tau):
    rng = np.random.default_rng(3)
    pairs = pair_recordings(frame(true), frame(slow(true + rng.normal(0, 4, true.size), tau)))
    assert not [one.kind for one in pairs.faults]
    assert pairs.matched.size_s == pytest.approx(tau, rel=0.2)
    found = pairs.used
    error = float((pairs.matched_device - pairs.matched_reference)[found].sum() / pairs.matched_reference[found].sum())
    assert error == pytest.approx(0, abs=0.0015)


def test_a_mean_that_repeats_a_value_at_the_start_is_not_frozen():
    """A mean over 40 s, of which the first seconds hang on what was before them: one value for 12 s."""
    usual = np.full(400, 150.0) + 40 * np.sin(np.arange(400) / 9)
    y = np.where(np.arange(400) < 12, 82.0, usual)
    one = View("device", y, usual, usual, np.ones(400, bool), usual, None, 1.0, (0, 30))
    assert late_starts(one).any()
    assert not late_starts(replace(one, inside=np.arange(400) >= 12)).any()
