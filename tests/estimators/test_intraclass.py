"""Intraclass correlations against another program, and what must hold for any table."""

import warnings

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from agree import InputError, SampleSizeError, intraclass

NAMES = ("one_way", "agreement", "consistency", "one_way_mean", "agreement_mean", "consistency_mean")
TABLES = st.integers(3, 9).flatmap(lambda n: st.integers(2, 5).flatmap(
    lambda k: st.lists(st.lists(st.integers(0, 4000), min_size=k, max_size=k), min_size=n, max_size=n)))
TABLE = np.array([[9.0, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])


def ends(item):
    return [item.low, item.value, item.high]


def long(table):
    subjects, raters = np.indices(table.shape)
    return table.ravel(), subjects.ravel(), raters.ravel()


@pytest.mark.parametrize(("n", "k"), [(3, 2), (6, 4), (20, 2), (12, 7)])
def test_all_six_equal_another_program(rng, oracle, n, k):
    pandas, pingouin = oracle("pandas"), oracle("pingouin")
    table = rng.normal(0, 20, (n, 1)) + rng.normal(0, 6, k) + rng.normal(0, 8, (n, k))
    values, subjects, raters = long(table)
    frame = pandas.DataFrame({"v": values, "s": subjects, "r": raters})
    with warnings.catch_warnings():  # it lags behind pandas
        warnings.simplefilter("ignore")
        expected = pingouin.intraclass_corr(frame, targets="s", raters="r", ratings="v")
    result = intraclass(table)
    limits = expected[next(column for column in expected.columns if column.startswith("CI95"))]
    for name, value, (low, high) in zip(NAMES, expected["ICC"], limits, strict=True):
        item = getattr(result, name)
        assert item.value == pytest.approx(value, rel=1e-9), name
        if value > 0:  # below 0 the degrees of freedom of `agreement` are taken at 0
            assert [item.low, item.high] == pytest.approx([low, high], abs=0.0051), name  # it rounds to 2 digits


@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
def test_exact_limits_solve_their_equation(rng, oracle, level):
    """At a limit the F statistic, divided by its expectation, is a quantile of F."""
    stats = oracle("scipy.stats")
    n, k = 8, 3
    result = intraclass(rng.normal(0, 3, (n, 1)) + rng.normal(0, 2, (n, k)), level=level)
    for item, error, df in ((result.one_way, result.within_square, n * (k - 1)),
                            (result.consistency, result.error_square, (n - 1) * (k - 1))):
        f = result.subject_square / error
        for limit, p in ((item.low, (1 + level) / 2), (item.high, (1 - level) / 2)):
            assert stats.f.cdf(f * (1 - limit) / (1 + (k - 1) * limit), n - 1, df) == pytest.approx(p, rel=1e-9)


@given(TABLES, st.sampled_from([2.0**-20, 16.0]), st.integers(-500, 500), st.randoms())
def test_unit_origin_and_order_do_not_matter(rows, factor, shift, random):
    table = np.array(rows, float)
    assume(np.ptp(table.mean(axis=1)) > 1)
    by_row, by_column = list(range(table.shape[0])), list(range(table.shape[1]))
    random.shuffle(by_row)
    random.shuffle(by_column)
    one = intraclass(table)
    values, subjects, raters = long(table)
    order = random.sample(range(values.size), values.size)
    for other in (intraclass(table * factor + shift), intraclass(-table), intraclass(table[by_row][:, by_column]),
                  intraclass(values[order], subjects[order], rater=raters[order])):
        for name in NAMES:
            assert ends(getattr(other, name)) == pytest.approx(ends(getattr(one, name)), rel=1e-7, abs=1e-7)


@given(TABLES)
def test_a_constant_difference_between_raters_counts_in_agreement_only(rows):
    table = np.array(rows, float)
    assume(np.ptp(table.mean(axis=1)) > 1)
    one, other = intraclass(table), intraclass(table + 300 * np.arange(table.shape[1]))
    assert ends(other.consistency) == pytest.approx(ends(one.consistency), rel=1e-7, abs=1e-7)
    for item in (one.one_way, one.consistency):
        assert -1 <= item.low <= item.value <= item.high <= 1
    assert one.agreement.low <= one.agreement.value <= one.agreement.high <= 1  # approximate; may lie below -1


def test_raters_that_agree_in_every_digit():
    result = intraclass(np.repeat([[100.0], [200], [310]], 3, axis=1))
    assert [ends(getattr(result, name)) for name in NAMES] == [[1, 1, 1]] * 6


def test_subjects_that_differ_less_than_their_errors_have_a_negative_share():
    result = intraclass([[1, 9.0], [9, 1.1], [1, 8.9], [9, 1]])
    assert result.one_way.value == pytest.approx(-1, abs=1e-3)
    assert result.one_way_mean.value < -100
    assert all(low <= value <= high for low, value, high in (ends(getattr(result, name)) for name in NAMES))


@pytest.mark.parametrize("power", [1e-150, 1e150, 1e299, 1e-299])
def test_extreme_readings(power):
    one, other = intraclass(TABLE), intraclass(TABLE * power)
    assert ends(other.agreement) == pytest.approx(ends(one.agreement), rel=1e-9)


@pytest.mark.parametrize(("arguments", "error", "text"), [
    (([[1, 2], [3, 4]],), SampleSizeError, "at least 3 subjects and 2 raters are needed; got 2 and 2"),
    (([[1], [2], [3]],), SampleSizeError, "at least 3 subjects and 2 raters are needed; got 3 and 1"),
    (([1, 2, 3],), InputError, "`values` must be two-dimensional; got shape (3,)"),
    (([[1, 2], [3, 4], [np.nan, 5]],), InputError,
     "`values[:, 0]` holds 1 NaN, first at index 2; remove them or pass nan_policy='omit'"),
    (([[1, 2], [3, np.inf], [4, 5]],), InputError,
     "`values[:, 1]` holds 1 infinite value(s), first at index 1; remove them"),
    (([[1, 3], [2, 2], [3, 1]],), InputError,
     "no intraclass correlation: the subjects have equal means, so there is no variance between them to share out; "
     "measure subjects that differ"),
    (([[5, 5], [5, 5], [5, 5]],), InputError,
     "no intraclass correlation: the subjects have equal means, so there is no variance between them to share out; "
     "measure subjects that differ"),
    (([1, 2, 3, 4, 5, 6], [1, 1, 2, 2, 3, 3]), InputError,
     "`subject` and `rater` must be given together, one label of each for every reading"),
])
def test_tables_that_cannot_be_used(arguments, error, text):
    with pytest.raises(error) as caught:
        intraclass(*arguments)
    assert str(caught.value) == text


def test_cells_that_are_missing_or_there_twice():
    values, subjects, raters = long(TABLE)
    with pytest.raises(InputError) as caught:
        intraclass(np.r_[values, 3], np.r_[subjects, 2], rater=np.r_[raters, 1])
    assert str(caught.value) == ("`values` must have one reading for each subject and rater; the pair of index 9 comes "
                                 "2 times: average its readings")
    with pytest.raises(InputError) as caught:
        intraclass(values[1:], subjects[1:], rater=raters[1:])
    assert str(caught.value) == ("`values` must have a reading for each subject and rater; 1 of 24 are missing: pass "
                                 "nan_policy='omit' to leave out their subjects")
    left = intraclass(values[1:], subjects[1:], rater=raters[1:], nan_policy="omit")
    assert ends(left.agreement) == pytest.approx(ends(intraclass(TABLE[1:]).agreement), rel=1e-12)
    assert left.subjects == 5
    with pytest.raises(InputError) as caught:
        intraclass(values, subjects, rater=[1, 2, 3])
    assert str(caught.value) == "`rater` must have one label for each reading; got shape (3,) for 24 readings"


def test_unlike_subjects_raise_it_with_the_errors_unchanged(rng):
    """What the caution says."""
    subjects, errors = rng.normal(0, 1, (60, 1)), rng.normal(0, 1, (60, 2))
    assert intraclass(subjects + errors).agreement.high < intraclass(9 * subjects + errors).agreement.low
    assert "unlike subjects raise it" in intraclass(TABLE).summary()
