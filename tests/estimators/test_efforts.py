"""Best efforts: windows against a loop, gaps and coasting, intervals, and what cannot be had."""

import json
import math
import pickle
import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from agree import DriftWarning, InputError, Pairs, SampleSizeError, best_efforts, pair_recordings
from agree.core.data.matched import Matched
from agree.estimators.response.bests.effort_windows import ENOUGH, Errors, errors, means, selection, spreading


def effort(rng, seconds=1800):
    power = 220 + 60 * np.sin(np.arange(seconds) / 70) + 30 * lfilter([1], [1, -0.9], rng.normal(size=seconds)) / 2
    return np.clip(power, 40, None)


@pytest.fixture
def pairs(rng):
    power = effort(rng)
    return Pairs(reference=power, device=1.02 * power + lfilter([1], [1, -0.8], rng.normal(0, 2, power.size)))


def slow_best(values, time, known, duration):
    """Best window by looking at each: (mean, time of its first second)."""
    best = (-math.inf, math.nan)
    for i in range(len(values) - duration + 1):
        inside = range(i, i + duration)
        if all(known[k] for k in inside) and time[i + duration - 1] - time[i] == duration - 1:
            total = sum(values[k] for k in inside) / duration
            if total > best[0] + 1e-9:
                best = total, time[i]
    return best


@pytest.mark.filterwarnings("ignore::agree.DriftWarning")  # of made-up readings, now and then
@given(st.lists(st.tuples(st.integers(0, 900), st.sampled_from(["", "", "", "", "coast", "gone", "dropped", "jump"])),
                min_size=50, max_size=120), st.sampled_from([1, 2, 5, 13]))
def test_windows_against_a_loop(rows, duration):
    power = np.array([float(value) for value, _ in rows])
    what = [kind for _, kind in rows]
    power[[kind == "coast" for kind in what]] = 0
    x, y = power.copy(), np.where(power > 0, 1.1 * power[::-1] + 3, 0)
    both = (x == 0) & (y == 0)
    y[[kind == "gone" for kind in what]] = math.nan
    dropped = np.array([kind == "dropped" for kind in what])
    reason = np.select([np.isnan(y), both, dropped], ["missing", "both_coasting", "device_dropout"], "")
    time = np.cumsum([5.0 if kind == "jump" else 1.0 for kind in what])
    pairs = Pairs(reference=x, device=y, reason=reason, time=time)
    if pairs.used.sum() < 30:
        with pytest.raises(SampleSizeError):
            best_efforts(pairs)
        return
    item = best_efforts(pairs, durations_s=(duration,)).efforts[0]
    own = {"reference": np.isfinite(x), "device": np.isfinite(y) & (reason != "device_dropout")}
    for name, values in (("reference", x), ("device", y)):
        mean, start = slow_best(values, time, own[name], duration)
        if math.isnan(start):
            assert "no unbroken run" in item.note
            assert math.isnan(getattr(item, f"{name}_w"))
        else:
            assert getattr(item, f"{name}_w") == pytest.approx(mean, abs=1e-9)
            assert getattr(item, f"{name}_start_s") == start
    both_known = own["reference"] & own["device"]
    common = [slow_best(values, time, both_known, duration)[0] for values in (x, y)]
    if item.note:
        assert common == [-math.inf] * 2
        return
    assert [item.reference_common_w, item.device_common_w] == pytest.approx(common, abs=1e-9)
    assert item.difference.value == pytest.approx(common[1] - common[0], abs=1e-9)
    first = {"device": item.reference_start_s, "reference": item.device_start_s}
    gone = {role: [second for second in np.arange(first[role], first[role] + duration)
                   if second not in time[own[role]]] for role in first}
    lacking = next((role for role in ("device", "reference") if gone[role]), "")
    assert item.lacks == lacking
    if lacking:
        assert (item.lacks_at_s, item.lacks_s) == (gone[lacking][0], len(gone[lacking]))
        assert item.lacks_reason == ("device_dropout" if gone[lacking][0] in time[reason == "device_dropout"]
                                     else "missing")
    assert item.overlap_s == max(duration - abs(item.device_start_s - item.reference_start_s), 0)
    same = np.flatnonzero(time == item.reference_start_s)[0]
    inside = np.where(own["device"], y, math.nan)[same:same + duration]
    assert item.device_same_w == pytest.approx(inside.mean(), nan_ok=True)
    assert item.windows_differ == (item.device_start_s != item.reference_start_s)


def test_gaps_break_windows_and_coasting_does_not():
    power = np.full(200, 250.0)
    power[100:110] = 0
    coasting = Pairs(reference=power, device=power + 1.0 * (power > 0))
    item = best_efforts(coasting, durations_s=(150,)).efforts[0]
    assert (item.reference_w, item.reference_start_s) == (pytest.approx(250 * 140 / 150), 0)
    power[100:110] = math.nan
    missing = best_efforts(Pairs(reference=power, device=power), durations_s=(90, 100, 150)).efforts
    assert [one.note for one in missing] == ["", "", "no unbroken run of 150 s; the longest is 100 s"]
    time = np.r_[0:100, 103:203].astype(float)
    left_out = Pairs(reference=np.full(200, 250.0), device=np.full(200, 251.0), time=time)
    item = best_efforts(left_out, durations_s=(101,)).efforts[0]
    assert item.note == "no unbroken run of 101 s; the longest is 100 s"


def test_a_known_window():
    power = np.full(900, 200.0) + np.tile([-1.0, 0, 1], 300)
    power[400:460] += 150
    device = 1.03 * power
    device[600:630] += 400
    result = best_efforts(Pairs(reference=power, device=device), durations_s=(60, 30))
    short, long = result.efforts
    assert (short.duration_s, long.duration_s) == (30, 60)
    assert (long.reference_w, long.reference_start_s) == (pytest.approx(350), 400)
    assert (short.device_start_s, short.overlap_s) == (600, 0)
    assert long.device_same_w == pytest.approx(1.03 * 350)
    assert long.same_window_percent.value == pytest.approx(3)
    assert short.difference.value == pytest.approx(1.03 * 200 + 400 - 350)
    assert short.difference_percent.value == pytest.approx(100 * short.difference.value / 350)


def test_the_best_never_rises_above_what_shorter_ones_allow(pairs):
    """A window of 2 D is two of D: its mean is no higher than the best of D; so for every multiple."""
    items = best_efforts(pairs, durations_s=(1, 5, 10, 30, 60, 300, 600, 1200)).efforts
    for name in ("reference_w", "device_w"):
        best = [getattr(item, name) for item in items]
        for k, longer in enumerate(items):
            for j, shorter in enumerate(items[:k]):
                if longer.duration_s % shorter.duration_s == 0:
                    assert best[k] <= best[j] + 1e-9


def numbers(result):
    return [[one.reference_w, one.device_w, one.device_same_w, one.selection_w, one.difference.low, one.difference.high,
             one.same_window.low, one.same_window.value, one.same_window.high] for one in result.efforts]


SHORT = (1, 15, 60, 600)


@pytest.mark.parametrize("factor", [1e-300, 1e-3, 7.0, 1e290])
def test_another_unit(pairs, factor):
    other = Pairs(reference=factor * pairs.reference, device=factor * pairs.device)
    one, two = best_efforts(pairs, durations_s=SHORT), best_efforts(other, durations_s=SHORT)
    assert numbers(two) == [pytest.approx(factor * np.array(row), rel=1e-6, abs=1e-9 * factor) for row in numbers(one)]
    for first, second in zip(one.efforts, two.efforts, strict=True):
        assert second.difference_percent.low == pytest.approx(first.difference_percent.low, rel=1e-6)


def test_shift_in_time(pairs):
    later = Pairs(reference=pairs.reference, device=pairs.device, time=pairs.time + 3600)
    one, two = best_efforts(pairs, durations_s=SHORT), best_efforts(later, durations_s=SHORT)
    assert numbers(one) == numbers(two)
    assert [b.device_start_s - a.device_start_s for a, b in zip(one.efforts, two.efforts, strict=True)] == [3600] * 4


def test_seconds_not_used_tell_nothing(pairs):
    reason = np.array(pairs.reason)
    reason[100:110] = "device_spike"
    device = np.array(pairs.device)
    one = best_efforts(Pairs(reference=pairs.reference, device=device, reason=reason), durations_s=SHORT)
    device[100:110] = 3000
    two = best_efforts(Pairs(reference=pairs.reference, device=device, reason=reason), durations_s=SHORT)
    assert numbers(one) == numbers(two)


def test_intervals_hold_the_difference_and_widen_by_what_selection_adds(pairs):
    for item in best_efforts(pairs, durations_s=SHORT, level=0.9).efforts:
        half = item.same_window.value - item.same_window.low
        assert item.same_window.high - item.same_window.value == pytest.approx(half + item.selection_w)
        half = item.difference.value - item.difference.low
        assert item.difference.high - item.difference.value == pytest.approx(half)
        assert item.difference.low <= item.difference.value <= item.difference.high
        assert item.same_window.level == 0.9
        assert item.selection_w >= 0


def test_errors_that_grow_with_power_make_wide_intervals_at_high_power(rng):
    power = effort(rng, 3600)
    power[2000:2005] = 1000
    error = rng.normal(size=3600)
    def sd(scale):
        pairs = Pairs(reference=power, device=power + scale * error)
        return best_efforts(pairs, durations_s=(1,)).efforts[0].same_window.standard_error
    assert sd(5.0) == pytest.approx(5, rel=0.25)
    assert sd(0.03 * power) == pytest.approx(30, rel=0.25)


def test_variance_of_a_window_mean(rng):
    """White errors: SD/sqrt(D); errors alike over 30 s: hardly less than SD for 5 s."""
    power = effort(rng, 6000)
    for tau, duration, low, high in ((0, 25, 0.9, 1.1), (30, 5, 4.3, 5.2), (0, 600, 0.17, 0.28)):
        rho = math.exp(-1 / tau) if tau else 0.0
        draws = [spreading(errors(power, power + noise), power, duration, 220.0) for noise in lfilter(
            [1], [1, -rho], rng.normal(0, 5 * math.sqrt(1 - rho**2), (20, 6000)), axis=1)]
        assert low < math.sqrt(np.mean([found.variance for found in draws])) < high
        assert {found.df == 8 for found in draws} == {ENOUGH * duration > 6000}


def test_selection_takes_a_few_columns_of_memory():
    """100 drawings at once took 800 MB on a ride of 200,000 s."""
    flat = np.full(20_000, 200.0)
    noise = np.random.default_rng(3).normal(0, 2, flat.size)
    found = errors(flat, flat + noise)
    tracemalloc.start()
    selection(found, flat, [1, 60])
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 20 * flat.nbytes


def test_selection_is_that_of_the_largest_of_independent_errors():
    """Flat power, white errors of SD 1 W: the best second is above by the largest of n normal values."""
    rng = np.random.default_rng(2)
    error = rng.normal(size=4000)
    left = error - error.mean()
    flat = np.full(4000, 0.5)
    found = Errors(left, flat, np.ones(4000, bool), 1 / math.sqrt(4000), 8.0, False, 4000)
    raised = selection(found, flat, [1, 100])
    largest = np.mean([np.abs(left).max(), left.max()])
    assert raised[0] == pytest.approx(largest, rel=0.15)
    assert 0.15 < raised[1] < 0.45  # the largest of 40 such means, and of those between


def test_means():
    values = np.array([1.0, 2, math.nan, 4, 5, 6])
    assert means(values, 2).tolist() == pytest.approx([1.5, math.nan, math.nan, 4.5, 5.5], nan_ok=True)
    assert means(values, 6).tolist() == pytest.approx([math.nan], nan_ok=True)
    tiny = np.full(100000, 300.0)
    tiny[-1] += 1e-6
    assert means(tiny, 10)[-1] - 300 == pytest.approx(1e-7, rel=1e-3)


def test_constant_power():
    flat = Pairs(reference=np.full(300, 200.0), device=np.full(300, 204.0))
    for item in best_efforts(flat, durations_s=(1, 60, 300)).efforts:
        assert (item.reference_start_s, item.device_start_s, item.selection_w) == (0, 0, 0)
        assert [item.difference.low, item.difference.value, item.difference.high] == pytest.approx([4] * 3)
        assert item.same_window_percent.value == pytest.approx(2)


def test_errors_that_wander_are_named(rng):
    power = effort(rng)
    with pytest.warns(DriftWarning, match=r"^the error drifts over the recording"):
        best_efforts(Pairs(reference=power, device=power + np.linspace(0, 30, power.size)))


def message(given, error=InputError, **options):
    with pytest.raises(error) as caught:
        best_efforts(given, **options)
    assert type(caught.value) is error
    return str(caught.value)


def test_what_cannot_be_used(pairs):
    few = "at least 30 used seconds are needed; got {}"
    gone = np.full(60, math.nan)
    assert message(Pairs(reference=gone, device=gone), SampleSizeError) == few.format(0)
    assert message(Pairs(reference=[100, 200, 150], device=[101, 201, 149]), SampleSizeError) == few.format(3)
    assert message(Pairs(reference=[], device=[]), SampleSizeError) == few.format(0)
    assert message(Pairs(reference=np.zeros(90), device=np.zeros(90)), SampleSizeError) == few.format(0)
    assert message([1, 2, 3]) == "`pairs` must be `Pairs`; got list"
    assert message(pairs, level=95).endswith("got 95; did you mean 0.95?")
    wrong = "`durations_s` must be different whole numbers of seconds from 1 to 86400, such as (5, 60, 300); got {}"
    for bad in ((), (0,), (2.5,), (True,), (5, 5), (-1, 60), "60", 60, None, (90000,)):
        assert message(pairs, durations_s=bad) == wrong.format(repr(bad))


def test_gaps_everywhere(pairs):
    holed = np.where(np.arange(1800) % 4 == 3, math.nan, pairs.device)
    items = best_efforts(Pairs(reference=pairs.reference, device=holed), durations_s=(1, 3, 4)).efforts
    assert [item.note for item in items] == ["", "", "no unbroken run of 4 s in the device"]
    assert items[2].reference_w > 0


def test_results_are_frozen_json_safe_and_printable(pairs):
    result = best_efforts(pairs)
    assert [item.duration_s for item in result.efforts] == [1, 5, 15, 30, 60, 300, 600, 1200, 3600]
    assert pickle.loads(pickle.dumps(result)).to_dict() == result.to_dict()
    stored = json.loads(json.dumps(result.to_dict(), allow_nan=False))
    assert stored["efforts"][8]["note"] == "no unbroken run of 3600 s; the longest is 1800 s"
    assert stored["efforts"][8]["difference"] is None
    with pytest.raises(AttributeError):
        result.level = 0.9
    lines = str(result).splitlines()
    assert max(map(len, lines)) <= 79
    assert [title in lines[0] for title in ("difference, %", "averaging", "scale, %")] == [True] * 3
    assert [line.split("  ")[0] for line in lines[2:10]] == ["1 s", "5 s", "15 s", "30 s", "1 min", "5 min", "10 min",
                                                            "20 min"]
    without = "60 min: no unbroken run of 3600 s; the longest is 1800 s."
    assert without in lines
    nothing = str(best_efforts(pairs, durations_s=(3600,))).splitlines()
    assert nothing == [without, "1,800 s known, the longest run 1,800 s."]


def slow(power, tau):
    keep = math.exp(-1 / tau)
    return lfilter([1 - keep], [1, -keep], power)


@pytest.fixture
def ride():
    rows = np.genfromtxt(Path(__file__).parent.parent / "data" / "rides" / "single-road-stops.csv", delimiter=",",
                         names=True)
    power = np.zeros(int(rows["time_s"][-1] - rows["time_s"][0]) + 1)
    power[(rows["time_s"] - rows["time_s"][0]).astype(int)] = np.nan_to_num(rows["power_W"])
    return power


def paired(reference, device, **more):
    def frame(power):
        return pd.DataFrame({"time_s": np.arange(power.size), "power_W": power})

    return pair_recordings(frame(reference), frame(device), **more)


def test_the_reference_s_best_does_not_depend_on_the_device_beside_it(ride):
    true = [float(np.convolve(ride, np.ones(one) / one, "valid").max()) for one in SHORT]
    for device in (np.minimum(ride, np.quantile(ride, 0.97)), np.rint(slow(ride, 2.5)), np.where(
            np.arange(ride.size) % 50 == 0, 0, ride)):
        found = best_efforts(paired(ride, device), durations_s=SHORT).efforts
        assert [one.reference_w for one in found] == pytest.approx(true)


def test_saturated_seconds_count_and_windows_that_differ_are_marked(ride):
    top = np.quantile(ride, 0.99)
    cut = paired(ride, np.minimum(ride, top))
    assert cut.counts()["device_saturation"] > 10
    best = best_efforts(cut, durations_s=(1,)).efforts[0]
    assert (best.reference_w, best.device_w) == (pytest.approx(ride.max()), pytest.approx(top))
    assert best.windows_differ


@pytest.mark.parametrize("role", ["device", "reference"])
def test_a_ceiling_is_neither_averaging_nor_scale(rng, role):
    """A mean over 4 s beside a ceiling of 700 W: of 15 s 16 % low -15.6 was told as averaging, which can only add."""
    watts = np.maximum(170 + lfilter([6.5], [1, -0.905], rng.normal(0, 1, 1500)), 20)
    for at in range(150, 1400, 130):
        watts[at:at + 10] = 900
    slow_one, cut = np.convolve(watts, np.ones(4) / 4)[:1500], np.minimum(watts, 700)
    columns = (slow_one, cut) if role == "device" else (cut, slow_one)
    result = best_efforts(Pairs(
        reference=columns[0], device=columns[1], reason=np.where(watts >= 700, f"{role}_saturation", ""),
        matched=Matched(reference=slow_one, device=slow_one, kind="running mean", size_s=4.0,
                        smoother="reference" if role == "device" else "device")), durations_s=(5, 15, 300))
    for item in result.efforts:
        assert item.unsplit == "ceiling"
        assert math.isnan(item.averaging_percent)
        assert item.scale_percent is None
    assert (result.seconds, result.longest_run_s) == (1500, 1500)
    told = " ".join(str(result).split())
    assert told.count(" ceiling ceiling ") == 3
    assert "so that averaging and scale are not told apart" in told
    assert "A dash" not in told


@pytest.mark.parametrize(("last", "told"), [(14, ""), (16, "faulty seconds")])
def test_another_effort_at_one_response_is_not_split(last, told):
    """Beside faulty seconds the best window is not known at one response: one by half its length later still is it."""
    watts = np.full(400, 200.0) + np.arange(400) / 1000
    watts[100:180] = 300 - np.arange(80) / 1000
    made = watts.copy()
    made[100:100 + last] = math.nan
    pairs = Pairs(reference=watts, device=watts, reason=np.where(np.isnan(made), "beside_fault", ""),
                  matched=Matched(reference=made, device=watts, smoother="device", kind="running mean", size_s=3.0))
    assert best_efforts(pairs, durations_s=(30,)).efforts[0].unsplit == told


@pytest.mark.parametrize("tau", [1.5, 4.0])
def test_averaging_and_scale_are_told_apart_in_a_row(ride, rng, tau):
    x = np.where(ride > 0, np.maximum(ride + rng.normal(0, 5, ride.size), 1), 0)
    even = slow(ride, tau)
    y = np.where(even >= 0.5, np.maximum(0.96 * even + rng.normal(0, 4, ride.size), 0), 0)
    for best in best_efforts(paired(np.rint(x), np.rint(y)), durations_s=(5, 15, 60)).efforts:
        truth = 100 * (np.convolve(even, np.ones(best.duration_s), "valid").max()
                       / np.convolve(ride, np.ones(best.duration_s), "valid").max() - 1)
        assert best.averaging_percent == pytest.approx(truth, abs=1.5)
        assert best.scale_percent.low < -4 < best.scale_percent.high
        assert best.scale_percent.value == pytest.approx(-4, abs=1.5)
        # Errors about the line come from one response: no interval of hundreds of per cent.
        assert best.difference_percent.high - best.difference_percent.low < 15


@pytest.mark.parametrize(("role", "reason"), [("device", "device_spike"), ("reference", "missing")])
def test_a_second_that_one_trace_lacks_is_no_difference_of_bests(rng, role, reason):
    """One bad second moved the best 20 min of one trace to another hour: -36 % with an interval of 0.2 %."""
    power = 150 + 40 * np.sin(np.arange(5200) / 50)
    power[1000:2400] += 150
    x, y = power + rng.normal(0, 2, 5200), power + rng.normal(0, 2, 5200)
    why = np.full(5200, "", dtype="<U20")
    why[1700] = reason
    (x if role == "reference" else y)[1700] = math.nan if reason == "missing" else 900
    result = best_efforts(Pairs(reference=x, device=y, reason=why), durations_s=(1200, 3600))
    long, longest = result.efforts
    assert abs(getattr(long, f"{role}_w") / getattr(long, "device_w" if role == "reference" else "reference_w")
               - 1) > 0.1
    assert long.difference_percent.low < 0 < long.difference_percent.high
    assert long.scale_percent.low < 0 < long.scale_percent.high
    assert abs(long.difference_percent.value) < 0.3
    assert (long.lacks, long.lacks_at_s, long.lacks_s, long.lacks_reason) == (role, 1700, 1, reason)
    assert longest.note == f"no unbroken run of 3600 s in the {role}"
    text = " ".join(str(result).split())
    assert "nan" not in text
    assert f"* Different windows: the {role} does not know" in text
    what = "1 s missing from 0:28:20 on" if reason == "missing" else "the device jumped to a wild value at 0:28:20"
    assert f"60 min: no unbroken run of 3600 s in the {role}: {what}; the " in text


@pytest.mark.parametrize(("matched", "told"), [
    ({"kind": "first order", "smoother": "device"}, ""),
    ({"kind": "first order", "smoother": "device", "fits": False}, "no kind fits"),
    ({"kind": "none", "smoother": "device"}, "delay alone"),
    ({"kind": "none", "smoother": "device", "held_s": 3}, ""),
    ({"kind": "none", "smoother": "device", "device_every_s": 2}, ""),
    ({"kind": "none", "smoother": ""}, "")])
def test_averaging_and_scale_are_told_where_a_response_is_known(pairs, matched, told):
    columns = Matched(reference=0.8 * pairs.reference, device=pairs.device, **matched)
    result = best_efforts(replace(pairs, matched=columns), durations_s=(1, 60))
    assert result.unsplit == told
    for item in result.efforts:
        assert (item.scale_percent is None) == bool(told)
        assert math.isnan(item.averaging_percent) == bool(told)
        assert abs(item.difference_percent.value) < 10
    text = " ".join(str(result).split())
    assert ("no kind of response fits how the two differ" in text) == (told == "no kind fits")
    assert ("differ by a part of a second alone" in text) == (told == "delay alone")


def test_degrees_of_freedom_are_those_of_the_windows(rng):
    """White errors: a variance from 6,000 of them, 25 s a window, is known as one from some 240 windows is."""
    power = effort(rng, 6000)
    draws = [spreading(errors(power, power + rng.normal(0, 5, 6000)), power, 25, 220.0).df for _ in range(10)]
    assert 30 < np.median(draws) < 1000
