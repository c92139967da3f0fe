"""What must hold for any data: exchange, shift, scale, order, repetition, near-constant and extreme readings."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from agree import InputError, bias_by_band, deming, limits_of_agreement, passing_bablok

pytestmark = [pytest.mark.filterwarnings("ignore:neighbouring errors are alike"),  # as some drawn orders make them
              pytest.mark.filterwarnings("ignore:the errors are not normal")]

# Sixteenths of a watt: sums and differences are exact, and no two slopes differ by rounding alone.
READINGS = st.lists(st.tuples(st.integers(800, 6400), st.integers(-160, 160)), min_size=4, max_size=40)


def pairs(rows):
    x = np.array([a for a, _ in rows]) / 16
    return x, x + np.array([b for _, b in rows]) / 16


def spread_out(x, y):
    assume(np.ptp(x) > 20)
    assume(np.ptp(y - x) > 0)
    assume(abs(np.corrcoef(x, y)[0, 1]) > 0.3)


def ends(item):
    return [item.low, item.value, item.high]


def same(found, expected, rel=1e-9, tiny=1e-9):
    assert found == pytest.approx(expected, rel=rel, abs=tiny)


@given(READINGS, st.sampled_from(["exact", "approximate"]))
def test_exchange_turns_the_limits_about(rows, interval):
    x, y = pairs(rows)
    one, other = (limits_of_agreement(*both, interval=interval) for both in ((x, y), (y, x)))
    same(ends(other.bias), [-v for v in reversed(ends(one.bias))])
    same(ends(other.lower), [-v for v in reversed(ends(one.upper))])
    assert other.sd == one.sd


@given(READINGS)
def test_exchange_inverts_the_ratio_limits(rows):
    x, y = pairs(rows)
    one, other = limits_of_agreement(x, y, scale="log"), limits_of_agreement(y, x, scale="log")
    same(ends(other.bias), [1 / v for v in reversed(ends(one.bias))])
    same(ends(other.lower), [1 / v for v in reversed(ends(one.upper))])


@given(READINGS, st.floats(0.1, 10))
def test_exchange_inverts_demings_slope(rows, ratio):
    x, y = pairs(rows)
    spread_out(x, y)
    one, other = deming(x, y, error_variance_ratio=ratio), deming(y, x, error_variance_ratio=1 / ratio)
    same(other.slope.value, 1 / one.slope.value)
    same(other.intercept.value, -one.intercept.value / one.slope.value, tiny=1e-6)


@given(READINGS)
def test_exchange_inverts_passing_and_bablok_for_an_odd_number_of_slopes(rows):
    x, y = pairs(rows)
    spread_out(x, y)
    try:
        one = passing_bablok(x, y)
    except InputError as error:
        assert str(error).startswith("no line: the median slope is vertical")  # noqa: PT017  (the documented refusal)
        return
    assume(one.n_slopes % 2 and one.slope.value > 0)
    other = passing_bablok(y, x)
    assert other.n_slopes == one.n_slopes
    same(other.slope.value, 1 / one.slope.value, rel=1e-13)
    if one.slope.low > 0:
        assert ends(other.slope) == pytest.approx([1 / v for v in reversed(ends(one.slope))], rel=1e-13)


@given(READINGS, st.integers(-3200, 3200).map(lambda k: k / 16))
def test_shift_of_the_device(rows, shift):
    x, y = pairs(rows)
    spread_out(x, y)
    before, after = limits_of_agreement(x, y), limits_of_agreement(x, y + shift)
    for name in ("bias", "lower", "upper"):
        same(ends(getattr(after, name)), [v + shift for v in ends(getattr(before, name))])
    for fit in (deming, passing_bablok):
        one, other = fit(x, y), fit(x, y + shift)
        assume(math.isfinite(one.slope.low))
        same(ends(other.slope), ends(one.slope), rel=1e-7)
        same(ends(other.intercept), [v + shift for v in ends(one.intercept)], rel=1e-6, tiny=1e-5)


@given(READINGS, st.sampled_from([2.0**-20, 0.25, 8.0, 2.0**20, 1e-150, 1e150]))
def test_scale_of_both(rows, factor):
    x, y = pairs(rows)
    spread_out(x, y)
    u, v = x + math.pi / 1000, y + math.pi / 1000  # rounded in no unit
    before, after = limits_of_agreement(u, v), limits_of_agreement(u * factor, v * factor)
    for name in ("bias", "lower", "upper"):
        same([v / factor for v in ends(getattr(after, name))], ends(getattr(before, name)))
    one, other = deming(u, v), deming(u * factor, v * factor)
    same(ends(other.slope), ends(one.slope), rel=1e-7)
    same([v / factor for v in ends(other.intercept)], ends(one.intercept), rel=1e-6, tiny=1e-6)
    if math.frexp(factor)[0] == 0.5:  # a power of two changes no digit
        assume(np.unique(x).size == x.size)  # of few levels the median slope may be vertical
        one, other = passing_bablok(x, y), passing_bablok(x * factor, y * factor)
        assert ends(other.slope) == ends(one.slope)
        assert [v / factor for v in ends(other.intercept)] == ends(one.intercept)


@given(READINGS, st.randoms(use_true_random=False))
def test_order_does_not_matter_to_independent_pairs(rows, random):
    x, y = pairs(rows)
    spread_out(x, y)
    order = list(range(x.size))
    random.shuffle(order)
    for fit in (deming, passing_bablok):
        try:
            one = fit(x, y)
        except InputError:  # a vertical median slope: refused in any order
            with pytest.raises(InputError, match=r"^no line: the median slope is vertical"):
                fit(x[order], y[order])
            continue
        other = fit(x[order], y[order])
        same(ends(other.slope), ends(one.slope), rel=1e-8)
        same(ends(other.intercept), ends(one.intercept), rel=1e-8, tiny=1e-7)
    one, other = limits_of_agreement(x, y), limits_of_agreement(x[order], y[order])
    same(ends(other.upper), ends(one.upper))
    one, other = (bias_by_band(a, b, edges=[0, 200, 500]) for a, b in ((x, y), (x[order], y[order])))
    for first, second in zip(one.bands, other.bands, strict=True):
        assert first.n == second.n
        assert ends(second.bias) == pytest.approx(ends(first.bias), rel=1e-9, abs=1e-9, nan_ok=True)


@given(READINGS)
def test_every_pair_twice_leaves_the_estimates(rows):
    x, y = pairs(rows)
    spread_out(x, y)
    xx, yy = np.tile(x, 2), np.tile(y, 2)
    same(deming(xx, yy).slope.value, deming(x, y).slope.value)
    same(limits_of_agreement(xx, yy).bias.value, limits_of_agreement(x, y).bias.value)
    factor = math.sqrt(2 * (x.size - 1) / (2 * x.size - 1))  # divisor n - 1
    same(limits_of_agreement(xx, yy).sd, factor * limits_of_agreement(x, y).sd)
    # Each slope counts four times, and no pair of a point with its copy counts.
    try:
        line = passing_bablok(x, y)
    except InputError:  # a vertical median slope: refused twice as once
        with pytest.raises(InputError, match=r"^no line: the median slope is vertical"):
            passing_bablok(xx, yy)
        return
    twice = passing_bablok(xx, yy)
    assert twice.n_slopes == 4 * line.n_slopes
    same(twice.slope.value, line.slope.value, rel=1e-13)


@pytest.mark.parametrize("power", [1e-300, 1e300])
def test_extreme_readings(power):
    rng = np.random.default_rng(1)
    x = rng.integers(100, 300, 30) / 1000
    y = x + rng.integers(-5, 6, 30) / 1000
    for fit in (deming, passing_bablok):
        assert ends(fit(x * power, y * power).slope) == pytest.approx(ends(fit(x, y).slope), rel=1e-9)
    for scale, factor in (("difference", power), ("percent", 1), ("log", 1)):
        one, other = (limits_of_agreement(a, b, scale=scale) for a, b in ((x, y), (x * power, y * power)))
        assert [v / factor for v in ends(other.upper)] == pytest.approx(ends(one.upper), rel=1e-9)
    one, other = (bias_by_band(a, b, edges=[0, math.inf]) for a, b in ((x, y), (x * power, y * power)))
    assert ends(other.bands[0].bias) == pytest.approx(ends(one.bands[0].bias), rel=1e-9)


def test_a_nearly_constant_error_keeps_its_digits():
    """Differences of 1e-9 W on 1e6 W: the SD is that of the differences as they are stored."""
    x = 1e6 + np.arange(50.0)
    y = x + 5 + 2.0**-30 * np.tile([-1.0, 1.0], 25)  # exact in binary
    result = limits_of_agreement(x, y)
    assert result.bias.value == 5
    assert result.sd == pytest.approx(2.0**-30 * math.sqrt(50 / 49), rel=1e-12)


def test_a_nearly_constant_level_keeps_demings_slope():
    x = 1e6 + np.array([0.0, 1, 2, 3, 4, 5])
    line = deming(x, 2 * (x - 1e6) + 7)
    assert line.slope.value == pytest.approx(2, rel=1e-9)
