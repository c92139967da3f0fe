"""Two stages of smoothing in a row, readings between seconds, lags slower one way, and what no kind fits."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from agree import response_difference
from agree.estimators.response.kernels import kernel
from agree.estimators.response.linear.two_stages import sizes_of, turned
from agree.estimators.response.matched_columns import matched
from agree.estimators.response.matching import find_filter
from agree.estimators.response.nonlinear.uneven import Uneven
from agree.estimators.response.transfer import Fitted
from agree.report.plain_text.details import response_words


def lag(x, tau):
    keep = math.exp(-1 / tau)
    return lfilter([1 - keep], [1, -keep], x - x[0]) + x[0]


def mean(x, width):
    return np.convolve(np.r_[np.full(width - 1, x[0]), x], np.ones(width) / width, "valid")


def ride(seed=1, n=1800):
    """Power that changes within seconds and over minutes."""
    rng = np.random.default_rng(seed)
    x = 200 + 40 * rng.normal(size=n) + 60 * lag(rng.normal(size=n), 20.0)
    return np.maximum(x, 20.0), rng


WAYS = {"two lags": lambda x: lag(lag(x, 5.0), 2.0), "equal lags": lambda x: lag(lag(x, 3.0), 3.0),
        "mean and lag": lambda x: lag(mean(x, 5), 2.0)}


@pytest.mark.parametrize(("way", "first", "second"), [
    ("two lags", 5.0, 2.0), ("equal lags", 3.0, 3.0), ("mean and lag", 5.0, 2.0)])
@pytest.mark.parametrize("side", ["device", "reference"])
def test_two_stages_are_found_with_both_sizes(way, first, second, side):
    """One lag told 5.9 s [5.6, 6.2] of two of 3 s, and a slope whose limits held 1 in half of the runs."""
    x, rng = ride()
    y = 1.02 * WAYS[way](x) + rng.normal(0, 4, x.size)
    x = x + rng.normal(0, 4, x.size)
    found = response_difference(*((x, y) if side == "device" else (y, x)))
    sizes = (found.width_s, found.time_constant_s) if way == "mean and lag" else (
        found.time_constant_s, found.second_constant_s)
    assert (found.kind, found.smoother, found.alike) == (way.replace("equal", "two"), side, ())
    for size, true in zip(sizes, (first, second), strict=True):
        assert size.low <= true <= size.high
        assert size.high - size.low < 2.4
    slope = 1.02 if side == "device" else 1 / 1.02
    assert found.slope.low <= slope <= found.slope.high
    assert found.slope.high - found.slope.low < 0.2
    assert found.delay_s.low - 0.01 <= (2.0 if way == "mean and lag" else 0.0) * (
        1 if side == "device" else -1) <= found.delay_s.high + 0.01


def test_one_lag_is_no_two():
    x, rng = ride(2)
    found = response_difference(x + rng.normal(0, 4, x.size), lag(x, 4.0) + rng.normal(0, 4, x.size))
    assert (found.kind, found.second_constant_s) == ("first order", None)


def test_readings_between_seconds_are_no_filter():
    """A delay by 0.4 s was told as a running mean over 1.9 s."""
    x, rng = ride(3)
    late = 0.6 * x + 0.4 * np.r_[x[:1], x[:-1]]
    found = response_difference(late + rng.normal(0, 2, x.size), x + rng.normal(0, 2, x.size))
    assert (found.kind, found.smoother, found.width_s) == ("none", "reference", None)
    assert found.between_s == pytest.approx(0.4, abs=0.03)
    assert found.delay_s.value == pytest.approx(-0.4, abs=0.03)
    assert found.slope.value == pytest.approx(1, abs=0.01)
    assert "after seconds of the other" in " ".join(found.summary().split())


def test_a_lag_that_is_slower_one_way_has_both_constants():
    """It was told as one lag of 2.6 s."""
    x, rng = ride(4)
    y = Uneven(4.0, 1.5, 0.0).through(x) + rng.normal(0, 3, x.size)
    found = response_difference(x, y)
    assert (found.kind, found.smoother, found.fits) == ("uneven", "device", True)
    for size, true in ((found.time_constant_s, 4.0), (found.down_constant_s, 1.5)):
        assert size.low <= true <= size.high
        assert size.high - size.low < 1
    assert "to more power, and of" in response_words(found)


def test_what_no_kind_fits_has_no_size_and_no_limits():
    """A mean over 10 s above 200 W only."""
    x, rng = ride(5)
    y = np.where(x > 200, mean(x, 10), x) + rng.normal(0, 3, x.size)
    found = response_difference(x, y)
    assert not found.fits
    assert math.isinf(found.slope.high)
    assert all(item is None or math.isinf(item.high) for item in (found.width_s, found.time_constant_s))
    assert "that was tried fits" in " ".join(found.summary().split())
    assert "no size is told" in response_words(found) or found.width_s is None


def test_two_stages_are_matched():
    x, _ = ride(6)
    y = lag(lag(x, 3.0), 3.0)
    made = find_filter(x, y)
    record = matched(made, x, y)
    known = np.isfinite(record.reference)
    assert (record.kind, record.smoother) == ("two lags", "device")
    assert record.second_low_s <= 3.0 <= record.size_high_s
    assert float(np.abs(record.device - record.reference)[known].max()) < 2.0
    assert record.mean_delay_s == pytest.approx(5.0, abs=0.3)  # sampled lags of 3 s are late by 2.5 s each


def test_weights_of_two_stages():
    one = response_difference(*two_lags()).time_constant_s
    alone = kernel("first order", one, one.__class__(value=0.0, low=0.0, high=0.0, level=0.95, method=""))
    both = kernel("two lags", one, one.__class__(value=0.0, low=0.0, high=0.0, level=0.95, method=""), one)
    assert np.allclose(both.weights, np.convolve(alone.weights, alone.weights))


def two_lags():
    x, _ = ride(7, 600)
    return x, lag(lag(x, 3.0), 2.0)


def test_limits_of_two_lags_where_they_are_equal():
    """Sum 6 s, squared difference 0: what errs in the difference goes to both sides, and stays between."""
    at = Fitted("two lags", 3.0, 0.0, 100.0, 1.0, 0.5, 3.0)
    (more, less, apart), (wider, narrower, square) = turned(at)
    assert (more.size + more.second - less.size - less.second).real == pytest.approx(apart)
    assert ((wider.size - wider.second) ** 2 - (narrower.size - narrower.second) ** 2).real == pytest.approx(square)
    rng = np.random.default_rng(1)
    longer, shorter = sizes_of(at, np.stack([rng.normal(0, 1, 900), rng.normal(0, 30, 900)]), 0.95, 0.003)
    assert (longer.value, shorter.value) == (3.0, 3.0)
    assert longer.low <= 3 < 3.3 < longer.high
    assert shorter.low < 2.7 < 3 <= shorter.high


def test_words_name_both_stages():
    text = " ".join(response_difference(*two_lags()).summary().split())
    assert "two first-order lags in a row, with time constants of" in text
    assert " and, in a row, with one of " in response_words(response_difference(*two_lags()))
