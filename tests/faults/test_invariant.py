"""A faultless device keeps its mean error, whatever seconds are left out by a rule that the true effort makes."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from agree import pair_recordings

RIDES = Path(__file__).parent.parent / "data" / "rides"
SCALE = 0.99
NOISE_W = 0.5  # so that a third of the seconds tells 0.1 points from noise: their mean errs by 0.02


def ride(name):
    rows = pd.read_csv(RIDES / f"{name}.csv")
    power = np.zeros(int(rows["time_s"].iloc[-1] - rows["time_s"].iloc[0]) + 1)
    power[(rows["time_s"] - rows["time_s"].iloc[0]).to_numpy(int)] = np.nan_to_num(rows["power_W"])
    return power


def lag(power, tau):
    keep = np.exp(-1 / tau)
    return lfilter([1 - keep], [1, -keep], power)


FILTERS = {"instant": lambda x: x, "3-s mean": lambda x: lfilter(np.ones(3) / 3, [1], x),
           "10-s mean": lambda x: lfilter(np.ones(10) / 10, [1], x), "lag 2.5 s": lambda x: lag(x, 2.5),
           "lag 4 s": lambda x: lag(x, 4.0)}
MADE = {}


def made(filtered, swapped):
    """Columns of the matched pair, and the true effort at its seconds."""
    if (filtered, swapped) not in MADE:
        rng = np.random.default_rng(11)
        true = ride("single-road-stops")
        x = np.rint(np.where(true > 0, np.maximum(true + rng.normal(0, NOISE_W, true.size), 1), 0))
        y = SCALE * FILTERS[filtered](true)
        y = np.rint(np.where(y >= 0.5, np.maximum(y + rng.normal(0, NOISE_W, true.size), 0), 0))
        frames = [pd.DataFrame({"time_s": np.arange(true.size), "power_W": power}) for power in (x, y)]
        pairs = pair_recordings(*(frames[::-1] if swapped else frames))
        assert not [one.kind for one in pairs.faults]
        u, v = pairs.matched_reference, pairs.matched_device
        # Place of each second on the ride's own clock: the sharper trace has no delay.
        place = np.rint(pairs.time).astype(int) + (max(int(np.floor(pairs.alignment.lag_s + 0.5)), 0) if swapped else 0)
        MADE[filtered, swapped] = (*((v, u) if swapped else (u, v)), pairs.used, true[np.clip(place, 0, true.size - 1)])
    return MADE[filtered, swapped]


def masks(true):
    """Rules on the true effort: tails of stops, the top, the bottom, fast changes, blocks of time."""
    stop = true == 0
    after = sum(np.r_[np.zeros(k, bool), stop[:-k]] for k in range(1, 11)) > 0
    ridden = true[true > 0]
    change = np.abs(np.gradient(true))
    yield "no tails", ~stop
    yield "no tails nor starts", ~(stop | after)
    yield "top third", true >= np.quantile(true, 0.66)
    yield "without the top tenth", true < np.quantile(ridden, 0.9)
    yield "steady", change <= np.quantile(change, 0.5)
    yield "changing", change >= np.quantile(change, 0.5)
    yield "first third", np.arange(true.size) < true.size / 3


@pytest.mark.parametrize("swapped", [False, True], ids=["device slow", "reference slow"])
@pytest.mark.parametrize("filtered", list(FILTERS))
def test_no_mask_of_the_true_effort_moves_the_mean(filtered, swapped):
    u, v, used, true = made(filtered, swapped)
    bias = 100 * (v - u)[used].sum() / u[used].sum()
    assert bias == pytest.approx(100 * (SCALE - 1), abs=0.15)
    for name, mask in masks(true):
        kept = used & mask
        if kept.sum() >= used.sum() / 3:
            assert 100 * (v - u)[kept].sum() / u[kept].sum() == pytest.approx(bias, abs=0.1), name


@settings(max_examples=40, deadline=None)
@given(filtered=st.sampled_from(list(FILTERS)), swapped=st.booleans(), low=st.floats(0, 400), width=st.floats(30, 900),
       late=st.integers(-10, 10), length=st.integers(1, 60))
def test_no_band_of_the_true_effort_moves_the_mean(filtered, swapped, low, width, late, length):
    u, v, used, true = made(filtered, swapped)
    shifted = np.roll(np.convolve(true, np.ones(length) / length, "same"), late)
    kept = used & (shifted >= low) & (shifted <= low + width)
    if kept.sum() >= used.sum() / 3:
        bias = 100 * (v - u)[used].sum() / u[used].sum()
        assert abs(100 * (v - u)[kept].sum() / u[kept].sum() - bias) <= 0.1
