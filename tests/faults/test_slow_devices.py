"""Slow devices are not blamed, nor is the reference; a response that no filter describes is said to be so."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from agree import check_claim, pair_recordings, response_difference

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
