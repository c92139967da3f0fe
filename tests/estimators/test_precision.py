"""Precision and the components behind it: other programs, exact cases, invariances, bad input."""

import math
import warnings

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from agree import InputError, SampleSizeError, precision
from agree.estimators.components import Part, between_parts, mover, one_way, square_limits, total_parts

GROUPS = st.lists(st.lists(st.integers(800, 1600), min_size=1, max_size=6), min_size=2, max_size=7)
NAMES = ("repeatability_sd", "between_sd", "reproducibility_sd", "repeatability_limit")


def columns(groups):
    assume(any(len(group) > 1 for group in groups))
    values = np.array([v for group in groups for v in group]) / 8
    labels = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    within = values - np.array([values[labels == k].mean() for k in labels])
    assume(np.abs(within).max() > 0.1)
    return values, labels


def ends(item):
    return [item.low, item.value, item.high]


def test_mean_squares_equal_two_other_programs(rng, oracle):
    stats, pandas, pingouin = oracle("scipy.stats"), oracle("pandas"), oracle("pingouin")
    sizes = [3, 5, 2, 4, 1, 6]
    labels = np.repeat(np.arange(6), sizes)
    values = rng.normal(0, 3, 6)[labels] + rng.normal(200, 4, labels.size)
    result = precision(values, labels)
    f, p = stats.f_oneway(*(values[labels == k] for k in range(6)))
    assert (result.f, result.p_value) == pytest.approx((f, p), rel=1e-9)
    with warnings.catch_warnings():  # it lags behind pandas
        warnings.simplefilter("ignore")
        table = pingouin.anova(pandas.DataFrame({"v": values, "g": labels}), dv="v", between="g", detailed=True)
    assert [result.between_square, result.within_square] == pytest.approx(list(table["MS"]), rel=1e-9)


@given(GROUPS)
def test_components_solve_the_moment_equations(groups):
    """E(between) = within + size * variance between, by the sizes' own sum, for any numbers."""
    values, labels = columns(groups)
    result = precision(values, labels)
    n_i = np.bincount(labels)
    size = (n_i.sum() - (n_i**2).sum() / n_i.sum()) / (n_i.size - 1)
    expected = max(0.0, (result.between_square - result.within_square) / size)
    assert result.between_sd.value == pytest.approx(math.sqrt(expected), rel=1e-9, abs=1e-9)
    assert result.reproducibility_sd.value == pytest.approx(
        math.hypot(result.repeatability_sd.value, result.between_sd.value), rel=1e-12)
    for name in NAMES:
        item = getattr(result, name)
        assert 0 <= item.low <= item.value <= item.high


@given(GROUPS, st.sampled_from([2.0**-20, 4.0, 1e140, 1e-140]), st.integers(-99, 99), st.randoms())
def test_unit_origin_order_and_names_do_not_matter(groups, factor, shift, random):
    values, labels = columns(groups)
    order = list(range(values.size))
    random.shuffle(order)
    one = precision(values, labels)
    named = np.array([f"lab {k}" for k in labels])
    for other, unit in ((precision(values * factor, labels), factor), (precision(values + shift, labels), 1),
                        (precision(values[order], named[order]), 1), (precision(-values, labels), 1)):
        for name in NAMES:
            assert [v / unit for v in ends(getattr(other, name))] == pytest.approx(
                ends(getattr(one, name)), rel=1e-7, abs=1e-7)


@given(GROUPS)
def test_per_cent_is_the_same_of_logarithms(groups):
    values, labels = columns(groups)
    logs, result = precision(np.log(values), labels), precision(values, labels, scale="percent")
    for name in NAMES:
        assert ends(getattr(result, name)) == pytest.approx(100 * np.expm1(ends(getattr(logs, name))), rel=1e-9,
                                                            abs=1e-9)
    assert ends(result.mean) == pytest.approx(np.exp(ends(logs.mean)), rel=1e-9)


def test_repeats_alone_have_the_exact_interval(rng, oracle):
    chi2 = oracle("scipy.stats").chi2(8)
    item = precision(rng.normal(0, 2, 12), np.repeat([1, 2, 3, 4], 3)).repeatability_sd
    assert [chi2.cdf(8 * (item.value / limit) ** 2) for limit in (item.low, item.high)] == pytest.approx([0.975, 0.025])


def test_one_part_alone_has_its_own_limits():
    assert mover([Part(3.0, 2.0, 7)], 0.95)[1:] == pytest.approx([3 * v for v in square_limits(2.0, 7, 0.95)])
    low, high = square_limits(2.0, 7, 0.95)
    assert mover([Part(-1.0, 2.0, 7)], 0.95) == pytest.approx((-2.0, -high, -low))


def test_two_parts_are_joined_by_the_root_sum_of_squares():
    parts = [Part(1.0, 5.0, 4), Part(-0.5, 2.0, 12)]
    (l1, u1), (l2, u2) = (square_limits(part.square, part.df, 0.9) for part in parts)
    value, low, high = mover(parts, 0.9)
    assert value == 4.0
    assert low == pytest.approx(4 - math.hypot(5 - l1, 0.5 * (u2 - 2)))
    assert high == pytest.approx(4 + math.hypot(u1 - 5, 0.5 * (2 - l2)))


def test_equal_groups_have_one_answer_by_means_and_by_squares(rng):
    values, labels = rng.normal(0, 1, 20), np.repeat(np.arange(5), 4)
    a = one_way(values, labels)
    assert a.size == a.harmonic == 4
    assert a.of_means * 4 == pytest.approx(a.between, rel=1e-12)
    value = sum(part.coefficient * part.square for part in between_parts(a))
    assert value == pytest.approx((a.between - a.within) / 4, rel=1e-12)
    assert sum(part.coefficient * part.square for part in total_parts(a)) == pytest.approx(value + a.within, rel=1e-12)


def test_groups_alike_have_no_component_between():
    result = precision([1.0, 3, 1.25, 3.25, 1.75, 3.75], [1, 1, 2, 2, 3, 3])
    assert (result.between_sd.value, result.between_sd.low) == (0, 0)
    assert result.f < 0.2
    assert result.between_sd.high > 0.5
    assert result.reproducibility_sd.value == result.repeatability_sd.value == math.sqrt(2)
    same = precision([1.0, 3, 1, 3, 1, 3], [1, 1, 2, 2, 3, 3])
    assert (same.f, same.p_value, same.between_sd.high) == (0, 1, 0)


def test_readings_all_alike_and_repeats_all_alike():
    result = precision([5.0] * 6, [1, 1, 2, 2, 3, 3])
    assert all(ends(getattr(result, name)) == [0, 0, 0] for name in NAMES)
    assert math.isnan(result.f)
    apart = precision([5.0, 5, 6, 6, 8, 8], [1, 1, 2, 2, 3, 3])
    assert ends(apart.repeatability_sd) == [0, 0, 0]
    assert (apart.f, apart.p_value) == (math.inf, 0)
    assert apart.to_dict()["f"] is None


@pytest.mark.parametrize("power", [1e-300, 1e299])
def test_extreme_readings(power):
    values, labels = np.array([1.0, 1.5, 2, 2.25, 4]), [1, 1, 2, 2, 3]
    for name in NAMES:
        assert [v / power for v in ends(getattr(precision(values * power, labels), name))] == pytest.approx(
            ends(getattr(precision(values, labels), name)), rel=1e-9)


def test_three_readings():
    result = precision([1, 2, 5], ["a", "a", "b"])
    assert (result.groups, result.n) == (2, 3)
    assert result.repeatability_sd.value == pytest.approx(math.sqrt(0.5))


@pytest.mark.parametrize(("values", "group", "options", "error", "text"), [
    ([1, 2, 3], [1, 2, 3], {}, SampleSizeError,
     "at least 2 groups, one of them with 2 readings, are needed; got 3 readings in 3 groups"),
    ([1, 2, 3], [1, 1, 1], {}, SampleSizeError,
     "at least 2 groups, one of them with 2 readings, are needed; got 3 readings in 1 groups"),
    ([], [], {}, SampleSizeError,
     "at least 2 groups, one of them with 2 readings, are needed; got 0 readings in 0 groups"),
    ([1, 2, 3], [1, 1], {}, InputError, "`group` must have one label for each reading; got shape (2,) for 3 readings"),
    ([1, 2, 3], [1, 1, None], {}, InputError, "`group` must have a label for each reading; got None or NaN"),
    ([1, math.nan, 3], [1, 1, 2], {}, InputError,
     "`values` holds 1 NaN, first at index 1; remove them or pass nan_policy='omit'"),
    ([1, math.inf, 3], [1, 1, 2], {}, InputError, "`values` holds 1 infinite value(s), first at index 1; remove them"),
    ([1, 0, 3], [1, 1, 2], {"scale": "percent"}, InputError,
     "scale='percent' works through logarithms and needs positive readings; `values` holds 1 of zero or less, first at "
     "index 1; set them aside or use scale='difference'"),
    ([1, 2, 3], [1, 1, 2], {"level": 95}, InputError,
     "`level` must be a fraction between 0 and 1, such as 0.95; got 95; did you mean 0.95?"),
])
def test_readings_that_cannot_be_used(values, group, options, error, text):
    with pytest.raises(error) as caught:
        precision(values, group, **options)
    assert str(caught.value) == text


def test_omitted_readings_are_left_out():
    held = precision([1, math.nan, 2, 5, 6], [1, 1, 1, 2, 2], nan_policy="omit")
    assert held.to_dict() == precision([1, 2, 5, 6], [1, 1, 2, 2]).to_dict()


def test_a_common_bias_stays_unseen():
    """What the caution says."""
    values, labels = np.array([200.0, 202, 205, 204]), [1, 1, 2, 2]
    assert ends(precision(values + 50, labels).reproducibility_sd) == ends(precision(values, labels).reproducibility_sd)
    assert "no reference is in it" in precision(values, labels).summary()
