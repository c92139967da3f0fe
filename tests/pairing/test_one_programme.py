"""One programme on two days: steps coincide, and what the rider does between them does not."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree import Recording, check_claim, pair_recordings
from agree.core.errors import MatchError
from agree.core.thresholds import (
    LEAST_OWN_CADENCE,
    LEAST_OWN_SIZE,
    LEAST_PROGRAMME_S,
    LEAST_SHARED,
    LEAST_SLOW_R,
    LEAST_WHOLE_SHARE,
    MOST_STRANGE_SHARE,
    SURE_MEANS_T,
    SURE_SLOW_T,
    SURE_T,
)
from agree.pairing.clocks.fine import Fine
from agree.pairing.grid import Grid
from agree.pairing.same_ride import between_steps
from agree.pairing.same_ride.between_steps import RAPID, SLOW, beside_parabola
from agree.pairing.same_ride.programme import one_programme, shared, strange, surely_shared
from agree.pairing.same_ride.rider import Own
from agree.report.notes.sentence import note_text
from agree.report.story.tell import tell

SIZE = 2400


def colour(seed, sd, memory):
    own = lfilter([1], [1, -memory], np.random.default_rng(seed).standard_normal(SIZE))
    return sd * own / own.std()


def target(on=60, off=40, coast=10):
    """Steps of about these lengths: exactly equal ones are alike at several lags."""
    rng = np.random.default_rng(11)
    steps = [(level, round(length * rng.uniform(0.7, 1.3))) for _ in range(SIZE // 60)
             for level, length in ((330.0, on), (150.0, off), (0.0, coast))]
    return np.r_[np.full(200, 120.0), np.repeat(*zip(*steps, strict=True))][:SIZE]


def ridden(seed, sd=12.0, **programme):
    power = lfilter([0.6], [1, -0.4], target(**programme) + colour(seed, sd, 0.5) * (target(**programme) > 0))
    return np.maximum(power, 0)


def record(power, seed, begin=0.0, noise=2.0, clock="elapsed", **fields):
    measured = np.where(power > 1, power + noise * np.random.default_rng(seed).standard_normal(SIZE), 0)
    return Recording(time=begin + np.arange(SIZE), power=np.rint(np.maximum(measured, 0)), clock=clock, **fields)


def untold(pairs):
    return [note for note in pairs.notes if getattr(note, "kind", "") == "pair_programme_untold"]


@pytest.mark.parametrize("programme", [{}, {"on": 120, "off": 120, "coast": 0}, {"on": 30, "off": 30, "coast": 0}])
def test_one_workout_on_two_days_is_refused_without_dates(programme):
    one, two = ridden(1, **programme), ridden(2, **programme)
    with pytest.raises(MatchError):
        pair_recordings(record(one, 3), record(two, 4, 7.0))
    assert not untold(pair_recordings(record(one, 3), record(one, 4, 7.0)))


@pytest.mark.parametrize("width", [1, 5])
def test_the_refusal_says_why(width):
    """The steps alone are alike, by 0.9 and more: also if one of the two averages."""
    two = lfilter(np.ones(width) / width, [1], ridden(2))
    with pytest.raises(MatchError) as caught:
        pair_recordings(record(ridden(1), 3), record(two, 4, 7.0))
    assert "the steps of power coincide, but between them" in str(caught.value)
    assert "the rider's own changes of power do not" in str(caught.value)
    assert "files with dates tell" in str(caught.value)


@pytest.mark.parametrize(("sd", "noise"), [(12, 8), (6, 2), (12, 20)])
@pytest.mark.parametrize("width", [1, 5])
def test_one_ride_on_a_trainer_is_accepted(sd, noise, width):
    noise /= 1 + (noise > 8 and width > 1)  # an average over 5 s has less noise; with 20 W it is not told
    power = ridden(1, sd)
    slow = lfilter(np.ones(width) / width, [1], power)
    pairs = pair_recordings(record(power, 3, noise=2), record(slow, 4, 7.0, noise=noise))
    assert not untold(pairs)
    assert pairs.alignment.lag_s == pytest.approx(7 + (width - 1) / 2, abs=0.6)


@pytest.fixture(scope="module")
def held():
    """A trainer that holds power to the watt: the rider leaves no trace in it."""
    return ridden(1, 1e-9)


def test_that_nothing_tells_is_said(held):
    (note,) = untold(pair_recordings(record(held, 3), record(held, 4, 7.0)))
    assert "may be of one programme, by two riders or on two days" in note_text(note)


@pytest.mark.parametrize(("noise", "notes"), [(0.5, 0), (2.0, 1)])
def test_dates_decide_only_where_no_rider_leaves_a_trace(held, noise, notes):
    """What is left beside a parabola is 0.2 and 0.7 % of power (LEAST_TRACE: 0.5 %)."""
    dated = [record(held, seed, 1.7e9 + begin, clock="utc", noise=noise) for seed, begin in ((3, 0.0), (4, 7.0))]
    found = untold(pair_recordings(*dated))
    assert len(found) == notes
    assert all(note_text(note).endswith("; cadence in both would tell") for note in found)


def test_cadence_tells(held):
    one, two = 88 + colour(7, 4, 0.95), 88 + colour(8, 4, 0.95)
    same = pair_recordings(record(held, 3, cadence=one), record(held, 4, 7.0, cadence=np.rint(one)))
    assert not untold(same)
    assert same.alignment.witnesses[0].agrees
    with pytest.raises(MatchError, match="the rider's own changes of cadence do not"):
        pair_recordings(record(held, 3, cadence=one), record(held, 4, 7.0, cadence=two))


@pytest.mark.parametrize("dead", [88.0, np.nan])
def test_a_dead_cadence_tells_nothing(held, dead):
    one = 88 + colour(7, 4, 0.95)
    assert untold(pair_recordings(record(held, 3, cadence=one), record(held, 4, 7.0, cadence=np.full(SIZE, dead))))


@pytest.mark.parametrize(("lag", "verdict"), [(None, "not settled"), (7, "holds")])
def test_holds_is_withheld_where_it_cannot_be_told(held, lag, verdict):
    pairs = pair_recordings(record(held, 3), record(held, 4, 7.0), lag_s=lag)
    check = check_claim(pairs, "1.5 %", reference_uncertainty="0.2 %")
    assert check.verdict == verdict
    if lag is None:
        story = tell(check)
        assert check.readings[0].because.kind == "because_programme"
        assert "because the two files may be two rides of one programme" in story.sentence
        assert "may be of one programme, by two riders or on two days" in story.caveats[0].text
        assert "or export both files with dates" in " ".join(story.record)


@pytest.mark.parametrize("cadence", [88 + colour(8, 4, 0.95), np.zeros(SIZE)], ids=["estimated", "dead"])
def test_cadence_of_another_sensor_does_not_refuse_one_ride(cadence):
    """The rider's changes of power are shared, so a cadence that is estimated, or dead, is only that."""
    power = ridden(1)
    pair_recordings(record(power, 3, cadence=88 + colour(7, 4, 0.95)), record(power, 4, 7.0, cadence=cadence))


def own(**changed):
    return Own(**{"seconds": 1000, "share": 0.0, "share_se": 0.05, "correlation": 0.0, "correlation_se": 0.02,
                  "colour": 0.3, "colour_se": 0.05, "size": 0.03, **changed})


@pytest.mark.parametrize(("inside", "outside"), [
    ({"share": MOST_STRANGE_SHARE - 0.11}, {"share": MOST_STRANGE_SHARE - 0.09}),
    ({"size": LEAST_OWN_SIZE + 1e-6}, {"size": LEAST_OWN_SIZE - 1e-6}),
    ({"colour": 0.16}, {"colour": 0.14}), ({}, {"seconds": 0})])
def test_limits_of_strange_changes(inside, outside):
    """Two standard errors (SURE_SE) of 0.05 beside the share, three (COLOUR_SE) beside the colour."""
    assert strange(own(**inside))
    assert not strange(own(**outside))


def test_less_of_cadence_is_enough():
    assert strange(own(size=LEAST_OWN_CADENCE + 1e-6), LEAST_OWN_CADENCE)
    assert not strange(own(size=LEAST_OWN_CADENCE - 1e-6), LEAST_OWN_CADENCE)


def test_limit_of_shared_changes():
    assert shared(own(correlation=0.5, share=LEAST_WHOLE_SHARE + 0.01))
    assert not shared(own(correlation=0.5, share=LEAST_WHOLE_SHARE - 0.01))
    assert shared(own(correlation=LEAST_SHARED + 0.05, share=1.0))
    assert not shared(own(correlation=LEAST_SHARED + 0.03, share=1.0))


def short_steps(seed, own_seed, step):
    """Steps of a trainer on one plan, and a rider whose own changes are 5 W and last for 2 s."""
    levels = np.random.default_rng(seed).choice([110.0, 140, 160, 200, 240, 280], SIZE // step + 1)
    plan = np.repeat(levels, step)[:SIZE]
    return lfilter([0.3], [1, -0.7], plan - plan[0]) + plan[0] + colour(own_seed, 5, 0.6)


def every(power, seconds, seed, noise, **fields):
    record_ = record(power, seed, 3.0, noise=noise)
    return Recording(time=record_.time[::seconds], power=record_.power[::seconds], clock="elapsed",
                     **{name: values[::seconds] for name, values in fields.items()})


@pytest.mark.parametrize(("step", "noise"), [(60, 4), (60, 10), (45, 4)])
def test_short_steps_of_one_programme_hide_no_other_day(step, noise):
    """What is left between them tells: the steps themselves are left out, with the seconds the trainer takes."""
    one, two = short_steps(1, 2, step), short_steps(1, 3, step)
    with pytest.raises(MatchError):
        pair_recordings(record(one, 4), record(two, 5, 3.0, noise=noise))
    assert not untold(pair_recordings(record(one, 4), record(one, 5, 3.0, noise=noise)))


@pytest.mark.parametrize(("step", "noise", "seed"), [(45, 10, 5), (45, 15, 6), (60, 20, 5)])
def test_dates_that_agree_do_not_make_one_ride_of_two_riders(step, noise, seed):
    """Side by side on one plan: "holds" would be said of what the trainer sets, beside a device with noise."""
    one, two = short_steps(seed, 2, step), short_steps(seed, 3, step)
    first = record(one, 4, 1.7e9, clock="utc")
    wrong, true = (pair_recordings(first, record(power, 5, 1.7e9 + 3, noise=noise, clock="utc"))
                   for power in (two, one))
    assert untold(wrong)
    assert not untold(true)


@pytest.mark.parametrize(("scale", "t", "r", "averaged", "told"), [
    (RAPID, SURE_T, 0.1, False, True), (RAPID, SURE_T - 0.01, 0.1, False, False),
    (RAPID, SURE_MEANS_T, 0.1, True, True), (RAPID, SURE_MEANS_T - 0.01, 0.1, True, False),
    (SLOW, SURE_SLOW_T, LEAST_SLOW_R, True, True), (SLOW, SURE_SLOW_T - 0.01, LEAST_SLOW_R, True, False),
    (SLOW, SURE_SLOW_T, LEAST_SLOW_R - 0.01, True, False)])
def test_limits_of_chance(scale, t, r, averaged, told):
    assert scale.beyond_chance(t, r, averaged=averaged) == told


@pytest.mark.parametrize("reach", [3, 7])
def test_beside_a_parabola_nothing_is_left_of_it(reach):
    place = np.arange(60.0)
    trace = 200 + 3 * place - 0.1 * place**2
    trace[20:25] = np.nan
    left = beside_parabola(trace, reach)
    assert np.nanmax(np.abs(left)) < 1e-6
    assert np.isnan(left[20:25]).all()
    assert np.isfinite(left[30:50]).all()
    trace[40] += 10
    # The weight of the middle of 15 points is 167/1105 (Savitzky and Golay 1964, Anal. Chem. 36:1627, table I).
    assert beside_parabola(trace, 7)[40] == pytest.approx(10 * (1 - 167 / 1105), abs=1e-9)


def test_cadence_tells_where_short_steps_and_noise_leave_power_silent():
    one, two = short_steps(1, 2, 60), short_steps(1, 3, 60)
    first, second = (88 + colour(seed, 3, 0.9) for seed in (7, 8))
    with pytest.raises(MatchError, match="own changes of"):
        pair_recordings(record(one, 4, cadence=first), record(two, 5, 3.0, noise=15, cadence=second))
    pair_recordings(record(one, 4, cadence=first), record(one, 5, 3.0, noise=15, cadence=first))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_one_ride_with_a_reading_every_two_seconds_and_noise_is_accepted(seed):
    power, cadence = short_steps(seed, seed + 10, 120), 88 + colour(seed + 20, 3, 0.9)
    pairs = pair_recordings(record(power, 4, cadence=cadence), every(power, 2, 5, 15, cadence=cadence))
    assert pairs.alignment.lag_s == pytest.approx(3, abs=0.6)


@pytest.mark.parametrize(("step", "seconds", "notes"), [(15, LEAST_PROGRAMME_S, 1), (15, LEAST_PROGRAMME_S - 1, 0)])
def test_steps_that_leave_nothing_between_them_are_said(step, seconds, notes):
    power = np.resize([200.0, 300.0], 60).repeat(step)[:seconds]
    grid = Grid(0.0, power + colour(1, 3, 0.5)[:seconds])
    fine = Fine(0.0, 0.1, 0.0, 0.0, seconds / 2, False)
    found = one_programme(grid, grid, fine, absolute=False)
    assert len(found) == notes
    assert all("leave too little between them" in note_text(note) for note in found)


def test_limit_of_surely_shared_changes():
    sure = {"correlation": LEAST_SHARED + 0.07, "share": MOST_STRANGE_SHARE + 0.11}
    assert surely_shared(own(**sure))
    assert not surely_shared(own(**{**sure, "correlation": LEAST_SHARED + 0.05}))
    assert not surely_shared(own(**{**sure, "share": MOST_STRANGE_SHARE + 0.09}))


def ten_minutes(seed):
    """Ten minutes of a ride on the road: pieces between steps are few, and of unlike liveliness."""
    rng = np.random.default_rng(seed)
    lively = np.repeat(np.exp(rng.normal(0, 0.7, 10)), 60)
    power = 210 + 40 * np.convolve(rng.standard_normal(629), np.ones(30) / 5, "valid") / 5
    return np.maximum(power + 12 * lively * lfilter([1], [1, -0.7], rng.standard_normal(600)), 20)


@pytest.mark.parametrize("seed", range(4))
def test_ten_minutes_of_one_ride_are_no_two_programmes(seed):
    """Said of 23 of 54 sharp devices in pieces of real rides: t cannot exceed the root of the number of pieces."""
    x, rng = ten_minutes(seed), np.random.default_rng(50 + seed)
    one, two = (Grid(0.0, np.rint(x + noise * rng.standard_normal(600))) for noise in (2, 6))
    assert between_steps.alike(one, two, Fine(0.0, 0.1, 0.0, 0.0, 300.0, False)).told
    other = Grid(0.0, np.rint(x[::-1] + 6 * rng.standard_normal(600)))
    assert not between_steps.alike(one, other, Fine(0.0, 0.1, 0.0, 0.0, 300.0, False)).told


@pytest.mark.parametrize(("over", "correlation", "told"), [
    (6.6, 0.21, True), (6.4, 0.21, False), (6.6, 0.19, False)])
def test_limits_of_what_is_more_alike_than_at_any_shift(monkeypatch, over, correlation, told):
    """SURE_OVER_SHIFTS and LEAST_RAPID_R."""
    monkeypatch.setattr(between_steps, "over_shifts", lambda a, b: over)
    monkeypatch.setattr(between_steps, "_clustered", lambda a, b, piece: (2.0, correlation, 400))
    grid = Grid(0.0, ten_minutes(1))
    assert between_steps.alike(grid, grid, Fine(0.0, 0.1, 0.0, 0.0, 300.0, False)).told == told
