"""One ride with other noise is one ride; days of one programme are not."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from agree import InputError, Pairs, check_claim
from agree.report.plain_text.screen import screen
from agree.verdict.repeats.distinct import refuse_repeats
from agree.verdict.repeats.near_copies import alike

RIDES = Path(__file__).parent.parent / "data" / "rides"

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def programme(rng, low, high, *, rider_sd, memory, ramp, seconds=1800, seed=9):
    """A rider on a trainer that sets targets of 100 to 300 W, each for `low` to `high` s, the same ones every day."""
    plan = np.random.default_rng(seed)
    targets = np.concatenate([np.full(int(plan.uniform(low, high)), plan.uniform(100, 300)) for _ in range(400)])
    asked = np.convolve(targets[:seconds], np.ones(ramp) / ramp, "same")
    rider = lfilter([np.sqrt(1 - memory**2)], [1, -memory], rng.normal(0, rider_sd, seconds))
    return np.round(asked + rider)


@pytest.fixture(scope="module")
def road():
    return np.nan_to_num(power_of("single-road-78min.csv"))


def power_of(name):
    return pd.read_csv(RIDES / name)["power_W"].to_numpy(float)


def likeness(one, other):
    found = alike([one, other])
    return found[0].correlation if found else 0.0


@pytest.mark.parametrize(("noise", "least"), [(0.5, 0.97), (3, 0.95), (10, 0.82)])
def test_a_real_ride_with_noise_added_is_one_ride(rng, road, noise, least):
    copies = [part + rng.normal(0, noise, part.size) for part in (road, road[400:])]
    assert likeness(*copies) >= least
    made = [Pairs(reference=copy, device=copy * 1.002 + rng.normal(0, 2, copy.size), session=str(k))
            for k, copy in enumerate(copies, 1)]
    with pytest.raises(InputError, match=r"^sessions 1 .* and 2 .* follow each other second by second \(correl"):
        check_claim(made, "1.5 %")


def test_a_ride_played_backwards_with_noise_added_is_one_ride(rng, road):
    """Of two lengths: the second copy lacks the ride's first 400 s, so that its end stands at another lag."""
    onward, turned = road + rng.normal(0, 1, road.size), (road[400:] + rng.normal(0, 1, road.size - 400))[::-1]
    for pair in ((onward, turned), (turned, onward)):
        found = alike(pair)
        assert [(item[:2], item.backwards) for item in found] == [((0, 1), True)]
        assert found[0].correlation >= 0.95
        made = [Pairs(reference=copy, device=copy * 1.002 + rng.normal(0, 2, copy.size), session=str(k))
                for k, copy in enumerate(pair, 1)]
        with pytest.raises(InputError, match=r"^sessions 1 .* and 2 .* by second .*, one of them played backwards\)"):
            check_claim(made, "1.5 %")


def test_two_recorders_on_one_ride_are_doubted(rng):
    """Two real devices on one ride as the references of two sessions: alike, but no copies."""
    one, two = (np.nan_to_num(power_of(name)) for name in ("pair-1-bike.csv", "pair-1-pedals.csv"))
    assert 0.4 < likeness(one, two) < 0.82
    made = [Pairs(reference=item, device=item + rng.normal(0, 2, item.size), session=str(k))
            for k, item in enumerate((one, two), 1)]
    check = check_claim(made, "1.5 %")
    assert (check.verdict, check.next_step.kind) == ("not settled", "next_another_day")
    text = " ".join(screen(check).split())
    assert "Sessions 1 and 2 follow each other second by second" in text
    assert "all of it inside ±1.5 %, but not settled, because sessions 1 and 2 look like one ride." in text


def test_all_sessions_that_are_alike_are_named(rng, road):
    """One ride three times with much noise, another twice, and one by itself."""
    other = np.nan_to_num(power_of("single-road-stops.csv"))[:2000]
    alone = np.nan_to_num(power_of("pair-1-bike.csv"))[:2000]
    own = [road[:2000], other, road[:2000], road[1990::-1], other, alone]
    made = [Pairs(reference=item + rng.normal(0, 15, item.size), device=item + rng.normal(0, 2, item.size),
                  session=str(k)) for k, item in enumerate(own, 1)]
    note, = refuse_repeats(made)
    assert {name: note.values[name] for name in ("sessions", "rides", "later", "left_out", "backwards")} == {
        "sessions": "1, 3 and 4, and 2 and 5", "rides": 2, "later": "3, 4 and 5", "left_out": 3, "backwards": True}
    assert 0.4 <= note.values["correlation"] < note.values["most"] < 0.82


def test_real_rides_of_different_days_are_not_alike(road):
    others = [np.nan_to_num(power_of(name)) for name in ("pair-1-bike.csv", "single-road-stops.csv")]
    assert alike([road, *others, road[2300:], road[:2300][::-1]])[0][:2] == (0, 3)
    assert alike([road[:2300], *others, road[2300:]]) == ()


@pytest.mark.parametrize(("low", "high", "ramp"), [
    (20, 60, 5), (60, 300, 5), (30, 30.5, 3), (10, 30, 10), (300, 600, 60)])
@pytest.mark.parametrize(("rider_sd", "memory"), [(2, 0.0), (4, 0.9), (8, 0.5)])
def test_days_of_one_programme_are_let_pass(rng, low, high, ramp, rider_sd, memory):
    days = [programme(rng, low, high, rider_sd=rider_sd, memory=memory, ramp=ramp) for _ in range(2)]
    assert likeness(*days) == 0.0


@pytest.mark.parametrize("seed", range(3))
def test_a_programme_that_changes_all_the_time_is_doubted_at_most(rng, seed):
    days = [programme(rng, 5, 15, rider_sd=4, memory=0.9, ramp=4, seed=seed) for _ in range(2)]
    assert 0.4 <= likeness(*days) < 0.82


def test_a_trainer_that_tells_its_target_is_not_a_copy():
    told = np.repeat(np.random.default_rng(3).integers(100, 300, 40), 60).astype(float)
    assert alike([told, told + 1]) == ()
    rider = 200 + np.random.default_rng(4).normal(0, 30, 2400)
    assert [item[:2] for item in alike([told, rider, told[:400], rider[100:]])] == [(1, 3)]


def test_sessions_without_dates_are_said_to_rest_on_a_word(rng):
    made = [Pairs(reference=200 + rng.normal(0, 30, 900), device=200 + rng.normal(0, 30, 900), session=str(k))
            for k in (1, 2)]
    assert refuse_repeats(made) == ()  # arrays have no clocks
    notes = refuse_repeats([replace(item, stamps=(0.0, 899.0)) for item in made])
    assert [(note.kind, note.values["undated"]) for note in notes] == [("sessions_undated", 2)]
