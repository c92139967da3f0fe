"""Clocks that paused by themselves: steps found, placed and taken out; none invented."""

import itertools
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from agree import Recording, pair_recordings
from agree.core.errors import MatchError
from agree.pairing import refusal
from agree.pairing.clocks import lag_path, retime
from agree.pairing.clocks.course import CREEP, JUMP, course_used_once, likely_course
from agree.pairing.clocks.fine import refine
from agree.pairing.clocks.lag_path import Stretch
from agree.pairing.grid import Grid, to_grid
from agree.pairing.match import match
from tests.said import said

RIDES = Path(__file__).parent.parent / "data" / "rides"


def ride(name):
    table = pd.read_csv(RIDES / name)
    power = np.full(int(table["time_s"].iloc[-1]) + 1, np.nan)
    power[table["time_s"].to_numpy(int)] = table["power_W"]
    return power


@pytest.fixture(scope="module", params=["single-road-78min.csv", "single-road-stops.csv"])
def road(request):
    return ride(request.param)


@pytest.fixture(scope="module")
def long():
    return ride("single-road-78min.csv")


def record(power, begin=0.0, **fields):
    return Recording(time=begin + np.arange(power.size), power=power, **fields)


def noisy(x, seed=1):
    y = 0.97 * (x + np.r_[x[:1], x[:-1]] + np.r_[x[:2], x[:-2]]) / 3
    return np.rint(np.where(y > 0, np.maximum(y + 6 * np.random.default_rng(seed).standard_normal(x.size), 0), y))


def facts(found, kind):
    return [note for note in found.notes if getattr(note, "kind", "") == kind]


def matched(x, y):
    """The match alone: neither response nor faults are looked for."""
    return match(to_grid(record(x), "reference"), to_grid(record(y), "device"), None, None, False)


def steps_of(x, y):
    found = matched(x, y)
    return retime.steps(found.changes, found.fine, 0, found.x.power.size)[0]


def without(y, *pauses):
    return np.delete(y, np.concatenate([np.arange(a, b) for a, b in pauses]))


def test_one_pause_of_the_device(road):
    pairs = pair_recordings(record(road), record(without(noisy(road), (1500, 1543)), 500.0))
    (step,) = pairs.alignment.steps
    assert step.step_s == pytest.approx(-43, abs=0.2)
    assert step.time_s == pytest.approx(1543, abs=6)
    assert abs(step.step_s + 43) < 3.5 * step.se_s < 1
    assert pairs.alignment.lag_s == pytest.approx(501, abs=0.2)  # a mean over the last 3 s is 1 s late
    lost = np.isnan(pairs.device)
    assert lost[1490:1550].sum() == 43
    assert (pairs.reason[lost] == "missing").all()
    assert np.isfinite(pairs.reference[1490:1550]).all()
    assert "the device's clock lost 43.0 s" in " ".join(said(pairs))
    assert "at 25:4" in " ".join(said(pairs))
    assert pairs.alignment.to_dict()["steps"][0]["step_s"] == step.step_s


def test_one_pause_of_the_reference(road):
    pairs = pair_recordings(record(without(road, (1500, 1543))), record(noisy(road)))
    (step,) = pairs.alignment.steps
    assert step.step_s == pytest.approx(43, abs=0.2)
    assert step.time_s == pytest.approx(1543, abs=6)
    assert np.isnan(pairs.reference).sum() - np.isnan(road).sum() == 43
    assert np.isnan(pairs.reference[1543 - 30:1543 - 10]).all()
    assert "the reference's clock lost 43.0 s" in " ".join(said(pairs))
    assert pairs.time.size == pytest.approx(road.size, abs=3)  # time goes on as it did


def test_readings_are_those_of_a_clock_without_steps(road):
    y = noisy(road)
    whole = pair_recordings(record(road), record(y))
    broken = pair_recordings(record(road), record(without(y, (1100, 1143), (2000, 2200))))
    both = whole.used & broken.used
    assert both.sum() > whole.used.sum() - 243 - 25
    assert np.mean(whole.device[both] == broken.device[both]) > 0.98


def test_pauses_of_both_and_a_drift(long):
    rng = np.random.default_rng(4)
    own = np.arange(long.size)
    true = own / (1 + 250e-6)
    true = true + 120.4 * (true >= 1800)
    true = true[true < long.size - 1]
    y = np.rint(np.interp(true, np.arange(long.size), long) * 0.97 + 4 * rng.standard_normal(true.size))
    pairs = pair_recordings(record(without(long, (3000, 3075))), record(np.maximum(y, 0)))
    first, second = pairs.alignment.steps
    assert first.step_s == pytest.approx(-120.4, abs=0.2)
    assert second.step_s == pytest.approx(75, abs=0.2)
    assert pairs.alignment.drift_ppm == pytest.approx(250, abs=60)
    assert "the clocks drift by" in " ".join(said(pairs))
    error = (pairs.device - 0.97 * pairs.reference)[pairs.used]
    assert np.median(np.abs(error)) < 12


def test_many_pauses(long):
    pauses = [(600 * k, 600 * k + 20 + 30 * k) for k in range(1, 7)]
    found = [-step.step_s for step in steps_of(long, without(noisy(long), *pauses))]
    assert found == pytest.approx([b - a for a, b in pauses], abs=0.3)


def test_pause_at_a_stop_that_the_reference_records(long):
    stop = int(np.flatnonzero(long[2000:] == 0)[0]) + 2000
    x = np.insert(long, stop, np.zeros(180))
    (step,) = steps_of(x, noisy(long))
    assert step.step_s == pytest.approx(-180, abs=0.2)
    assert step.time_s == pytest.approx(stop + 180, abs=15)


def test_absolute_stamps_that_show_the_pause_need_no_step(road):
    y = noisy(road)
    keep = np.r_[0:1500, 1700:road.size]
    two = Recording(time=keep.astype(float), power=y[keep])
    pairs = pair_recordings(record(road), two)
    assert pairs.alignment.steps == ()
    assert pairs.counts()["missing"] >= 200


@pytest.mark.parametrize("harm", ["nothing", "dead", "held", "half", "noise", "slow", "drift"])
def test_no_step_is_invented(road, harm):
    y = noisy(road)
    if harm in ("dead", "held", "half"):
        y[1200:1600] = {"dead": 0, "held": y[1200], "half": y[1200:1600] / 2}[harm]
    elif harm == "noise":
        y = np.maximum(y + 40 * np.random.default_rng(2).standard_normal(y.size), 0)
    elif harm == "slow":
        y = np.convolve(np.nan_to_num(y), np.ones(20) / 20)[:y.size]
    elif harm == "drift":
        y = np.interp(np.arange(y.size) * (1 - 2.5e-4), np.arange(y.size), y)
    assert matched(road, y).changes == ()


def test_the_real_pair_has_no_steps():
    pairs = pair_recordings(RIDES / "pair-1-bike.csv", RIDES / "pair-1-pedals.csv")
    assert pairs.alignment.steps == ()
    assert pairs.alignment.lag_s == pytest.approx(-7.18, abs=0.06)


def test_the_real_pair_with_a_pause():
    bike, pedals = (pd.read_csv(RIDES / f"pair-1-{name}.csv") for name in ("bike", "pedals"))
    pedals = pedals.drop(index=range(2000, 2090))
    x, y = (record(table["power_W"].to_numpy(float), cadence=table["cadence_rpm"].to_numpy(float))
            for table in (bike, pedals))
    pairs = pair_recordings(x, y)
    (step,) = pairs.alignment.steps
    assert step.step_s == pytest.approx(-90, abs=0.4)
    (witness,) = pairs.alignment.witnesses
    assert witness.agrees


def test_different_rides_are_not_made_to_fit():
    x, y = ride("single-road-78min.csv"), ride("single-road-stops.csv")
    bike = pd.read_csv(RIDES / "pair-1-bike.csv")["power_W"].to_numpy(float)
    for one, two in itertools.permutations([x, y, bike], 2):
        with pytest.raises(MatchError, match="do not match"):
            matched(one, two)


def test_given_lag_looks_for_no_steps(long):
    y = without(noisy(long), (1500, 1543))
    found = match(to_grid(record(long), "reference"), to_grid(record(y), "device"), None, 1, False)
    assert (found.changes, found.channel, found.fine.lag) == ((), "given", 1)


def test_pieces_of_a_minute_between_pauses(long):
    y = without(noisy(long), (2000, 2040), (2100, 2140))  # 60 s between
    pairs = pair_recordings(record(long), record(y))
    assert sum(step.step_s for step in pairs.alignment.steps) == pytest.approx(-80, abs=0.3)
    assert np.isnan(pairs.device).sum() == 80
    assert pairs.time[-1] == pytest.approx(4699, abs=2)


@pytest.mark.parametrize("seconds", [400, 700])
def test_a_part_of_another_ride_makes_no_step_and_is_said(long, seconds):
    y = noisy(long)
    assert not facts(matched(long, y), "pair_minutes_unlike")
    y[1000:1000 + seconds] = noisy(long)[3000:3000 + seconds]
    found = matched(long, y)
    (fact,) = facts(found, "pair_minutes_unlike")
    assert fact.values["minutes"] == pytest.approx(seconds / 60, abs=2)
    assert fact.values["from_s"] == pytest.approx(1000, abs=60)
    assert found.changes == ()


def test_a_clock_of_rows_is_put_right_or_refused(long, monkeypatch):
    pauses = [(380 * k, 380 * k + 60) for k in range(1, 12)]
    y = without(noisy(long), *pauses)
    assert [-step.step_s for step in steps_of(long, y)] == pytest.approx([60] * 11, abs=0.4)
    monkeypatch.setattr(refusal, "MOST_CLOCK_STEPS", 10)
    with pytest.raises(MatchError, match="differ by 11 steps, and at most 10 are taken out: one of them"):
        matched(long, y)


def test_change_is_placed_to_the_second():
    rng = np.random.default_rng(5)
    x = rng.uniform(0, 400, 1000)
    for size in (-30, 30):
        y = np.delete(x, np.arange(500, 530))
        one, two = (x, y) if size < 0 else (y, x)
        stretches = [Stretch(0, 490, np.array([0])), Stretch(540 if size < 0 else 510, 960, np.array([size]))]
        a, b, (change,) = retime.mend(Grid(0.0, one, speed=one / 10), Grid(0.0, two), stretches)
        assert change == (530, size)
        assert np.array_equal(a.power[530:], b.power[530:])
        assert np.array_equal(a.power[:500], b.power[:500])
        assert a.speed.size == a.power.size
        assert np.isnan((b if size < 0 else a).power[500:530]).all()


@pytest.mark.parametrize(("away", "back", "left"), [(890, 7, [7]), (910, 7, [7, 40, 7]), (890, 9, [7, 40, 9])])
def test_a_lag_that_comes_back_was_no_step(away, back, left):
    """Within 15 min, and to within a second; in between it may have jumped more than once."""
    lags = [lag_path.Stretch(0, 1000, np.full(3, 7)), lag_path.Stretch(1000, 1000 + away, np.full(2, 40)),
            lag_path.Stretch(1000 + away, 4000, np.full(4, back))]
    found = lag_path.without_excursions(lags)
    assert [int(stretch.lags[0]) for stretch in found] == left
    assert (found[0].start, found[-1].stop) == (0, 4000)
    twice = [lags[0], lags[1]._replace(stop=1100), lags[1]._replace(start=1100, lags=np.full(2, 90)), lags[2]]
    assert len(lag_path.without_excursions(twice)) == (1 if left == [7] else 4)


@pytest.mark.parametrize("lags", [np.arange(5), np.array([-40, -39, 3, 4, 90])])
def test_likely_course_is_the_best_of_all(rng, lags):
    scores = rng.normal(0, 6, (5, 5))

    def worth(path):
        paid = sum(0 if a == b else CREEP if abs(lags[a] - lags[b]) == 1 else JUMP for a, b in itertools.pairwise(path))
        return scores[np.arange(5), list(path)].sum() - paid

    assert tuple(likely_course(scores, lags)) == max(itertools.product(range(5), repeat=5), key=worth)


def test_path_uses_no_second_twice():
    """A jump to a lag that is 120 s less leaves out 3 windows, which begin every 30 s; one to a longer lag none."""
    scores = np.full((60, 2), -1.0)
    scores[:30, 1] = scores[30:, 0] = 3.0
    for lags, left_out in ((np.array([-120, 0]), 3), (np.array([0, 120]), 3)):
        path = course_used_once(scores, lags)
        (last, _), (first, _) = next(pair for pair in itertools.pairwise(path) if pair[0][1] != pair[1][1])
        assert first - last - 1 == left_out
    (last, _), (first, _) = next(pair for pair in itertools.pairwise(course_used_once(scores[:, ::-1], lags))
                                 if pair[0][1] != pair[1][1])
    assert first == last + 1


def test_steps_between_seconds_have_their_fraction(long):
    own = np.arange(long.size, dtype=float)
    true = own + 60.37 * (own >= 2000)
    true = true[true < long.size - 1]
    y = np.rint(np.interp(true, np.arange(long.size), long))
    (step,) = steps_of(long, y)
    assert step.step_s == pytest.approx(-60.37, abs=0.05)
    assert refine(long, y, 0).extra == ()
