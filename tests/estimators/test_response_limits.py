"""Limits of sizes and slopes: noise of one trace alone, noise that grows with power, readings between, drift."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from agree import DriftWarning, Estimate, deming, response_difference
from agree.estimators.response import transfer
from agree.estimators.response.choice import Choice
from agree.estimators.response.kernels import kernel
from agree.estimators.response.linear.smeared import (
    as_good,
    between_seconds,
    by_chance,
    drift_span,
    undrifted,
    with_smear,
)
from agree.estimators.response.matched_slope import allowing_between, matched_slope
from agree.estimators.response.transfer import Fitted, Seen

STEPS = np.array([100.0, 140, 180, 220, 260, 300] * 6)
NOISE = np.array([20.0, -20, 20, -20, 20, -20, -20, 20, -20, 20, -20, 20] * 3)  # does not go with STEPS


def seconds(value, error, low=None, high=None):
    half = 2.306004 * error
    return Estimate(value=value, low=value - half if low is None else low, high=value + half if high is None else high,
                    level=0.95, method="", standard_error=error, df=8)


@pytest.mark.parametrize(("of_reference", "of_device"), [(1, 0), (0, 1)])
def test_a_slope_covers_whoever_has_the_noise(of_reference, of_device):
    """Variance of STEPS 4666.67, of the noise 400: least squares give 0.921 and 1.086 for a slope of 1."""
    found = matched_slope(STEPS + of_reference * NOISE, STEPS + of_device * NOISE, 0.95)
    assert found.value == pytest.approx(1, abs=0.05)
    assert found.low < 1 < found.high
    least, most = (4666.667 / 5066.667, 1.0) if of_reference else (1.0, 5066.667 / 4666.667)
    assert found.low <= least + 1e-6
    assert found.high >= most - 1e-6


def test_a_slope_that_wanders_slowly_is_less_sure():
    """The scale goes from 0.98 to 1.02 in ten minutes: errors slower than the recording may be behind it."""
    x = 200 + 40 * np.sin(2 * np.pi * np.arange(600) / 7)
    y = x * np.linspace(0.98, 1.02, 600)
    with pytest.warns(DriftWarning):
        found, plain = matched_slope(x, y, 0.95), deming(x, y, sampling="serial").slope
    assert found.value == plain.value
    assert found.high - found.low > 1.5 * (plain.high - plain.low)


def test_points_on_a_line_have_a_sure_slope():
    found = matched_slope(STEPS, 1.02 * STEPS + 3, 0.95)
    assert found.value == pytest.approx(1.02, abs=1e-9)
    assert found.high - found.low < 0.001


@pytest.mark.parametrize(("kind", "size", "span", "left"), [
    ("running mean", 5.0, 4.0, 3.0), ("running mean", 3.0, 0.0, 3.0), ("running mean", 2.0, 2.5, 1.0),
    ("first order", 2.0, 0.0, 2.0), ("first order", 2.0, 1.0, 1.979052), ("first order", 0.3, 3.0, 0.0)])
def test_size_less_a_drift(kind, size, span, left):
    assert undrifted(kind, size, span) == pytest.approx(left, abs=1e-6)


def test_a_drift_of_the_delay_is_seen():
    """Influences that go from -0.2 to 0.2 s are a drift of 0.4 s, whose error is 0."""
    assert drift_span(np.linspace(-0.2, 0.2, 4000)) == pytest.approx(0.4, abs=0.001)
    assert drift_span(np.zeros(400)) == 0


@pytest.mark.parametrize(("worse", "allowed"), [
    pytest.param(3.8, True, id="BETWEEN_FITS"), pytest.param(3.9, False, id="BETWEEN_FITS")])
def test_readings_between_seconds_that_fit_as_well(worse, allowed, monkeypatch):
    """64 frequencies: a misfit of 128 is that of chance."""
    ones = np.ones(64)
    data = Seen(np.linspace(0.01, 0.49, 64), ones + 0j, ones, ones, ones)
    found = Fitted("running mean", 3.2, 1.5, 128.0, 1.0, 0.5)
    monkeypatch.setattr(transfer, "nearest", lambda *_: found._replace(size=3.0, delay=1.0, misfit=128.0 + worse))
    size, delay = with_smear(seconds(3.2, 0.01), seconds(1.5, 0.01), 1.0, np.zeros(400),
                             as_good(data, between_seconds(data, found)))
    assert size.value == 3.2
    assert (size.low < 3.0, delay.high > 1.8) == (allowed, allowed)
    assert size.high == pytest.approx(3.2 + 0.02306, abs=1e-6)
    assert size.standard_error == 0.01


def test_limits_beside_chance_do_not_move_the_weights():
    """A mean over 3.3 s is laid over the trace as it is, though its interval holds 3 s."""
    wide = seconds(3.3, 0.02, low=2.9)
    assert by_chance(wide) == pytest.approx((3.25388, 3.34612), abs=1e-4)
    weights = kernel("running mean", wide, seconds(1.0, 0.02)).weights
    assert weights.tolist() == kernel("running mean", seconds(3.3, 0.02), seconds(1.0, 0.02)).weights.tolist()
    assert weights.max() == pytest.approx(1 / 3.3)


def test_a_mean_that_ends_half_way_between_seconds_covers():
    """Its second-by-second readings are half of one trailing mean over 3 s and half of the next."""
    rng = np.random.default_rng(4)
    power = 200 + 40 * rng.normal(size=1500)
    mean = np.convolve(power, np.array([0.5, 1, 1, 0.5]) / 3)[:1500]
    found = response_difference(power + rng.normal(0, 5, 1500), mean + rng.normal(0, 5, 1500))
    assert found.kind == "running mean"
    assert found.between_s == pytest.approx(0.5, abs=0.05)
    assert found.width_s.value == pytest.approx(3, abs=0.05)  # 3.2 s of readings on seconds
    assert found.width_s.low <= 3 <= found.width_s.high
    assert found.delay_s.low <= 1.5 <= found.delay_s.high


def test_the_best_fit_is_where_the_grid_led(rng):
    power = 200 + 40 * rng.normal(size=600)
    data = transfer.seen(transfer.cross(power, np.convolve(power, np.ones(4) / 4)[:600] + rng.normal(0, 3, 600)))
    best = transfer.best(data, "running mean")
    again = transfer.nearest(data, "running mean", np.array([best.delay + 0.1, best.share, best.size + 0.2]),
                             transfer.SIZES["running mean"])
    assert (again.size, again.delay) == (pytest.approx(best.size, abs=1e-3), pytest.approx(best.delay, abs=1e-3))


@pytest.mark.parametrize("kind", ["running mean", "first order"])
@pytest.mark.parametrize("size", [-5.0, -1e-3, -0.0, 0.0, 1e-9, 1e-3, 0.3, 1e3, 1e5, math.inf])
def test_any_lower_limit_of_a_size_gives_a_size(kind, size):
    """A limit just below 0 raised OverflowError in a pair of real rides."""
    found = undrifted(kind, size, 0.5)
    assert found >= (1 if kind == "running mean" else 0)
    assert found <= max(size, 1.0) * (1 + 1e-9)


@pytest.mark.parametrize("size", [1e-3, 0.1, 0.2, 900.0])
def test_a_size_at_a_limit_of_its_interval_is_a_filter_or_left_out(size):
    """A lag of 1 ms has no second weight; one of a quarter of an hour needs more seconds than there are."""
    x = np.random.default_rng(1).normal(200, 30, 600)
    ways = tuple(Fitted("two lags", 2.0, 0.0, 128.0, 1.0, 0.5, second) for second in (1.0, size))
    chosen = Choice("two lags", "device", seconds(2.0, 0.01), seconds(0.0, 0.01), (), 1.0, ways, seconds(1.0, 0.01))
    assert math.isfinite(allowing_between(seconds(1.0, 0.01), chosen, x, x, np.ones(600)).low)


@pytest.mark.parametrize("fits", [True, False])
def test_limits_of_the_slope_take_in_readings_between_seconds(fits):
    """A lag of 2 s read half-way between seconds: beside the filter on whole seconds the slope is 2 % too high."""
    rng = np.random.default_rng(3)
    x = 200 + 60 * lfilter([0.3], [1, -0.7], rng.normal(0, 1, 3000))
    lagged = lfilter([1 - np.exp(-0.5)], [1, -np.exp(-0.5)], x - 200)
    y = 200 + (lagged + np.r_[0, lagged[:-1]]) / 2
    plain = Fitted("first order", 2.3, 0.2, 128.0, 1.0, 0.5)
    ways = (plain, plain._replace(size=2.0, delay=0.0, part=0.5))[:1 + fits]
    chosen = Choice("first order", "device", seconds(2.3, 0.01), seconds(0.2, 0.01), (), 1.0, ways)
    plain = seconds(1.0214, 0.005)
    wide = allowing_between(plain, chosen, x, y, np.ones(3000))
    assert wide.value == plain.value
    assert wide.low == pytest.approx(plain.low - (0.023 if fits else 0), abs=0.002)
    assert wide.high == pytest.approx(plain.high, abs=0.001)
