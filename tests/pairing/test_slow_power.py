"""Power that one device averages comes behind cadence; a cadence that power does not go with decides nothing."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from agree import Recording
from agree.core.errors import MatchError
from agree.core.thresholds import LEAST_EXPLAINED, LEAST_SLOW, MOST_MEAN_S
from agree.pairing.clocks import clock
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.smoothness import alike, made_even, running_mean
from agree.pairing.grid import Grid, to_grid
from agree.pairing.match import match
from agree.pairing.refusal import OtherRide, accept
from agree.pairing.same_ride import programme
from agree.pairing.same_ride.programme import behind_cadence, of_cadence, shared
from agree.pairing.slow_jumps import ways_without_jumps
from agree.pairing.slow_power import behind, response_explains

RIDES = Path(__file__).parent.parent / "data" / "rides"


@pytest.fixture(scope="module")
def ride():
    table = pd.read_csv(RIDES / "pair-1-bike.csv")
    return table["power_W"].to_numpy(float)[:2400], table["cadence_rpm"].to_numpy(float)[:2400]


def grid(power, cadence, begin=0.0):
    return to_grid(Recording(time=begin + np.arange(power.size), power=power, cadence=cadence), "device")


def mean(power, width, noise=2.0, seed=1):
    slow = lfilter(np.ones(width) / width, [1], power)
    return np.rint(np.maximum(slow + noise * np.random.default_rng(seed).standard_normal(power.size) * (slow > 0), 0))


@pytest.mark.parametrize("width", [3, 10, 25, 30, 45, 60])
@pytest.mark.parametrize("slow", ["device", "reference"])
def test_a_mean_is_late_behind_cadence(ride, width, slow):
    power, cadence = ride
    sharp, averaged = grid(power, cadence), grid(mean(power, width), cadence)
    pair, sign = ((sharp, averaged), 1) if slow == "device" else ((averaged, sharp), -1)
    made = match(*pair, None, None, False)
    assert made.fine.lag == pytest.approx(sign * (width - 1) / 2, abs=0.7)
    assert [(w.channel, w.agrees) for w in made.witnesses] == [("cadence", True)]
    assert made.witnesses[0].lag_s == pytest.approx(0, abs=0.05)
    assert not [note for note in made.notes if note.kind == "pair_witness_differs"]


@pytest.mark.parametrize("lag", [1.5, 8.0])
def test_a_first_order_lag_is_late_behind_cadence(ride, lag):
    power, cadence = ride
    keep = np.exp(-1 / lag)
    slow = np.rint(lfilter([1 - keep], [1, -keep], power))
    made = match(grid(power, cadence), grid(slow, cadence), None, None, False)
    assert made.witnesses[0].agrees
    assert made.witnesses[0].lag_s == pytest.approx(0, abs=0.05)


def test_a_delay_alone_is_no_mean(ride):
    power, cadence = ride
    with pytest.raises(MatchError, match="power and cadence match at different lags"):
        match(grid(power, cadence), grid(np.r_[np.zeros(15), power[:-15]], cadence), None, None, False)


@pytest.mark.parametrize("other", ["minutes permuted", "noise", "noise on the device", "another ride", "backwards"])
def test_the_same_cadence_does_not_make_one_ride(ride, other):
    """Power must match at the lag of cadence by the rule that holds without it."""
    power, cadence = ride
    rng = np.random.default_rng(4)
    order = (rng.permutation(40)[:, None] * 60 + np.arange(60)).ravel()
    wrong = {"minutes permuted": power[order], "backwards": power[::-1],
             "noise": np.maximum(power + 400 * rng.standard_normal(power.size), 0),
             "noise on the device": power * np.exp(1.2 * rng.standard_normal(power.size)),
             "another ride": pd.read_csv(RIDES / "single-road-78min.csv")["power_W"].to_numpy(float)[:2400]}[other]
    with pytest.raises(MatchError):
        match(grid(power, cadence), grid(np.rint(wrong), cadence), None, None, False)


# Limits.

def test_the_longest_mean(ride):
    power = ride[0]
    for width, explained in ((MOST_MEAN_S, True), (MOST_MEAN_S + 2, False)):
        late = (width - 1) // 2
        y = running_mean(np.r_[np.full(late, power[0]), power[:-late]], width)
        assert response_explains(Grid(0.0, power), Grid(0.0, y), late, 0.0) == explained


def test_a_mean_of_another_width_does_not_explain_the_lag(ride):
    """LEAST_EXPLAINED: likeness by the mean that explains the lag, as a share of the best."""
    power = ride[0]
    y = mean(power, 21)
    x, y = Grid(0.0, power), Grid(0.0, y)
    best = alike(*made_even(x.power, y.power, 10), 10)
    said = []
    for late in range(4, 22):
        share = alike(running_mean(power, 2 * late + 1), y.power, 10) / best
        said.append(share >= LEAST_EXPLAINED)
        assert response_explains(x, y, 10.0, 10.0 - late) == said[-1]
    assert 0 < sum(said) < len(said)


def test_a_mean_is_found_where_it_makes_power_alike(ride):
    """LEAST_SLOW: noise makes power less alike, on both sides of the limit."""
    power = ride[0]
    said = []
    for noise in (2, 40, 60, 80, 120):
        y = mean(power, 41, noise)
        likeness = alike(running_mean(power, 41), y, 20)
        slow = behind(Grid(0.0, power), Grid(0.0, y), 0.0)
        said.append(slow is not None)
        assert said[-1] == (likeness >= LEAST_SLOW) or abs(likeness - LEAST_SLOW) < 0.01
    assert 0 < sum(said) < len(said)


@pytest.mark.parametrize("slow", ["device", "reference"])
def test_spikes_of_a_mean_are_hidden_from_the_clocks(ride, slow):
    power, cadence = ride
    faulty, rng = mean(power, 30), np.random.default_rng(2)
    for start in rng.choice(np.arange(40, power.size - 40, 20), 16, replace=False):
        faulty[start:start + int(rng.integers(1, 4))] += rng.integers(600, 3001)
    sharp, averaged = grid(power, cadence), grid(faulty, cadence)
    pair, sign = ((sharp, averaged), 1) if slow == "device" else ((averaged, sharp), -1)
    made = match(*pair, None, None, False)  # refused as another ride before
    assert made.fine.lag == pytest.approx(sign * 14.5, abs=0.7)
    assert np.array_equal((made.y if slow == "device" else made.x).power, averaged.power, equal_nan=True)


@pytest.mark.parametrize(("spikes", "count"), [pytest.param(7, 2, id="SLOW_JUMPS"),
                                               pytest.param(8, 3, id="SLOW_JUMPS")])
def test_few_jumps_are_left(ride, spikes, count):
    power, cadence = ride
    faulty = mean(power, 30, noise=0)
    faulty[np.arange(200, 200 + 100 * spikes, 100)] += 2000.0
    assert len(list(ways_without_jumps(grid(power, cadence), grid(faulty, cadence)))) == count


def test_cadence_is_compared_at_its_own_lag(ride):
    """Power that is averaged over half a minute is 14.5 s behind: the rider's own cadence was sought within 10 s."""
    power, cadence = ride
    x, y = grid(power, cadence), grid(mean(power, 30), cadence)
    fine = Fine(14.5, 0.1, 0.0, 0.0, power.size / 2, False)
    assert behind_cadence(x, y, fine) == pytest.approx(14.5, abs=0.1)
    assert shared(of_cadence(x, y, fine))
    assert behind_cadence(x, grid(mean(power, 15), cadence), fine._replace(lag=7.0)) is None
    assert behind_cadence(x, y._replace(power=np.roll(power, 14)), fine) is None  # a delay is no mean


@pytest.mark.parametrize(("width", "said"), [(1, "are probably of one programme"),
                                             (30, "or the device averages over 20 s or more")])
def test_a_refusal_says_that_an_average_may_be_the_cause(ride, monkeypatch, width, said):
    power, cadence = ride
    monkeypatch.setattr(programme, "strange", lambda *_: True)
    with pytest.raises(OtherRide, match=said):
        programme.one_programme(grid(power, cadence), grid(mean(power, width), cadence),
                                Fine((width - 1) / 2, 0.1, 0.0, 0.0, power.size / 2, False), absolute=False)


@pytest.mark.parametrize(("found", "why"), [
    ([clock.Candidate(10, 0.39, 25.0), clock.Candidate(50, 0.36, 21.5)], ""),
    ([clock.Candidate(10, 0.25, 12.0)], "the device has no fast changes")])
def test_a_refusal_says_where_averaging_may_be_the_cause(found, why):
    """A mean over a minute matches at both of its ends, and shows no fast changes."""
    with pytest.raises(MatchError, match=r"4\.2 times smaller than the other's: if it averages"):
        accept(found, 0.0, lambda: why, lambda: ("device", 4.2))
    with pytest.raises(MatchError) as refusal:
        accept(found, 0.0, lambda: why)
    assert "averages" not in str(refusal.value)
