"""A device that loses a fifth of its seconds, one by one: its zeros are dropouts, its mean is that of the rest."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.core.thresholds import STOPS_CHANCE_SD
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter
from agree.faults.detect import find_faults
from agree.faults.set_aside import set_aside

RIDE = Path(__file__).parent.parent / "data" / "rides" / "single-road-stops.csv"


def error_of_mean(x, y, zeroed):
    """Error of the mean that faults make, in points, and the share of zeros amid work that are dropouts."""
    made = set_aside(x, zeroed)
    used = made.reason == ""
    u, v = made.matched.reference[used], made.matched.device[used]
    lost = (zeroed == 0) & (x > 100)
    found = np.char.equal(made.reason, "device_dropout")
    return 100 * (v.sum() / u.sum() - y.sum() / x.sum()), found[lost].mean()


def test_zeros_of_a_noisy_device_beside_a_steady_reference_are_no_stops_that_it_smears():
    rng = np.random.default_rng(0)
    x = np.rint(250 + lfilter([1], [1, -0.9], rng.normal(0, 6, 3600)))
    y = np.rint(x + rng.normal(0, 6, x.size))
    wrong, share = error_of_mean(x, y, np.where(rng.random(x.size) < 0.2, 0.0, y))
    assert abs(wrong) < 0.15
    assert share > 0.99


def test_a_slow_response_is_found_among_many_zeros_and_stops():
    """The first fit, with a fifth of the readings hidden, is too rough to find all of them."""
    rng = np.random.default_rng(1)
    x = np.rint(200 + 60 * np.sin(np.arange(1800) / 40) + lfilter([1], [1, -0.7], rng.normal(0, 18, 1800)))
    for start in range(60, 1700, 75):
        x[start:start + 10] = 0
    slow = lfilter([1 - np.exp(-1 / 4)], [1, -np.exp(-1 / 4)], x)
    y = np.rint(slow + rng.normal(0, 4, x.size) * (slow > 12))
    wrong, share = error_of_mean(x, y, np.where(rng.random(x.size) < 0.2, 0.0, y))
    assert abs(wrong) < 0.3
    assert share > 0.99


@pytest.mark.parametrize("tau", [0.0, 4.0])
def test_zeros_strewn_over_a_ride_with_many_stops_are_not_how_the_device_stops(tau):
    rng = np.random.default_rng(4)
    with RIDE.open(encoding="utf-8") as file:
        x = np.array([float(row["power_W"] or 0) for row in csv.DictReader(file)])
    decay = np.exp(-1 / tau) if tau else 0.0
    y = np.rint(np.maximum(lfilter([1 - decay], [1, -decay], x) + rng.normal(0, 3, x.size) * (x > 0), 0))
    wrong, share = error_of_mean(x, y, np.where(rng.random(x.size) < 0.2, 0.0, y))
    assert abs(wrong) < 0.15
    assert share > 0.99


def test_stops_of_a_smeared_reference_are_still_stops():
    """Many zeros of 1 s that the sharper trace truly has, and the smoother one smears."""
    rng = np.random.default_rng(5)
    y = np.rint(240 + lfilter([0.05], [1, -0.95], rng.normal(0, 30, 3600)) + rng.normal(0, 20, 3600))
    y[rng.random(y.size) < 0.05] = 0
    x = np.rint(np.convolve(y, np.ones(5) / 5)[:y.size])
    made = set_aside(x, y)
    assert not np.char.endswith(made.reason, "dropout").any()


@pytest.mark.parametrize("more", [0, 1])
def test_zeros_at_stops_are_judged_by_what_those_elsewhere_bring_by_chance(more):
    """Stops show by chance 2 x stops x share zeros; three standard deviations above that, it is how the two stop."""
    x = np.tile(np.r_[np.full(96, 200.0), np.zeros(4)], 40)
    x += np.random.default_rng(6).normal(0, 2, x.size) * (x > 0)
    y = x.copy()
    inside = 50 + 100 * np.arange(40)
    inside = np.concatenate([inside + 5 * k for k in range(-8, 8)])[:600]
    y[inside] = 0
    chance = 2 * 40 * inside.size / (x > 15).sum()
    most = int(chance + STOPS_CHANCE_SD * np.sqrt(chance))
    assert most > 0.25 * 40
    y[95 + 100 * np.arange(most + more)] = 0
    found = find_faults(x, y, Filter(Kernel(0, np.ones(1)), "device", None)).reason == "device_dropout"
    assert found[95] != bool(more)


@pytest.mark.parametrize(("share", "found"), [(0.011, True), (0.009, False)])
def test_single_halves_are_partial_readings_where_they_are_strewn_over_a_hundredth_of_the_work(share, found):
    """GROSS_ZEROS, 1 %: a single half is a reading."""
    x = np.rint(200 + np.random.default_rng(7).normal(0, 8, 4000))
    half = np.linspace(50, 3950, round(share * x.size)).astype(int)
    y = x.copy()
    y[half] = np.rint(x[half] / 2)
    reason = find_faults(x, y, Filter(Kernel(0, np.ones(1)), "device", None)).reason
    assert (reason[half] == "device_partial").mean() == found
    assert set(np.delete(reason, half)) == {""}
