"""Traces that repeat their reading for some seconds: what they are told by, and what faults are found beside them."""

import numpy as np
import pytest

from agree.core.data.held_readings import held
from agree.core.data.matched import Matched
from agree.core.thresholds import (
    CLAIM_UNSEEN,
    GROSS_SHARPER,
    HELD_LATE,
    HELD_ODD,
    HELD_POWER,
    HELD_TAIL,
    REPEAT_LEAST,
    REPEAT_LONGEST_S,
    REPEAT_SHARE,
    SPIKE_STEEP,
)
from agree.estimators.response.own_readings import every_s, usual_changes
from agree.faults.held import rarer, tells_of_chance
from agree.faults.late_start import frozen_runs
from agree.faults.set_aside import set_aside
from agree.report.plain_text.details import repeated_words

PLACES = (150, 260, 395, 520, 641, 777, 902, 1050)
LENGTHS = (3, 5, 8, 12, 15, 19, 4, 10)


@pytest.fixture(scope="module")
def ride():
    """20 min with stops of 2 to 20 s."""
    rng = np.random.default_rng(4)
    power = 210 + np.convolve(rng.normal(0, 60, 1220), np.exp(-np.arange(21) / 6) / 3, "valid")[:1200]
    for start, seconds in zip(range(80, 1200, 97), (20, 2, 7, 12) * 3, strict=True):
        power[start:start + seconds] = 0
    return np.rint(np.maximum(power, 0))


def noisy(power, seed):
    noise = np.random.default_rng(seed).normal(0, 3, power.size)
    return np.rint(np.where(power > 0, np.maximum(power + noise, 1), 0))


def repeated(power, every):
    return power[np.arange(power.size) // every * every]


def dropped(power):
    made = power.copy()
    for start, seconds in zip(PLACES, LENGTHS, strict=True):
        made[start:start + seconds] = 0
    return made


def lost(one, other):
    """Seconds that a fault put in, and those that are found, as sets."""
    return set(np.flatnonzero(one != other)), lambda setting, reason: {
        at for found in setting.faults if found.reason == reason for at in range(found.start, found.stop)}


@pytest.mark.parametrize("every", [2, 4, 5])
def test_dropouts_of_a_device_beside_a_reference_that_repeats_its_reading(ride, every):
    reference, whole = repeated(noisy(ride, 1), every), noisy(1.035 * ride, 2)
    device = dropped(whole)
    put_in, found = lost(whole, device)
    told = found(set_aside(reference, device), "device_dropout")
    assert len(told & put_in) >= 0.95 * len(put_in)
    assert len(told - put_in) <= 6  # three stops of 2 s that may lie between two readings


@pytest.mark.parametrize("every", [2, 4])
def test_frozen_runs_of_a_device_that_repeats_its_reading(ride, every):
    whole = repeated(noisy(ride, 2), every)
    device = whole.copy()
    for start in (200, 420, 700, 1000):
        device[start:start + 45] = device[start]
    put_in, found = lost(whole, device)
    told = found(set_aside(noisy(ride, 1), device), "device_held")
    assert len(told & put_in) >= 0.9 * len(put_in)
    assert len(told - put_in) <= 2 * every


@pytest.mark.parametrize("every", [2, 4])
@pytest.mark.parametrize("side", ["reference", "device"])
def test_held_runs_of_one_to_four_readings(ride, every, side):
    """What a run holds longer than its first reading is told, where the power has changed: 5 to 15 s in all."""
    lively = np.where(ride > 0, np.maximum(ride + np.repeat(np.random.default_rng(7).normal(0, 60, 400), 3), 40), 0)
    whole = repeated(noisy(lively, 2), every)
    held = whole.copy()
    for start, seconds in zip(PLACES[:-1], LENGTHS, strict=False):
        held[start:start + max(seconds, 5)] = held[start]
    wrong = set(np.flatnonzero(np.abs(held - whole) > 40))
    setting = set_aside(*(noisy(lively, 1), held)[::1 if side == "device" else -1])
    told = {at for found in setting.faults if found.reason == f"{side}_held" for at in range(found.start, found.stop)}
    assert len(wrong) > 20
    assert len(wrong & told) >= 0.9 * len(wrong)
    assert {found.kind for found in setting.faults} == {"held"}


@pytest.mark.parametrize(("late", "found"), [(0.045, True), (0.055, False)])
def test_readings_that_last_a_little_longer_are_held_if_that_is_rare(ride, late, found):
    """HELD_LATE."""
    assert HELD_LATE == 0.05
    steady = np.where(ride > 0, ride, 150.0)
    device = repeated(noisy(steady, 2), 4)
    for number in np.linspace(3, 296, round(300 * late)).astype(int):
        device[4 * number] = device[4 * number - 1]  # shown a second late
    told = [one for one in set_aside(noisy(steady, 1), device).faults if one.kind == "held"]
    assert bool(told) == found


@pytest.mark.parametrize(("readings", "like", "tells"), [
    (2, HELD_ODD + 1e-9, True), (2, HELD_ODD, False), (5.9, 1.0, True), (6, 1.0, False)])
def test_what_run_tells_of_chance(readings, like, tells):
    assert tells_of_chance(readings, like) == tells


def test_a_misfit_beyond_all_others_is_rarer_by_their_power():
    """HELD_POWER, and HELD_TAIL: largest ones whose logs lie a third apart in the mean say a power of 3."""
    assert HELD_POWER == 4.0
    assert HELD_TAIL == 100
    largest = np.exp(-np.random.default_rng(1).permutation(100) * 2 / 3 / 99)
    assert rarer(np.r_[largest, np.full(500, 1e-3)], 2.0) == pytest.approx(2.0 ** -(99 * 3 / 100), rel=1e-6)
    assert rarer(np.r_[largest[largest > largest.min()], np.full(500, 1e-3)], 2.0) > 2.0 ** -2.9
    assert rarer(np.ones(100), 2.0) == 2.0 ** -4


@pytest.mark.parametrize("side", ["reference", "device"])
def test_a_trace_that_repeats_its_reading_has_no_faults_by_that(ride, side):
    traces = noisy(ride, 1), noisy(ride, 2)
    setting = set_aside(*(repeated(y, 4) if role == side else y
                          for role, y in zip(("reference", "device"), traces, strict=True)))
    assert not setting.faults  # three stops of 2 s lie between two readings
    assert (setting.matched.reference_every_s, setting.matched.device_every_s) == (
        (4, 1) if side == "reference" else (1, 4))
    told, = repeated_words(setting.matched)
    assert told.startswith(f"The {side} has a new reading every 4 s: it is compared where one comes. Not tellable")


def test_a_trace_that_reads_every_second_is_not_said_to_repeat():
    assert repeated_words(Matched(reference=[100.0], device=[100.0])) == repeated_words(None) == []


@pytest.mark.parametrize(("odd", "told"), [(0.19, 2), (0.21, 1)])
def test_share_of_times_that_are_multiples(odd, told):
    """REPEAT_SHARE: readings that come a second late are too many, or not."""
    assert REPEAT_SHARE == 0.8
    times = np.full(1000, 2)
    times[np.linspace(0, 999, round(1000 * odd)).astype(int)] = 3
    assert every_s(np.repeat(100.0 + np.arange(1000) % 7, times)) == told


@pytest.mark.parametrize(("more", "told"), [(0, 3), (-1, 1)])
def test_how_many_times_must_tell(more, told):
    """REPEAT_LEAST: of n readings n - 2 times lie between two changes."""
    assert every_s(np.repeat(100.0 + np.arange(REPEAT_LEAST + 2 + more), 3)) == told


@pytest.mark.parametrize(("every", "told"), [(REPEAT_LONGEST_S, REPEAT_LONGEST_S), (REPEAT_LONGEST_S + 1, 1)])
def test_longest_repeat(every, told):
    assert every_s(np.repeat(100.0 + np.arange(60), every)) == told


def test_zeros_and_gaps_are_no_readings_that_repeat():
    y = np.random.default_rng(1).normal(200, 20, 600)
    y[np.arange(600) % 6 < 2] = 0
    assert every_s(y) == 1
    assert every_s(np.where(y == 0, np.nan, y)) == 1


def test_a_trace_that_repeats_its_reading_seems_no_smoother(ride):
    one, other = usual_changes(repeated(ride, 4), ride, ride > 15)
    assert other / GROSS_SHARPER < one < GROSS_SHARPER * other


@pytest.mark.parametrize(("every", "seconds", "found"), [(1, 5, 1), (1, 4, 0), (3, 15, 1), (3, 14, 0)])
def test_a_frozen_run_is_longer_than_some_readings(ride, every, seconds, found):
    """FROZEN_S counts in readings."""
    y = np.repeat(200.0 + np.arange(402) % 11, every)[:400]
    start = 200 // every * every
    y[start:start + seconds] = 500.0
    y[start + seconds:] = np.where(y[start + seconds:] == 500.0, 501.0, y[start + seconds:])
    sharp = np.tile([100.0, 200.0], 200)
    assert len([one for one in frozen_runs(sharp, y) if one[0] == start]) == found


@pytest.mark.parametrize(("apart", "seconds"), [(61, 6), (71, 9)])
def test_spikes_of_a_device_that_repeats_its_reading(ride, apart, seconds):
    """Stops that it shows late, which are no dropouts, must not pass for the usual error."""
    stopped = np.where(np.arange(ride.size) % apart < seconds, 0, ride)
    whole = repeated(noisy(stopped, 2), 4)
    device = whole.copy()
    device[[203, 410, 657, 901]] = [1400, 1571, 1351, 1391]
    setting = set_aside(noisy(stopped, 1), device)
    assert {found.start for found in setting.faults if found.kind == "spike"} >= {203, 410, 657, 901}


@pytest.mark.parametrize("side", ["reference", "device"])
def test_spikes_and_a_ceiling_between_the_readings_of_the_other_trace(ride, side):
    """It shows one second in four: the others must not pass unseen."""
    one = noisy(ride, 1)
    one[[203, 410, 657, 901]] += 900  # 657 and 901 are read by the other trace, or not, by its step
    one[[300, 301, 550, 551, 552]] += 1400
    way = 1 if side == "reference" else -1
    setting = set_aside(*(one, repeated(noisy(ride, 2), 4))[::way])
    told = {found.start for found in setting.faults if found.reason == f"{side}_spike"}
    assert told == {203, 300, 410, 550, 657, 901}
    lively = np.where(ride > 0, np.maximum(ride + np.random.default_rng(7).normal(0, 60, 1200), 40), 0)
    capped = np.minimum(noisy(lively, 1), 300)
    setting = set_aside(*(capped, repeated(noisy(lively, 2), 4))[::way])
    over = (lively > 320)
    found = np.isin(setting.reason, [f"{side}_saturation"])
    assert over.sum() > 20
    assert (found & over).sum() >= 0.9 * over.sum()


@pytest.mark.parametrize(("foot", "told"), [(0.63, True), (0.57, False)])
def test_a_burst_rises_more_slowly_than_a_spike(ride, foot, told):
    """SPIKE_STEEP: of the height of a peak of 2 s between two readings of the other trace."""
    assert SPIKE_STEEP == 0.6
    assert CLAIM_UNSEEN == 0.25
    one = noisy(ride, 1)
    one[597:608] = 210
    one[601:603] = 210 + 1000 * np.array([foot, 1.0])
    setting = set_aside(one, repeated(noisy(ride, 2), 4))
    assert bool([found for found in setting.faults if found.kind == "spike" and 601 <= found.start <= 602]) == told


@pytest.mark.parametrize("amid", [True, False])
def test_a_push_amid_coasting_is_no_spike(ride, amid):
    one, other = noisy(ride, 1), noisy(ride, 2)
    at = 861 if amid else 901  # in a stop of 20 s, or amid work; between two readings
    for trace in (one, other):
        trace[at:at + 2] = 330.0 if amid else 900.0
    setting = set_aside(one, repeated(other, 4))
    assert bool(setting.faults) == (not amid)


def test_spikes_beside_stops_that_no_filter_describes(ride):
    """A reference that repeats means of 2 s, and holds its last reading at stops: they err as much as spikes."""
    stopped = np.where(np.arange(ride.size) % 41 < 12, 0, np.maximum(ride, 60))
    mean = repeated(np.convolve(noisy(stopped, 1), [0.5, 0.5])[:ride.size], 2)
    reference, device = held(np.rint(mean), 4), noisy(stopped, 2)
    places = {"reference": [143, 347, 556, 923], "device": [225, 430, 718, 1087]}
    for trace, role in ((reference, "reference"), (device, "device")):
        trace[places[role]] += np.array([1100, 1350, 1700, 1270])
    found = set_aside(reference, device).faults
    assert {role: [one.start for one in found if one.reason == f"{role}_spike"] for role in places} == places


def test_a_device_that_repeats_its_reading_beside_a_reference_that_lags(ride):
    """A reading of 4 s below its neighbours is a change of pace, and no lost half."""
    lively = np.where(ride > 0, np.maximum(ride + np.random.default_rng(7).normal(0, 60, 1200), 40), 0)
    row = np.exp(-np.arange(60) / 8)
    reference = np.rint(np.convolve(lively, row / row.sum())[:1200])
    found = set_aside(reference, repeated(noisy(lively, 2), 4)).faults
    assert not [one for one in found if one.kind == "partial"]


@pytest.mark.parametrize(("more", "told"), [({"kind": "running mean", "size_s": 4.1}, True), ({}, False)])
def test_a_size_beside_repeated_readings_is_said_to_be_of_both(more, told):
    """A mean over 3 s of a device that reads every 3 s was told as one over 4.1 s, without a word."""
    words, = repeated_words(Matched(reference=[100.0], device=[100.0], smoother="device", device_every_s=3, **more))
    assert ("A size told above is of its averaging and this together" in words) == told
