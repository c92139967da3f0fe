"""Passing & Bablok against the listing of all slopes, exactly, and against Theil's line after a turn."""

import math
from fractions import Fraction

import numpy as np
import pytest
import twin_passing_bablok
from hypothesis import assume, given
from hypothesis import strategies as st
from twin_slopes import tau_scores

from agree import InputError, passing_bablok
from agree.core.interval.engine import spread, t_quantile
from agree.estimators.lines import pairwise_slopes
from agree.estimators.lines.passing_bablok import passing_bablok_line
from tests.each import each


def figures(line):
    """All figures of a line in the twin's order."""
    b, a = line.slope, line.intercept
    return b.value, b.low, b.high, a.value, a.low, a.high, line.n_slopes


def ranks(x, y, level=0.95):
    """The line of the ranks alone, without what coarse rounding adds to its intervals."""
    return figures(passing_bablok_line(x, y, None, level=level))


def same(x, y, level=0.95):
    assert ranks(x, y, level) == twin_passing_bablok.line(x, y, level)


@each("n", [3, 4, 5, 6, 7, 8, 20, 101, 250])
@each("slope", [1, 1.03, 0.2, 7, -0.4, -3, 0])
def test_floats_equal_the_twin(n, slope):
    rng = np.random.default_rng(n)
    for _ in range(10):
        x = rng.uniform(100, 400, n)
        same(x + rng.normal(0, 4, n), slope * x + 3 + rng.normal(0, 4, n))


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=3, max_size=30),
       st.sampled_from([0.5, 0.9, 0.95, 0.99]))
def test_tied_integers_equal_the_twin(pairs, level):
    x, y = np.array(pairs, float).T
    slopes = twin_passing_bablok.all_slopes(x, y)
    assume(slopes.size)
    assume(math.isfinite(twin_passing_bablok.line(x, y)[0]))
    same(x, y, level)


@pytest.mark.parametrize(("n", "low", "high"), [(700, 0, 400), (1000, 100, 140), (1500, 150, 350), (1200, 0, 4)])
@pytest.mark.parametrize("slope", [1, 1.02, 0.5, 3, -1.5])
def test_bracketing_whole_watts_equals_the_twin(n, low, high, slope):
    """More pairs than are listed, with ties, from mild to massive."""
    rng = np.random.default_rng(n)
    true = rng.uniform(low, high, n)
    x, y = np.rint(true + rng.normal(0, 3, n)), np.rint(slope * true + rng.normal(0, 3, n))
    assert n * (n - 1) // 2 > pairwise_slopes.LISTED
    assert ranks(x, y) == pytest.approx(twin_passing_bablok.line(x, y), rel=1e-13, abs=1e-10)


@pytest.mark.parametrize("slope", [1, 0.97, 2.5, -0.6])
def test_bracketing_floats_equals_the_twin(slope):
    rng = np.random.default_rng(17)
    true = rng.uniform(100, 350, 900)
    x, y = true + rng.normal(0, 5, 900), slope * true + rng.normal(0, 5, 900)
    assert figures(passing_bablok(x, y)) == twin_passing_bablok.line(x, y)


@pytest.mark.parametrize("distinct", [2, 3, 5])
def test_thousands_of_points_on_few_values(distinct):
    rng = np.random.default_rng(distinct)
    x, y = rng.integers(0, distinct, (2, 3000)) + 10.0
    y[x == 10] = 10  # keeps the median slope finite
    assert ranks(x, y) == pytest.approx(twin_passing_bablok.line(x, y), rel=1e-13, abs=1e-12)


@given(st.lists(st.tuples(st.integers(0, 25), st.integers(0, 25)), min_size=5, max_size=40))
def test_bracketing_of_small_samples(pairs):
    x, y = np.array(pairs, float).T
    slopes = twin_passing_bablok.all_slopes(x, y)
    assume(slopes.size)
    expected = twin_passing_bablok.line(x, y)
    assume(math.isfinite(expected[0]))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pairwise_slopes, "LISTED", 3)
        assert ranks(x, y) == pytest.approx(expected, rel=1e-13, abs=1e-10)


def test_slope_is_theils_after_a_turn(rng, oracle):
    stats = oracle("scipy.stats")
    x = rng.uniform(0, 100, 43)  # 903 slopes, odd
    y = 0.3 * x + rng.normal(0, 5, 43)
    b = passing_bablok((x - y) / 2, (x + y) / 2).slope
    theil = stats.theilslopes(y, x)
    assert (b.value - 1) / (b.value + 1) == pytest.approx(theil.slope, rel=1e-10)
    # scipy takes the ranks (N - C)/2 and (N + C)/2 counted from 0; ours are Sen's, one of them.
    ranked = np.sort(_theil_slopes(x, y))
    c = stats.norm.ppf(0.975) * math.sqrt(43 * 42 * 91 / 18)
    m1 = round((903 - c) / 2)
    assert (b.low - 1) / (b.low + 1) == pytest.approx(ranked[m1 - 1], rel=1e-10)
    assert (b.high - 1) / (b.high + 1) == pytest.approx(ranked[903 - m1], rel=1e-10)


def _theil_slopes(x, y):
    i, j = np.triu_indices(x.size, 1)
    return (y[j] - y[i]) / (x[j] - x[i])


def test_too_few_pairs_leave_the_slope_unbounded():
    line = passing_bablok([100, 200, 300], [101, 199, 305])
    assert (line.slope.low, line.slope.high) == (-math.inf, math.inf)
    assert (line.intercept.low, line.intercept.high) == (-math.inf, math.inf)
    assert line.slope.value == pytest.approx(1.02)


def test_one_wild_reading_hardly_moves_the_line(rng):
    x = np.linspace(100, 300, 60)
    y = x + rng.normal(0, 1, 60)
    wild = y.copy()
    wild[-1] = 3000
    assert passing_bablok(x, wild).slope.value == pytest.approx(passing_bablok(x, y).slope.value, abs=0.005)


def test_whole_watts_serial_interval_equals_its_definition():
    """Ranks N/2 -+ C/2, C = t n (n - 1) se of the mean tau score, read off the sorted list of slopes."""
    rng, n = np.random.default_rng(8), 60
    true = np.repeat(rng.integers(100, 300, 12), 5)
    x, y = true + rng.integers(-3, 4, n), true + rng.integers(-3, 4, n)
    line = passing_bablok(x, y, sampling="serial")
    slope = twin_passing_bablok.line(x, y)[0]
    b = Fraction(slope).limit_denominator(10**6)
    scores = np.array([float(v) for v in tau_scores(x.tolist(), y.tolist(), (b - 1) / (b + 1))])
    result = spread(scores, "serial")
    slopes = twin_passing_bablok.all_slopes(x.astype(float), y.astype(float))
    half = t_quantile(0.95, result.df) * n * (n - 1) * result.standard_error
    rank, shift = round((slopes.size - half) / 2), int((slopes < -1).sum())
    assert rank >= 1
    assert line.slope.low == slopes[(rank - 1 + shift) % slopes.size]
    assert line.slope.high == slopes[(slopes.size - rank + shift) % slopes.size]


@pytest.mark.parametrize("size", [5, 1000])
def test_no_slope_at_all(size):
    with pytest.raises(InputError) as caught:
        passing_bablok(np.full(size, 200.0), np.full(size, 201.0))
    assert str(caught.value) == ("no slope: every pair of readings is equal or has slope -1; record a wider range of "
                                 "power")


@pytest.mark.parametrize("size", [5, 1000])
def test_a_constant_reference_has_no_line(size):
    with pytest.raises(InputError) as caught:
        passing_bablok(np.full(size, 200.0), np.arange(size) + 100.0)
    assert str(caught.value) == ("no line: the median slope is vertical; `reference` hardly varies, record a wider "
                                 "range")


@pytest.mark.parametrize("step", [5, 10, 25])
@pytest.mark.parametrize("slope", [0.97, 1.01, 1.03])
def test_readings_rounded_coarsely_are_no_proof_of_the_slope_of_the_grid(step, slope):
    """Ties pulled the slope to 1 with an interval of no width: 0 to 60 % covered (benchmarks/coverage_lines.py)."""
    rng, covered = np.random.default_rng(step), 0
    for _ in range(30):
        true = rng.uniform(100, 350, 60)
        x, y = (np.round(values / step) * step for values in (true, slope * true + rng.normal(0, 3, 60)))
        line = passing_bablok(x, y)
        assert line.slope.method.endswith("at least the rounding of the readings")
        covered += line.slope.low <= slope <= line.slope.high
    assert covered >= 27


@pytest.mark.parametrize(("noise", "floor"), [(1.9, True), (2.3, False)])
def test_how_coarse_rounding_is_allowed_for(noise, floor):
    """ROUNDED_COARSELY, half the residuals' SD: steps of 1 W beside residuals of an SD just below and above 2 W."""
    rng = np.random.default_rng(3)
    true = rng.uniform(100, 350, 400)
    x, y = np.round(true), np.round(true + noise * rng.normal(size=400))
    line = passing_bablok(x, y)
    scatter = float(np.std(y - line.intercept.value - line.slope.value * x))
    assert 1.8 < scatter < 2.4
    assert ("rounding" in line.slope.method) == floor == (0.5 * scatter < 1)


def test_order_of_pairs_and_unit_do_not_change_what_rounding_adds(rng):
    true = rng.uniform(100, 350, 60)
    x, y = np.round(true / 10) * 10, np.round(1.02 * true / 10) * 10
    order = rng.permutation(60)
    assert figures(passing_bablok(x, y)) == figures(passing_bablok(x[order], y[order]))
    one, other = passing_bablok(x, y).slope, passing_bablok(x / 64, y / 64).slope
    assert (one.low, one.high) == pytest.approx((other.low, other.high), rel=1e-12)
