"""Passing & Bablok's line for any slope and for repeated measures: slow twins, equivariance, coverage."""

import math

import numpy as np
import pytest
import twin_line_variants as twin
from hypothesis import assume, given
from hypothesis import strategies as st

from agree import InputError, passing_bablok
from agree.estimators.lines import pairwise_slopes, sorted_points
from agree.estimators.lines.null_variance import null_variance
from agree.estimators.lines.passing_bablok import passing_bablok_line
from tests.each import each

INTEGERS = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12), st.integers(0, 3)), min_size=4, max_size=18)


def figures(line):
    return line.slope.value, line.slope.low, line.slope.high, line.n_slopes


def made(seed, n, slope, noise=4.0):
    rng = np.random.default_rng(seed)
    true = rng.uniform(100, 400, n)
    return true + rng.normal(0, noise, n), slope * (true + rng.normal(0, noise, n)) + 3, rng.integers(0, 5, n)


@each("listed", [3, 60_000])
@each("equivariant", [False, True])
@each("grouped", [False, True])
@each("slope", [1, 0.02, 40, -0.7, -9])
def test_floats_equal_the_twin(slope, grouped, equivariant, listed, monkeypatch):
    monkeypatch.setattr(pairwise_slopes, "LISTED", listed)
    for n in (4, 7, 12, 25):
        x, y, group = made(n, n, slope)
        group = group if grouped else None
        expected = twin.line(x, y, group, equivariant)
        found = figures(passing_bablok(x, y, group=group, equivariant=equivariant))
        assert found == pytest.approx(expected, rel=1e-12)


@given(INTEGERS, st.booleans(), st.booleans(), st.sampled_from([1, 60_000]))
def test_tied_integers_equal_the_twin(rows, grouped, equivariant, listed):
    x, y, group = np.array(rows, float).T
    label = group.astype(int) if grouped else None
    try:
        line = passing_bablok_line(x, y, None, label, equivariant=equivariant)
    except InputError:
        assume(False)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pairwise_slopes, "LISTED", listed)
        line = passing_bablok_line(x, y, None, label, equivariant=equivariant)
    assert figures(line) == pytest.approx(twin.line(x, y, label, equivariant), rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("options", [{"equivariant": True}, {"group": np.arange(900) // 90},
                                     {"equivariant": True, "group": np.arange(900) // 300}])
@pytest.mark.parametrize("whole", [False, True])
def test_bracketing_equals_listing(options, whole):
    x, y, _ = made(5, 900, 2.5)
    x, y = (np.rint(x), np.rint(y)) if whole else (x, y)
    found = passing_bablok(x, y, **options)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pairwise_slopes, "LISTED", 10**9)
        assert figures(found) == pytest.approx(figures(passing_bablok(x, y, **options)), rel=1e-12)


@given(st.lists(st.tuples(st.integers(800, 6400), st.integers(-160, 160)), min_size=4, max_size=30),
       st.sampled_from([1, -1, 3, 0.125]))
def test_exchange_turns_the_slope_into_one_over_it(rows, factor):
    x = np.array([a for a, _ in rows]) / 16
    y = factor * (x + np.array([b for _, b in rows]) / 16)
    assume(np.ptp(x) > 20)
    assume(np.ptp(y) > 0)
    try:
        one, other = (passing_bablok(*both, equivariant=True).slope for both in ((x, y), (y, x)))
    except InputError:
        assume(False)
    assert other.value == pytest.approx(1 / one.value, rel=1e-12)
    if one.low > 0:
        assert [other.low, other.high] == pytest.approx([1 / one.high, 1 / one.low], rel=1e-12)
    if one.high < 0:
        assert [other.low, other.high] == pytest.approx([1 / one.high, 1 / one.low], rel=1e-12)


@given(st.integers(0, 50), st.sampled_from([1e-6, 0.1, 7.3, 1e5, -1.0, 2.0**40, 1e-150, 1e150]))
def test_a_change_of_unit_multiplies_the_slope(seed, factor):
    x, y, group = made(seed, 21, 1.02)
    one, other = (passing_bablok(x, y * k, equivariant=True, group=group) for k in (1, factor))
    expected = sorted(factor * v for v in (one.slope.low, one.slope.value, one.slope.high))
    assert [other.slope.low, other.slope.value, other.slope.high] == pytest.approx(expected, rel=1e-12)
    assert other.intercept.value == pytest.approx(factor * one.intercept.value, rel=1e-9)


def test_the_line_of_1983_is_not_equivariant():
    x, y, _ = made(3, 60, 1.0, 40)
    plain = [passing_bablok(x, y * k).slope.value / k for k in (1, 5)]
    assert plain[1] != pytest.approx(plain[0], rel=0.01)


def test_fixed_point_of_the_line_of_1983():
    x, y, _ = made(2, 43, 6.0, 20)  # 903 slopes, odd
    b = passing_bablok(x, y, equivariant=True).slope.value
    assert passing_bablok(x, y / b).slope.value == pytest.approx(1, rel=1e-12)


@pytest.mark.parametrize("slope", [0.1, -3])  # 1 and 8 are these times a change of unit, tested above
def test_equivariant_interval_covers(slope):
    """95 % of 400 runs, within 3 Monte-Carlo errors, and no bias where the line of 1983 has one."""
    slopes = [passing_bablok(*made(k, 60, slope, 25)[:2], equivariant=True).slope for k in range(400)]
    assert 0.915 <= np.mean([item.low <= slope <= item.high for item in slopes]) <= 0.983
    assert np.mean([item.value for item in slopes]) == pytest.approx(slope, rel=0.01)


def test_groups_leave_out_slopes_that_tell_of_errors_only():
    """Steady blocks with unequal errors: within a block the slopes are those of noise, and draw the median off."""
    rng, group, apart = np.random.default_rng(4), np.arange(200) // 40, []
    true = np.array([100.0, 150, 200, 250, 300])[group]
    for _ in range(30):
        x, y = true + rng.normal(0, 8, 200), true + rng.normal(0, 3, 200)
        plain, blocked = passing_bablok(x, y), passing_bablok(x, y, group=group)
        assert plain.n_slopes - blocked.n_slopes == 5 * 40 * 39 // 2
        apart.append((plain.slope.value - 1, blocked.slope.value - 1))
    off, less = np.abs(np.mean(apart, axis=0))
    assert less < 0.6 * off


def test_interval_of_grouped_readings_covers():
    rng, hits = np.random.default_rng(6), 0
    group = np.arange(90) // 10
    for _ in range(400):
        true = rng.uniform(100, 300, 9)[group]
        slope = passing_bablok(true + rng.normal(0, 4, 90), true + rng.normal(0, 4, 90), group=group).slope
        hits += slope.low <= 1 <= slope.high
    assert 0.915 <= hits / 400 <= 0.983


@pytest.mark.parametrize("equivariant", [False, True])
@pytest.mark.parametrize("sampling", ["serial", "sessions"])
def test_groups_of_one_are_no_groups(sampling, equivariant):
    x, y, session = made(8, 50, 1.4)
    options = {"sampling": sampling, "session": session, "equivariant": equivariant}
    assert passing_bablok(x, y, **options).to_dict() == passing_bablok(x, y, group=np.arange(50), **options).to_dict()


def test_variance_given_s_is_kendalls_without_ties(rng):
    p = sorted_points.points(rng.normal(size=30), rng.normal(size=30))
    assert null_variance(p) == pytest.approx(30 * 29 * 65 / 18, rel=1e-14)


@pytest.mark.parametrize(("x", "y", "options", "text"), [
    ([1, 2, 3], [1, 2, 4], {"group": [1, 1, 1]},
     "no slope: no two readings of different groups have one; record groups at different power"),
    ([1, 2, 3], [1, 2, 4], {"group": [1, 1]}, "`group` must have one label for each pair; got shape (2,) for 3 pairs"),
    ([1, 2, 3], [5, 5, 5], {"equivariant": True},
     "no line: `reference` and `device` do not rise together (Kendall's tau or the median slope is 0); record a wider "
     "range of power"),
    ([5, 5, 5], [1, 2, 3], {"equivariant": True},
     "no line: the median slope is vertical; `reference` hardly varies, record a wider range"),
])
def test_no_line(x, y, options, text):
    with pytest.raises(InputError) as caught:
        passing_bablok(x, y, **options)
    assert str(caught.value) == text


def test_omitted_pairs_take_their_group_with_them():
    x, y, group = made(9, 20, 1.0)
    x[3] = math.nan
    kept = np.arange(20) != 3
    assert (passing_bablok(x, y, group=group, nan_policy="omit").to_dict()
            == passing_bablok(x[kept], y[kept], group=group[kept]).to_dict())


def test_an_open_sign_reaches_both_ways(rng):
    slope = passing_bablok(rng.normal(size=40), rng.normal(size=40), equivariant=True).slope
    assert slope.low == -slope.high
