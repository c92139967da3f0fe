"""Counting inversions, tau scores and slopes of given rank, against comparing all pairs."""

from fractions import Fraction

import numpy as np
import pytest
import twin_passing_bablok
import twin_slopes
from hypothesis import given
from hypothesis import strategies as st

from agree.estimators.lines import pairwise_slopes, sorted_points

PERMUTATIONS = st.integers(1, 70).flatmap(lambda n: st.permutations(range(n))).map(np.array)


@given(PERMUTATIONS)
def test_inversions_equal_those_of_all_pairs(ranks):
    expected = twin_slopes.inversions(ranks)
    small, large = pairwise_slopes.list_inversions(ranks)
    assert sorted(zip(small.tolist(), large.tolist(), strict=True)) == expected
    assert pairwise_slopes.count_inversions(ranks) == len(expected)
    assert pairwise_slopes.inversions_of_each(ranks).tolist() == twin_slopes.inversions_of_each(ranks)


@pytest.mark.parametrize("n", [1, 2, 15, 16, 17, 31, 32, 33, 1000, 32767, 32768, 32769, 70_000])
def test_inversions_of_reversal_and_identity_at_block_borders(n):
    assert pairwise_slopes.count_inversions(np.arange(n)) == 0
    assert pairwise_slopes.count_inversions(np.arange(n)[::-1]) == n * (n - 1) // 2
    assert (pairwise_slopes.inversions_of_each(np.arange(n)[::-1]) == n - 1).all()


def test_inversions_of_a_long_permutation_against_all_pairs(rng):
    ranks = rng.permutation(1500)
    each = np.array([(ranks[:i] > r).sum() + (ranks[i + 1:] < r).sum() for i, r in enumerate(ranks)])
    assert pairwise_slopes.inversions_of_each(ranks).tolist() == each.tolist()
    assert pairwise_slopes.count_inversions(ranks) == each.sum() // 2
    small, large = pairwise_slopes.list_inversions(ranks)
    place = np.argsort(ranks)
    assert small.size == each.sum() // 2
    assert (small < large).all()
    assert (place[large] < place[small]).all()
    assert np.unique(small * 1500 + large).size == small.size


@given(st.lists(st.tuples(st.integers(-12, 12), st.integers(-12, 12)), min_size=3, max_size=25),
       st.fractions(-2, 2, max_denominator=8))
def test_tau_scores_equal_exact_signs(pairs, m):
    x, y = map(list, zip(*pairs, strict=True))
    p = sorted_points.points(np.array(x, float), np.array(y, float))
    expected = [float(v) for v in twin_slopes.tau_scores(x, y, m)]
    assert pairwise_slopes.tau_scores(p, float(m)).tolist() == pytest.approx(expected, abs=1e-15)


def test_tau_scores_sum_to_the_kendall_statistic(rng, oracle):
    stats = oracle("scipy.stats")
    x, y = rng.normal(size=80), rng.normal(size=80)
    p = sorted_points.points((x - y) / 2, (x + y) / 2)  # s = x, t = y
    scores = pairwise_slopes.tau_scores(p, 0.0)
    assert scores.mean() == pytest.approx(stats.kendalltau(x, y).statistic, abs=1e-14)


def test_tau_scores_variance_is_kendalls_under_independence():
    """Mean square of the total score over many draws is n (n - 1)(2n + 5)/18, within 4 Monte-Carlo errors."""
    rng, n, draws = np.random.default_rng(5), 25, 3000
    totals = np.array([_total(rng, n) for _ in range(draws)])
    expected = n * (n - 1) * (2 * n + 5) / 18
    assert np.square(totals).mean() == pytest.approx(expected, rel=4 * np.sqrt(2 / draws))


def _total(rng, n):
    x, y = rng.permutation(n).astype(float), rng.permutation(n).astype(float)
    return pairwise_slopes.tau_scores(sorted_points.points((x - y) / 2, (x + y) / 2), 0.0).sum() * (n - 1) / 2


def test_tau_scores_sum_to_zero_at_the_median_slope(rng):
    x = rng.normal(size=51) * 50 + 200  # 1275 slopes, odd: one pair has the median itself
    y = x + rng.normal(size=51)
    p = sorted_points.points(x, y)
    middle = (p.n_slopes + 1) // 2
    b = pairwise_slopes.slope_of_rank(p, middle, middle, pairwise_slopes.sample(p))
    m = (b - 1) / (b + 1)
    assert pairwise_slopes.tau_scores(p, m).sum() == pytest.approx(0, abs=1e-12)
    assert abs(pairwise_slopes.tau_scores(p, m + 1e-5).sum()) > 1e-3


@given(st.lists(st.tuples(st.integers(-30, 30), st.integers(-30, 30)), min_size=3, max_size=40), st.data())
def test_every_rank_equals_that_of_the_sorted_list(pairs, data):
    """With a cap of a few slopes even small samples go through the bracketing."""
    x, y = np.array(pairs, float).T
    p = sorted_points.points(x, y)
    slopes = twin_passing_bablok.all_slopes(x, y)
    assert p.n_slopes == slopes.size
    if not slopes.size:
        return
    rank = data.draw(st.integers(1, slopes.size))
    expected = slopes[(rank - 1 + int((slopes < -1).sum())) % slopes.size]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pairwise_slopes, "LISTED", data.draw(st.sampled_from([1, 60_000])))
        found = pairwise_slopes.slope_of_rank(p, rank, rank, pairwise_slopes.sample(p))
    # A slope that fills the bracket is handed back by way of (1 + m)/(1 - m): a few ulps.
    assert found == pytest.approx(expected, rel=1e-14)


def test_the_scale_of_the_points_changes_no_digit():
    x, y = np.array([1.0, 3, 4, 9]), np.array([2.0, 3, 7, 8])
    for power in (-300, 300):
        p = sorted_points.points(np.ldexp(x, power), np.ldexp(y, power))
        assert p.s.tolist() == sorted_points.points(x, y).s.tolist()


def test_fraction_twin_agrees_with_a_hand_count():
    # s = 0, 2, 3; t = 0, 0, 1: at m = 0 the first two tie, the last stands above both.
    assert twin_slopes.tau_scores([0, 1, 1], [0, 1, 2], Fraction(0)) == [Fraction(1, 2), Fraction(1, 2), 1]
