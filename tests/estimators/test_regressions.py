"""Faults once found, each held by the case that showed it."""

import math

import numpy as np
import pytest
from scipy.stats import nct

from agree import InputError, bias_by_band, deming, limits_of_agreement, passing_bablok
from agree.estimators.limits.agreement import exact_limit
from agree.estimators.lines import pairwise_slopes


def tenths(seed, n):
    """Readings in whole tenths of a watt."""
    rng = np.random.default_rng(seed)
    true = rng.uniform(1000, 3000, n)
    return np.rint(true + rng.normal(0, 30, n)), np.rint(1.02 * true + rng.normal(0, 30, n))


def test_serial_interval_does_not_depend_on_the_unit():
    x, y = tenths(1, 600)
    whole, decimal = (passing_bablok(x / k, y / k, sampling="serial") for k in (1, 10))
    assert decimal.n_slopes == whole.n_slopes
    for name in ("low", "value", "high"):
        assert getattr(decimal.slope, name) == pytest.approx(getattr(whole.slope, name), rel=1e-12)


def test_bracketing_finds_what_listing_finds_in_tenths_of_a_watt():
    rng = np.random.default_rng(1)
    for _ in range(20):
        true = 200 + rng.uniform(-3, 3, 700)
        x, y = (np.round(true + rng.normal(0, 3, 700), 1) for _ in range(2))
        found = passing_bablok(x, y).slope
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(pairwise_slopes, "LISTED", 10**9)
            listed = passing_bablok(x, y).slope
        for name in ("low", "value", "high"):
            # decimals are not exact: equal slopes differ by rounding
            assert getattr(found, name) == pytest.approx(getattr(listed, name), rel=1e-12)


@pytest.mark.parametrize(("n", "z", "level"), [
    (3, 0.6744897501960817, 0.95), (5, 0.6744897501960817, 0.95), (3, 1.959963984540054, 0.9999)])
@pytest.mark.parametrize("sign", [-1, 1])
def test_exact_limit_whose_near_bound_lies_beyond_the_mean(n, z, level, sign):
    item = exact_limit(0.0, 1.0, n, sign * z, level)
    near = item.low if sign > 0 else -item.high
    assert nct.cdf(near * math.sqrt(n), n - 1, z * math.sqrt(n)) == pytest.approx((1 - level) / 2, rel=1e-6)


def test_masked_values_are_missing():
    x = np.ma.masked_array([100.0, 9e9, 200, 250], [0, 1, 0, 0])
    with pytest.raises(InputError, match=r"^`reference` holds 1 NaN, first at index 1; remove them or pass nan_policy"):
        limits_of_agreement(x, [101.0, 152, 199, 250])
    assert limits_of_agreement(x, [101.0, 152, 199, 250], nan_policy="omit").bias.value == pytest.approx(0)


@pytest.mark.parametrize(("reference", "device", "options", "message"), [
    (np.array([1 + 2j, 2, 3]), [1, 2, 4], {}, "`reference` must hold numbers; got complex128 values"),
    (np.array(["2020-01-01", "2020-01-02", "2020-01-03"], "M8[D]"), [1, 2, 4], {},
     "`reference` must hold numbers; got datetime64[D] values"),
    ([1, 2, 3, 4], [1, 2, 4, 4], {"sampling": "sessions", "session": [1, 2, None, "a"]},
     "`session` must have a label for each pair; got None or NaN"),
    ([1, 2, 3, 4], [1, 2, 4, 4], {"sampling": "sessions", "session": [1, 1, math.nan, 2]},
     "`session` must have a label for each pair; got None or NaN"),
    ([10**400, 1, 2], [1, 2, 3], {}, "`reference` must hold numbers; int too large to convert to float"),
    ([1e308, -1e308, 1e308], [1, 2, 3], {},
     "`reference` holds readings beyond 1e+300, too large to square; change the unit"),
    ([1e-320, 1, 2], [1, 2, 3], {"scale": "percent"},
     "scale='percent' overflows at index 0: the reference is too near 0; set low readings aside"),
    ([1, 2, 3], [1, 2, 4], {"sampling": np.array([1, 2])},
     "`sampling` must be one of 'independent', 'serial', 'sessions'; got array([1, 2])"),
    ([1, 2, 3], [1, 2, 4], {"level": np.int64(95)},
     "`level` must be a fraction between 0 and 1, such as 0.95; got 95; did you mean 0.95?"),
])
def test_odd_input_is_named(reference, device, options, message):
    with pytest.raises(InputError) as caught:
        limits_of_agreement(reference, device, **options)
    assert str(caught.value) == message


def test_bands_name_the_reference():
    with pytest.raises(InputError) as caught:
        bias_by_band([[1, 2, 3]], [[1, 2, 3]], edges=[0, 5])
    assert str(caught.value) == "`reference` must be one-dimensional; got shape (1, 3)"


def test_session_labels_of_any_kind():
    x, y = [100, 200, 150, 250, 120, 220], [101, 202, 149, 251, 121, 219]
    by_number, by_mixed = (limits_of_agreement(x, y, sampling="sessions", session=s).bias
                           for s in ([1, 1, 2, 2, 3, 3], ["a", "a", 2, 2, "c", "c"]))
    assert by_number.low == by_mixed.low


def test_huge_error_ratio():
    line = deming([100, 150, 200, 250], [101, 152, 199, 250], error_variance_ratio=1e300)
    least_squares = np.polyfit([100, 150, 200, 250], [101, 152, 199, 250], 1)
    assert line.slope.value == pytest.approx(least_squares[0], rel=1e-12)
    assert line.slope.low < line.slope.value < line.slope.high
