"""Claims on a sharp trace beside a slow one, weighed together: stops neither hide dropouts nor are taken for them."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter
from agree.faults import view
from agree.faults.claim import Claim
from agree.faults.detect import find_faults
from agree.faults.dropout import dropouts
from agree.faults.view import View, views

RIDE = Path(__file__).parent.parent / "data" / "rides" / "single-road-stops.csv"
LAG = 1 - np.exp(-1 / 20)
SLOW = Kernel(0, LAG * (1 - LAG) ** np.arange(120))


@pytest.fixture(scope="module")
def pair():
    """A real ride, twice with noise, and what a lag of 20 s shows of it."""
    rows = pd.read_csv(RIDE)
    second = (rows["time_s"] - rows["time_s"].iloc[0]).to_numpy(int)
    true = np.zeros(second[-1] + 1)
    true[second] = np.nan_to_num(rows["power_W"])
    rng = np.random.default_rng(4)
    sharp = np.where(true > 0, np.maximum(true + rng.normal(0, 5, true.size), 1), 0)
    return sharp, lfilter([LAG], [1, LAG - 1], true) + rng.normal(0, 4, true.size)


def test_dropouts_beside_a_slow_trace_are_told_from_stops(pair):
    sharp, smooth = pair[0].copy(), pair[1]
    assert not dropouts(views(sharp, smooth, Filter(SLOW, "device", None))["reference"])
    lost = [(start, start + 8) for start in (620, 1000, 1680, 2660, 3220)]
    for start, stop in lost:
        assert (sharp[start:stop] > 0).all()
        sharp[start:stop] = 0
    found = dropouts(views(sharp, smooth, Filter(SLOW, "device", None))["reference"])
    assert [(claim.start, claim.stop) for claim in found] == lost


def of_a_slow_trace(reach, energy):
    """200 W, with four seconds of 0 in the middle, of which the slow trace shows an energy, W s."""
    y, usual = np.full(400, 200.0), np.full(400, 200.0)
    y[200:204] = 0
    by = Kernel(0, np.full(20, 0.05))
    made = lfilter(by.weights, [1], y - 200) * (1 - energy / 800) + 200
    return View("reference", y, usual, usual, np.ones(400, bool), made + 0.1 * np.tile([1.0, -1.0], 200), by, 1.0,
                (0, reach))


@pytest.mark.parametrize(("energy", "lacks"), [
    pytest.param(1500, True, id="CLAIM_MOST"), pytest.param(1700, False, id="CLAIM_MOST")])
def test_more_than_a_claim_is_something_else(energy, lacks):
    [claim] = of_a_slow_trace(15, energy).weigh([(200, 204)], [800.0], np.zeros(400, bool))
    assert claim.lacks == lacks


@pytest.mark.parametrize(("reach", "together"), [
    pytest.param(11, False, id="SLOW_REACH_S"), pytest.param(12, True, id="SLOW_REACH_S")])
def test_a_filter_so_slow_that_claims_are_weighed_together(reach, together):
    [claim] = of_a_slow_trace(reach, 800).weigh([(200, 204)], [800.0], np.zeros(400, bool))
    assert claim.even == together


@pytest.mark.parametrize(("budget", "error", "may"), [
    pytest.param(51.0, 16.0, True, id="CLAIM_EVEN"), pytest.param(49.0, 16.0, False, id="CLAIM_EVEN"),
    pytest.param(61.0, 20.0, True, id="CLAIM_EVEN"), pytest.param(59.0, 20.0, False, id="CLAIM_EVEN")])
def test_as_likely_true_as_not(budget, error, may):
    claim = Claim(0, 1, 100.0, budget, error, 0.0, budget, error)
    assert claim._replace(even=True).may == may
    assert claim.may


def test_a_burst_beside_a_quarter_of_its_power_is_no_spike(pair):
    """The bursts of a sprint, 600 W and more, while the device shows a quarter of them, smeared by a lag of 2.5 s."""
    share = 1 - np.exp(-1 / 2.5)
    by = Kernel(0, share * (1 - share) ** np.arange(16))
    smooth = lfilter([share], [1, share - 1], pair[0]) + np.random.default_rng(5).normal(0, 2, pair[0].size)
    smooth[3256:3306] *= 0.25
    assert pair[0][3256:3306].max() > 600
    found = find_faults(pair[0], smooth, Filter(by, "device", None)).found
    assert {one.reason for one in found} == {"device_partial"}
    assert sum(one.stop - one.start for one in found) == 50


def test_a_value_that_a_quarter_of_the_power_repeats_is_not_held():
    """Of a 10-s mean of some 260 W a quarter is 64 to 67 W in whole watts: eight times 66 W by chance."""
    rng = np.random.default_rng(3)
    power = 220 + 60 * np.sin(np.arange(1500) / 70) + lfilter([1], [1, -0.7], rng.normal(0, 14, 1500))
    smooth = np.rint(lfilter(np.full(10, 0.1), [1], power) + rng.normal(0, 3, 1500))
    part = slice(780, 900)
    smooth[part] = np.rint(0.25 * smooth[part])
    smooth[806:820] = smooth[806]
    found = find_faults(power, smooth, Filter(Kernel(0, np.full(10, 0.1)), "device", None)).found
    assert [(one.reason, one.start, one.stop) for one in found] == [("device_partial", 780, 900)]


# KNOWN_WEIGHT
def test_what_a_filter_foretells_beside_the_start(monkeypatch):
    """Of a mean over 30 s the 29th second holds 29 parts, the 28th one part less."""
    compared = {}
    monkeypatch.setattr(view, "borne_out", lambda rest, spans, *_: compared.update(rest=rest) or [(0.0, 1.0)])
    one = of_a_slow_trace(29, 800)
    replace(one, kernel=Kernel(0, np.full(30, 1 / 30))).weigh([(200, 204)], [800.0], np.zeros(400, bool))
    assert np.isfinite(compared["rest"][27:30]).tolist() == [False, True, True]
