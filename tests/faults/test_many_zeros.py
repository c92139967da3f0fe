"""A device that loses a fifth of its seconds, one by one: its zeros are dropouts, its mean is that of the rest."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.core.thresholds import STOPS_CHANCE_SD
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter
from agree.faults.claim import Claim
from agree.faults.detect import find_faults
from agree.faults.dropout import dropouts
from agree.faults.set_aside import set_aside
from agree.faults.view import View, views

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
    most = int(chance + STOPS_CHANCE_SD * np.sqrt(chance) + (STOPS_CHANCE_SD ** 2 - 1) / 6)
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


def test_zeros_beside_a_smoothed_reference_are_no_error_of_its_scale():
    """A trace with three zeros in ten is low as a whole; what it reads between them tells its scale."""
    rng = np.random.default_rng(1)
    true = 200 + 60 * np.sin(np.arange(1800) / 40) + lfilter([1], [1, -0.7], rng.normal(0, 18, 1800))
    x = np.rint(np.convolve(true, np.ones(3) / 3)[:1800] + rng.normal(0, 3, 1800))
    y = np.rint(true + rng.normal(0, 3, 1800))
    wrong, share = error_of_mean(x, y, np.where(rng.random(1800) < 0.3, 0.0, y))
    assert abs(wrong) < 1.0
    assert share > 0.9


def test_zeros_that_noise_of_25_w_hides_one_by_one_lack_their_energy_together():
    rng = np.random.default_rng(2)
    true = 200 + 60 * np.sin(np.arange(1800) / 40) + lfilter([1], [1, -0.7], rng.normal(0, 18, 1800))
    x, y = (np.rint(np.maximum(true + rng.normal(0, 25, 1800), 1)) for _ in range(2))
    wrong, share = error_of_mean(x, y, np.where(rng.random(1800) < 0.05, 0.0, y))
    assert abs(wrong) < 0.5
    assert share > 0.9


@pytest.mark.parametrize(("lack", "error", "number", "found"), [
    pytest.param(121.0, 1.0, 20, 20, id="CLAIM_SHARE"), pytest.param(119.0, 1.0, 20, 0, id="CLAIM_SHARE"),
    pytest.param(150.0, 165.0, 20, 20, id="CLAIM_ERRORS"), pytest.param(150.0, 170.0, 20, 0, id="CLAIM_ERRORS"),
    pytest.param(150.0, 100.0, 11, 11, id="GROSS_ZEROS"), pytest.param(150.0, 100.0, 10, 0, id="GROSS_ZEROS")])
def test_what_zeros_must_lack_together(lack, error, number, found, monkeypatch):
    """Of 1000 s of 200 W: 20 zeros of 150 W s each with an error of 165 W s lack 4.07 errors of their sum."""
    usual = np.full(1000, 200.0)
    y = usual.copy()
    y[20:20 + 40 * number:40] = 0.0
    monkeypatch.setattr(View, "weigh", lambda self, spans, claims, at, tails=False: [
        Claim(*span, claim, lack, max(error, 1.0), 0.0, 0.0, error) for span, claim in zip(spans, claims, strict=True)])
    monkeypatch.setattr(Claim, "holds", False)
    assert len(dropouts(View("device", y, usual, usual, np.ones(1000, bool), usual, None, 1.0, (0, 0)))) == found


@pytest.mark.parametrize("seed", [1, 2])
def test_the_usual_ratio_is_not_that_of_the_few_seconds_without_a_stop(seed):
    """A slow device on a ride of short stops, with one stretch of 100 s without any, in which it reads half."""
    rng = np.random.default_rng(seed)
    x = np.rint(200 + 40 * np.sin(np.arange(1800) / 40) + rng.normal(0, 15, 1800))
    for start in range(0, 1800, 25):
        if not 900 <= start < 1000:
            x[start:start + 8] = 0
    y = np.rint(np.maximum(lfilter([1 - np.exp(-1 / 4)], [1, -np.exp(-1 / 4)], x) + rng.normal(0, 2, 1800), 0))
    half = y.copy()
    half[905:1000] = np.rint(half[905:1000] / 2)
    made = Filter(Kernel(0, (1 - np.exp(-1 / 4)) * np.exp(-np.arange(20) / 4)), "device", None)
    assert views(x, half, made)["device"].ratio == pytest.approx(1, abs=0.03)
