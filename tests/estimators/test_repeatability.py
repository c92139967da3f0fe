"""Typical error: definitions, exact limits, a jackknife, and bad input."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from agree import InputError, SampleSizeError, precision, typical_error

TRIALS = st.lists(st.tuples(st.integers(100, 900), st.integers(-60, 60)), min_size=3, max_size=30)
NAMES = ("typical_error", "smallest_detectable_change", "change")


def trials(rows):
    one = np.array([a for a, _ in rows]) / 4
    two = one + np.array([b for _, b in rows]) / 4
    assume(np.ptp(two - one) > 0.2)
    return one, two


def ends(item):
    return [item.low, item.value, item.high]


@pytest.mark.filterwarnings("ignore:the errors are not normal")  # of some that are drawn
@given(TRIALS)
def test_definitions_and_exact_limits(rows):
    one, two = trials(rows)
    result, sd, n = typical_error(one, two), np.std(two - one, ddof=1), len(rows)
    assert result.typical_error.value == pytest.approx(sd / math.sqrt(2), rel=1e-12)
    assert result.smallest_detectable_change.value == pytest.approx(1.959963984540054 * sd, rel=1e-12)
    assert result.change.value == pytest.approx(np.mean(two - one), abs=1e-12)
    chi2 = stats.chi2(n - 1)
    for limit, p in ((result.typical_error.low, 0.975), (result.typical_error.high, 0.025)):
        assert chi2.cdf((n - 1) * sd**2 / 2 / limit**2) == pytest.approx(p, rel=1e-9)


@pytest.mark.filterwarnings("ignore:the errors are not normal")  # of some that are drawn
@given(TRIALS, st.sampled_from([2.0**-20, 4.0, 1e150, 1e-150]), st.integers(-50, 50), st.randoms())
def test_exchange_shift_unit_and_order(rows, factor, shift, random):
    one, two = trials(rows)
    order = list(range(one.size))
    random.shuffle(order)
    expected = typical_error(one, two)
    for name in NAMES[:2]:
        for other in (typical_error(two, one), typical_error(one, two + shift), typical_error(one[order], two[order])):
            assert ends(getattr(other, name)) == pytest.approx(ends(getattr(expected, name)), rel=1e-9)
        scaled = getattr(typical_error(one * factor, two * factor), name)
        assert [v / factor for v in ends(scaled)] == pytest.approx(ends(getattr(expected, name)), rel=1e-9)
    assert ends(typical_error(two, one).change) == pytest.approx([-v for v in reversed(ends(expected.change))])


@pytest.mark.filterwarnings("ignore:the errors are not normal")  # of some that are drawn
@given(TRIALS)
def test_per_cent_is_the_same_of_logarithms(rows):
    one, two = trials(rows)
    assume((two > 1).all())
    of_logs, result = typical_error(np.log(one), np.log(two)), typical_error(one, two, scale="percent")
    for name in NAMES:
        expected = 100 * np.expm1(ends(getattr(of_logs, name)))
        assert ends(getattr(result, name)) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("n", [4, 30, 300])
def test_sessions_of_one_pair_have_the_exact_interval(rng, n):
    one, two = rng.normal(200, 9, n), rng.normal(200, 9, n)
    found = typical_error(one, two, sampling="sessions", session=np.arange(n)).typical_error
    exact = typical_error(one, two).typical_error
    assert ends(found) == pytest.approx(ends(exact), rel=0.005)


def test_two_trials_without_a_change_of_the_mean_agree_with_the_analysis_of_variance(rng):
    one = rng.normal(200, 30, 12)
    difference = rng.normal(0, 5, 12)
    two = one + difference - difference.mean()
    within = precision(np.r_[one, two], np.tile(np.arange(12), 2)).repeatability_sd
    assert within.value == pytest.approx(typical_error(one, two).typical_error.value * math.sqrt(11 / 12), rel=1e-12)


@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
def test_trials_that_repeat_exactly(sampling):
    one = np.array([100.0, 150, 200, 260]) + 2.0**-20  # rounded readings would leave the rounding
    result = typical_error(one, one + 2, sampling=sampling, session=[1, 1, 2, 2])
    assert ends(result.typical_error) == ends(result.smallest_detectable_change) == [0, 0, 0]
    assert ends(result.change) == [2, 2, 2]


@pytest.mark.parametrize("power", [1e-300, 1e299])
def test_extreme_readings(power):
    one, two = np.array([1.0, 2, 3]), np.array([1.25, 2, 2.5])
    for name in NAMES:
        found = ends(getattr(typical_error(one * power, two * power), name))
        assert [v / power for v in found] == pytest.approx(ends(getattr(typical_error(one, two), name)), rel=1e-9)


@pytest.mark.parametrize(("one", "two", "options", "error", "text"), [
    ([1, 2], [1, 2], {}, SampleSizeError, "at least 3 pairs are needed; got 2"),
    ([1, 2, 3], [1, 2], {}, InputError, "`trial1` and `trial2` must have equal lengths; got 3 and 2"),
    ([1, 2, math.nan], [1, 2, 3], {}, InputError,
     "`trial1` holds 1 NaN, first at index 2; remove them or pass nan_policy='omit'"),
    ([1, 2, 3], [1, math.inf, 3], {}, InputError, "`trial2` holds 1 infinite value(s), first at index 1; remove them"),
    ([1, 2, 3], [1, 0, -3], {"scale": "percent"}, InputError,
     "scale='percent' works through logarithms and needs positive readings; `trial2` holds 2 of zero or less, first at "
     "index 1; set them aside or use scale='difference'"),
    ([1, 2, 3], [1, 2, 4], {"scale": "log"}, InputError, "`scale` must be one of 'difference', 'percent'; got 'log'"),
    ([1, 2, 3], [1, 2, 4], {"coverage": 95}, InputError,
     "`coverage` must be a fraction between 0 and 1, such as 0.95; got 95; did you mean 0.95?"),
])
def test_trials_that_cannot_be_used(one, two, options, error, text):
    with pytest.raises(error) as caught:
        typical_error(one, two, **options)
    assert str(caught.value) == text


def test_it_is_not_accuracy():
    """What the caution says: a device that reads half the power repeats just as well."""
    one, two = np.array([200.0, 250, 300]), np.array([202.0, 249, 301])
    assert ends(typical_error(one / 2, two / 2, scale="percent").typical_error) == pytest.approx(
        ends(typical_error(one, two, scale="percent").typical_error))
    assert "not accuracy" in typical_error(one, two).summary()
