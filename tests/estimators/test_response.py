"""Difference in response: known filters put in, noise that is none, and pairs freed from it."""

import csv
import json
import math
import pickle
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from agree import (
    Estimate,
    InputError,
    Pairs,
    SampleSizeError,
    match_response,
    pair_recordings,
    read_recording,
    response_difference,
)
from agree.estimators.response.kernels import Kernel, kernel, smoothed
from agree.estimators.response.linear.smeared import by_chance

RIDES = Path(__file__).resolve().parent.parent / "data" / "rides"


@cache
def ride(name="single-road-78min"):
    with (RIDES / f"{name}.csv").open(encoding="utf-8") as file:
        power = np.array([float(row["power_W"] or "nan") for row in csv.DictReader(file)])
    return np.where(np.isfinite(power), power, 0)


def mean(power, width):
    """Trailing mean, as a device would record it."""
    return np.convolve(power, np.ones(width) / width)[:power.size]


def lag(power, tau):
    keep = math.exp(-1 / tau)
    return lfilter([1 - keep], [1, -keep], power)


def noisy(rng, power, sd, tau=0.0):
    rho = math.exp(-1 / tau) if tau else 0.0
    error = lfilter([1], [1, -rho], rng.normal(0, sd * math.sqrt(1 - rho**2), power.size))
    return np.where(power > 5, np.rint(power + error), 0)


FILTERS = [(mean, 3), (mean, 5), (mean, 10), (lag, 1), (lag, 2), (lag, 4)]


@pytest.mark.parametrize(("smooth", "size"), FILTERS, ids=lambda item: getattr(item, "__name__", str(item)))
@pytest.mark.parametrize("side", ["device", "reference"])
def test_known_filters_are_found_under_noise(rng, smooth, size, side):
    power = ride()
    sharp, other = noisy(rng, 1.02 * power, 4), noisy(rng, smooth(power, size), 4, 5)
    x, y = (sharp, 1.02 * other) if side == "device" else (other, sharp)
    found = response_difference(x, y)
    item = found.width_s if smooth is mean else found.time_constant_s
    assert (found.kind, found.smoother) == ("running mean" if smooth is mean else "first order", side)
    assert found.alike == ()
    assert item.value == pytest.approx(size, rel=0.03)
    assert item.low < item.value < item.high
    assert (item.high - item.low) / item.value < 0.15
    late = (size - 1) / 2 if smooth is mean else 0
    assert found.delay_s.value == pytest.approx(late if side == "device" else -late, abs=0.05)
    assert found.explained.value > 0.7
    assert found.scatter_after_w < 0.6 * found.scatter_before_w


@pytest.mark.parametrize("name", ["single-road-78min", "single-road-stops", "pair-1-bike"])
@pytest.mark.parametrize(("sd", "tau"), [((8, 0), 0), ((0, 8), 0), ((8, 0), 5), ((3, 8), 2)])
def test_noise_of_one_side_is_no_smoothing(rng, name, sd, tau):
    x, y = (noisy(rng, ride(name), one, tau) for one in sd)
    assert np.var(np.diff(x)) != pytest.approx(np.var(np.diff(y)), rel=0.005)  # one trace does look sharper
    found = response_difference(x, y)
    assert (found.kind, found.smoother, found.alike, found.explained) == ("none", "", (), None)
    assert found.width_s is found.time_constant_s is None


@cache
def real_pair():
    """Two recorders of one ride: their noise is as it is, above 0.2 Hz more than half of what they read."""
    return pair_recordings(*(read_recording(RIDES / f"pair-1-{name}.csv") for name in ("bike", "pedals")))


def test_two_recorders_of_one_real_ride_differ_in_noise_only():
    assert response_difference(real_pair()).kind == "none"


@pytest.mark.parametrize(("smooth", "size", "side"), [(mean, 3, "device"), (mean, 5, "reference"), (lag, 2, "device"),
                                                      (lag, 1, "reference")])
def test_known_filters_are_found_under_the_noise_of_real_recorders(smooth, size, side):
    column = getattr(real_pair(), side)
    made = np.where(np.isfinite(column), smooth(np.nan_to_num(column), size), np.nan)
    found = response_difference(replace(real_pair(), **{side: made}))
    item = found.width_s if smooth is mean else found.time_constant_s
    assert (found.kind, found.smoother, found.alike) == ("running mean" if smooth is mean else "first order", side, ())
    assert item.low <= size <= item.high
    low, high = by_chance(item)
    assert high - low < 0.5
    assert item.high - item.low < 0.6  # their readings may lie between seconds
    assert found.slope.value == pytest.approx(response_difference(real_pair()).slope.value, abs=0.01)


def test_a_smoothing_device_is_no_error_of_scale():
    power = ride()
    device = mean(power, 3)
    raw = np.polyfit(power, device, 1)[0]
    found = response_difference(power, device)
    assert raw < 0.95
    assert found.slope.value == pytest.approx(1, abs=1e-6)
    assert found.explained.value == pytest.approx(1, abs=1e-6)


def test_nothing_to_see_in_slow_power():
    rng = np.random.default_rng(1)
    power = 200 + 4 * lfilter([1], [1, -0.99], rng.normal(size=900))
    found = response_difference(power + rng.normal(0, 4, 900), mean(power, 3) + rng.normal(0, 4, 900))
    assert found.kind == "none"
    assert found.alike == tuple(f"{kind} of the {side}" for side in ("device", "reference")
                                for kind in ("running mean", "first-order lag"))


def estimates(found):
    return [getattr(found, name) for name in ("width_s", "time_constant_s", "delay_s", "slope", "explained")
            if getattr(found, name)]


def limits(found):
    return np.array([[item.low, item.value, item.high] for item in estimates(found)])


@cache
def base():
    rng = np.random.default_rng(5)
    power = ride()[:1500]
    return noisy(rng, power, 4), noisy(rng, mean(power, 3), 4)


def test_exchange():
    x, y = base()
    one, other = response_difference(x, y), response_difference(y, x)
    assert (one.smoother, other.smoother) == ("device", "reference")
    assert other.width_s.to_dict() == one.width_s.to_dict()
    assert (other.delay_s.value, other.delay_s.low) == (-one.delay_s.value, -one.delay_s.high)
    assert other.slope.value == pytest.approx(1 / one.slope.value, rel=1e-9)


@pytest.mark.parametrize("factor", [1e-300, 1e-3, 1e290])
def test_another_unit(factor):
    x, y = base()
    one, other = response_difference(x, y), response_difference(factor * x, factor * y)
    assert limits(other) == pytest.approx(limits(one), rel=1e-5, abs=1e-6)
    assert other.scatter_after_w == pytest.approx(factor * one.scatter_after_w, rel=1e-6)


@settings(max_examples=5)
@given(late=st.integers(-12, 12), offset=st.floats(-50, 50))
def test_shift_in_time_and_power(late, offset):
    x, y = base()
    one = response_difference(x[20:-20], y[20:-20])
    other = response_difference(x[20:-20], np.roll(y, late)[20:-20] + offset)
    assert other.width_s.value == pytest.approx(one.width_s.value, abs=0.02)
    assert other.delay_s.value == pytest.approx(one.delay_s.value + late, abs=0.02)


def test_time_leaves_room_for_seconds_left_out():
    x, y = base()
    at = np.r_[0:400, 403:900, 5000:5600]
    blank_x, blank_y = np.full(1500, np.nan), np.full(1500, np.nan)
    blank_x[at[:897]], blank_y[at[:897]] = x[at[:897]], y[at[:897]]
    short = response_difference(x[at[:897]], y[at[:897]], time=at[:897])
    assert short.to_dict() == response_difference(blank_x[:900], blank_y[:900]).to_dict()
    assert response_difference(np.resize(x, at.size), np.resize(y, at.size), time=at).n == at.size


def message(*arguments, error=InputError, **options):
    with pytest.raises(error) as caught:
        response_difference(*arguments, **options)
    assert type(caught.value) is error
    return str(caught.value)


def few(count):
    return f"at least 300 changes from one second to the next are needed, known in both; got {count}"


def test_too_little_to_judge():
    x, y = base()
    assert message([100, 200, 150], [101, 199, 149], error=SampleSizeError) == few(2)
    assert message([], [], error=SampleSizeError) == few(0)
    assert message(x[:300], y[:300], error=SampleSizeError) == few(299)
    assert response_difference(x[:301], y[:301]).n == 301
    assert message(np.full(900, np.nan), y[:900], error=SampleSizeError) == few(0)
    assert message(np.where(np.arange(900) % 2, np.nan, x[:900]), y[:900], error=SampleSizeError) == few(0)


def test_readings_that_cannot_be_used():
    x, y = base()
    flat = "no response: `{}` does not change from one second to the next; record a ride whose power changes"
    assert message(np.full(1500, 200.0), y) == flat.format("reference")
    assert message(x, np.zeros(1500)) == flat.format("device")
    assert message(x, np.full(1500, 200.0) * np.nan, error=SampleSizeError) == few(0)
    assert message(x, y[:-1]) == "`reference` and `device` must have equal lengths; got 1500 and 1499"
    assert message(x, np.where(y == y[7], math.inf, y)).startswith("`device` holds ")
    assert message(x) == "`device` is needed: the device's readings, beside the reference's"
    assert message(x, y, level=95) == ("`level` must be a fraction between 0 and 1, such as 0.95; got 95; did you mean "
                                       "0.95?")
    assert message(x, y, time=np.arange(1500) / 4).startswith("`time` must increase by whole seconds, at least 1 from ")
    assert message(x, y, time=[1, 2]) == "`time` must have the length of `reference`, 1500; got 2"
    assert message(x, y, time=np.full(1500, math.nan)) == "`time` must hold finite numbers, seconds"
    assert message(Pairs(reference=x, device=y), y).startswith("with `Pairs` neither `device` nor `time` is needed")
    rng = np.random.default_rng(1)
    assert message(rng.normal(200, 30, 900), rng.normal(200, 30, 900)).startswith(
        "no response: changes of `reference` and `device` from second to second do not go together within 45 s "
        "(largest correlation 0.")


def test_the_same_trace_twice():
    found = response_difference(ride()[:900], ride()[:900])
    assert found.kind == "none"
    assert (found.delay_s.value, found.slope.value) == pytest.approx((0, 1), abs=1e-6)
    assert found.scatter_before_w == found.scatter_after_w == 0


def test_results_are_frozen_json_safe_and_printable():
    found = response_difference(*base(), level=0.9)
    assert pickle.loads(pickle.dumps(found)).to_dict() == found.to_dict()
    assert json.loads(json.dumps(found.to_dict(), allow_nan=False))["smoother"] == "device"
    with pytest.raises(AttributeError):
        found.kind = "none"
    assert {item.level for item in estimates(found)} == {0.9}
    lines = str(found).splitlines()
    assert lines[0].startswith("The device is the smoother: running mean over 3.0")
    assert max(map(len, lines)) <= 79
    none = str(response_difference(base()[0], base()[0]))
    assert none.splitlines()[:2] == ["No difference in response found.",
                                     "  excluded: a mean over 3 s and a lag of 1 s, of either"]


def point(value, half=0.0):
    return Estimate(value=value, low=value - half, high=value + half, level=0.95, method="")


def test_kernels():
    start, weights = kernel("running mean", point(3.02), point(1.0))
    assert start == 0
    assert weights == pytest.approx([1 / 3] * 3)
    start, weights = kernel("running mean", point(4.3, 0.5), point(-0.6, 0.2))
    assert start == -2
    assert weights == pytest.approx([0.25] * 4)
    start, weights = kernel("running mean", point(2.5), point(0.3))
    assert start == -1
    assert weights == pytest.approx([0.45 / 2.5, 0.4, 0.4, 0.05 / 2.5])  # a box from -0.95 to 1.55 s
    start, weights = kernel("first order", point(2.0), point(0.0))
    assert start == 0
    assert weights[:3] == pytest.approx((1 - math.exp(-0.5)) * np.exp([0, -0.5, -1]), rel=0.003)
    assert kernel("none", None, point(-2.2)) == (-2, np.ones(1))


@given(st.lists(st.one_of(st.floats(-1e3, 1e3), st.just(math.nan)), min_size=1, max_size=30), st.integers(-4, 4),
       st.integers(1, 6))
def test_smoothing_against_a_loop(values, start, count):
    weights = np.arange(1.0, count + 1)
    made = smoothed(np.array(values), Kernel(start, weights))
    for t in range(len(values)):
        at = [t - start - k for k in range(count)]
        inside = all(0 <= i < len(values) for i in at)
        expected = sum(w * values[i] for w, i in zip(weights, at, strict=True)) if inside else math.nan
        assert made[t] == pytest.approx(expected, nan_ok=True, abs=1e-8)


@pytest.mark.parametrize("side", ["device", "reference"])
def test_matched_pairs_agree_and_keep_faults_to_themselves(side):
    power = ride()[:1500].copy()
    power[600:640] = 0
    smooth = mean(power, 5)
    x, y = (power, smooth) if side == "device" else (smooth, power)
    reason = np.where((x == 0) & (y == 0), "both_coasting", "")
    sharp = power.copy()
    sharp[1000], reason[1000] = 1900, "device_spike"
    x, y = (sharp, y) if side == "device" else (x, sharp)
    pairs = Pairs(reference=x, device=y, reason=reason)
    before = pairs.to_dict()
    matched = match_response(pairs)
    assert pairs.to_dict() == before
    assert (matched.reference.tolist(), matched.device.tolist()) == (x.tolist(), y.tolist())
    assert np.abs(matched.matched_device - matched.matched_reference)[matched.used].max() < 1e-9
    changed = np.flatnonzero(matched.reason != reason)
    assert {1001, 1002, 1003, 1004} <= set(changed) <= {0, 1, 2, 3, 1001, 1002, 1003, 1004}
    assert set(matched.reason[changed[changed > 4]]) == {"beside_fault"}
    assert set(matched.reason[changed[changed < 4]]) <= {"beside_gap"}  # what came before the first second is not known
    assert (matched.reason[reason != ""] == reason[reason != ""]).all()
    record = matched.matched
    assert (record.kind, record.smoother) == ("running mean", side)
    assert record.size_s == pytest.approx(5, abs=0.05)
    assert record.mean_delay_s == pytest.approx(2 if side == "device" else -2)


def test_matching_takes_a_response_found_elsewhere():
    x, y = base()
    found = response_difference(x, y)
    short = Pairs(reference=x[600:660], device=y[600:660])
    matched = match_response(short, found)
    assert matched.used.sum() == short.used.sum() - 2
    kept = match_response(Pairs(reference=x, device=x))
    assert kept.matched_reference.tolist() == x.tolist()
    assert (kept.matched.kind, kept.matched.smoother) == ("none", "")
    with pytest.raises(InputError, match=r"^`pairs` must be `Pairs`; got list$"):
        match_response([1, 2])
    with pytest.raises(InputError, match=r"^`response` must come from `response_difference`; got str$"):
        match_response(short, "3 s")
