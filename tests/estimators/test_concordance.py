"""Concordance correlation against formulas, a jackknife, and what must hold for any data."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from agree import DriftWarning, concordance

SUBJECT = np.repeat(np.arange(20), 4)

READINGS = st.lists(st.tuples(st.integers(800, 6400), st.integers(-160, 160)), min_size=4, max_size=40)


def pairs(rows):
    x = np.array([a for a, _ in rows]) / 16
    y = x + np.array([b for _, b in rows]) / 16
    assume(np.ptp(x) > 1 and np.ptp(y) > 1 and np.ptp(y - x) > 0)
    return x, y


def ends(item):
    return [item.low, item.value, item.high]


def lin(x, y):
    """Lin 1989, equation as printed, with divisor n."""
    return 2 * np.cov(x, y, ddof=0)[0, 1] / (x.var() + y.var() + (x.mean() - y.mean()) ** 2)


@given(READINGS)
def test_it_is_lins_formula_and_the_product_of_its_parts(rows):
    x, y = pairs(rows)
    result = concordance(x, y)
    assert result.concordance.value == pytest.approx(lin(x, y), abs=1e-9)
    assert result.precision.value == pytest.approx(np.corrcoef(x, y)[0, 1], abs=1e-9)
    assert result.concordance.value == pytest.approx(result.precision.value * result.accuracy.value, abs=1e-9)
    v, u = result.scale_shift.value, result.location_shift.value
    assert result.accuracy.value == pytest.approx(2 / (v + 1 / v + u * u), rel=1e-12)
    for item in (result.concordance, result.precision, result.accuracy):
        assert -1 <= item.low <= item.value <= item.high <= 1


@given(READINGS)
def test_exchange(rows):
    x, y = pairs(rows)
    one, other = concordance(x, y), concordance(y, x)
    for name in ("concordance", "precision", "accuracy"):
        assert ends(getattr(other, name)) == pytest.approx(ends(getattr(one, name)), abs=1e-9)
    assert ends(other.scale_shift) == pytest.approx([1 / v for v in reversed(ends(one.scale_shift))], rel=1e-9)
    assert ends(other.location_shift) == pytest.approx([-v for v in reversed(ends(one.location_shift))], abs=1e-9)


@given(READINGS, st.sampled_from([2.0**-30, 8.0, 1e150, 1e-150]), st.integers(-1000, 1000), st.randoms())
def test_unit_origin_and_order_do_not_matter(rows, factor, shift, random):
    x, y = pairs(rows)
    order = list(range(x.size))
    random.shuffle(order)
    one = concordance(x, y)
    for other in (concordance(x * factor, y * factor), concordance(x + shift, y + shift),
                  concordance(x[order], y[order]), concordance(-x, -y)):
        for name in ("concordance", "precision", "accuracy"):
            assert ends(getattr(other, name)) == pytest.approx(ends(getattr(one, name)), abs=1e-8)


@given(READINGS)
def test_every_pair_twice_leaves_the_estimate_and_narrows_the_interval(rows):
    x, y = pairs(rows)
    one, other = concordance(x, y), concordance(np.tile(x, 2), np.tile(y, 2))
    assert other.concordance.value == pytest.approx(one.concordance.value, abs=1e-9)
    assert other.concordance.low >= one.concordance.low - 1e-9


def test_standard_error_of_z_is_that_of_the_jackknife(rng):
    x = rng.normal(220, 50, 400)
    y = 3 + 0.97 * x + rng.standard_t(6, 400) * 12
    result = concordance(x, y)
    half = (math.atanh(result.concordance.high) - math.atanh(result.concordance.low)) / 2
    left_out = [math.atanh(lin(np.delete(x, i), np.delete(y, i))) for i in range(400)]
    jackknife = math.sqrt(399 * np.var(left_out))
    assert half / 1.96593 == pytest.approx(jackknife, rel=0.02)


def test_a_wider_range_raises_it_with_the_errors_unchanged(rng):
    """What the caution says."""
    x, error = rng.normal(0, 1, 500), rng.normal(0, 5, 500)
    narrow, wide = (concordance(200 + spread * x, 200 + spread * x + error) for spread in (10, 60))
    assert narrow.concordance.high < wide.concordance.low
    assert "depends on the range" in narrow.caution
    assert "depends on the range" in narrow.summary()


def test_near_one_nothing_cancels():
    """1 - r = 5e-17 is lost in r itself, but not in z, so that the limits stay apart from 1 in z."""
    x = np.linspace(100, 300, 50)
    y = x + 2.0**-26 * np.tile([1.0, -1.0], 25)
    result = concordance(x, y)
    assert result.concordance.value == 1.0
    assert result.concordance.low <= 1.0
    assert ends(concordance(x, -x).precision) == [-1, -1, -1]


@pytest.mark.parametrize("power", [1e-300, 1e299])
def test_extreme_readings(power):
    x, y = np.array([1.0, 2, 3, 5]), np.array([1.1, 2.0, 3.2, 4.9])
    for name in ("concordance", "accuracy"):
        assert ends(getattr(concordance(x * power, y * power), name)) == pytest.approx(
            ends(getattr(concordance(x, y), name)), rel=1e-9)


def test_three_pairs():
    result = concordance([1, 2, 3], [1, 2, 4])
    assert result.concordance.value == pytest.approx(6 / 7)
    assert -1 < result.concordance.low < 0 < result.concordance.high < 1


def test_a_wandering_error_is_named():
    x = np.tile([100.0, 200, 300, 220], 100)
    with pytest.warns(DriftWarning, match="drifts"):
        concordance(x, x + np.linspace(-9, 9, 400), sampling="serial")


def test_the_accuracy_takes_in_the_ideal_where_both_shifts_do():
    x = np.array([100.0, 150, 200, 250, 300])
    result = concordance(x, x + np.array([2, -1, -2, -1, 2]))
    assert result.location_shift.low <= 0 <= result.location_shift.high
    assert result.scale_shift.low <= 1 <= result.scale_shift.high
    assert result.accuracy.high == 1
    assert {field.name for field in dataclasses.fields(result)} >= {"caution", "n"}


def repeats(rng):
    """Four pairs of 20 subjects; the device has an error of its own on each subject."""
    true = rng.normal(200, 25, 20)[SUBJECT] + rng.normal(0, 15, 80)
    return true + rng.normal(0, 4, 80), true + 3 + rng.normal(0, 6, 20)[SUBJECT] + rng.normal(0, 4, 80)


def test_concordance_of_repeated_measures_is_one_less_a_ratio_of_squares(rng):
    """Squared differences over those of independent readings of the same subjects' repeats (King et al. 2007)."""
    x, y = repeats(rng)
    expected = 1 - ((x - y) ** 2).mean() / (x.var() + y.var() + (x.mean() - y.mean()) ** 2)
    found = concordance(x, y, sampling="sessions", session=SUBJECT).concordance
    assert found.value == pytest.approx(expected, rel=1e-12)


@pytest.mark.filterwarnings("ignore:neighbouring errors")
def test_concordance_of_repeated_measures_covers_between_subjects():
    """200 studies; the standard error of a share of 95 % is 1.5 points. Pairs as if independent cover too little."""
    rng, truth, hits = np.random.default_rng(1), 2 * 850 / (866 + 902 + 9), {"sessions": 0, "independent": 0}
    for _ in range(200):
        x, y = repeats(rng)
        for sampling, label in (("sessions", SUBJECT), ("independent", None)):
            item = concordance(x, y, sampling=sampling, session=label).concordance
            hits[sampling] += item.low <= truth <= item.high
    assert hits["sessions"] >= 181
    assert hits["independent"] <= 175
