"""Close brackets among many points, against comparing all pairs and against the listing of all slopes."""

import numpy as np
import pytest
import twin_passing_bablok

from agree import passing_bablok
from agree.estimators.lines import close_ranks, equal_points, pairwise_slopes, sorted_points


def figures(line):
    """All figures of a line in the twin's order."""
    b, a = line.slope, line.intercept
    return b.value, b.low, b.high, a.value, a.low, a.high, line.n_slopes


def pairs_of(n, seed, slope=0.98):
    rng = np.random.default_rng(seed)
    true = rng.normal(220, 60, n)
    return true + rng.normal(0, 6, n), slope * true + rng.normal(0, 6, n)


@pytest.mark.parametrize("slope", [1, 0.98, 3, -0.6, 0])
@pytest.mark.parametrize("n", [5, 20, 101, 250, 600])
def test_close_brackets_give_the_slopes_of_the_twin(monkeypatch, n, slope):
    monkeypatch.setattr(pairwise_slopes, "MANY", 3)
    for seed in range(4):
        x, y = pairs_of(n, seed, slope)
        assert figures(passing_bablok(x, y)) == twin_passing_bablok.line(x, y)


@pytest.mark.parametrize("step", [0.125, 0.5, 1])  # whose sums have no rounding, which the twin does not know
@pytest.mark.parametrize("n", [20, 101, 250, 600])
def test_sums_that_tie_and_points_that_are_equal_have_close_brackets_too(monkeypatch, n, step):
    monkeypatch.setattr(pairwise_slopes, "MANY", 3)
    monkeypatch.setattr(equal_points, "FEWER", n + 1)
    found, used = close_ranks.pairs_around, []
    monkeypatch.setattr(pairwise_slopes, "pairs_around", lambda *args: used.append(found(*args)) or used[-1])
    for seed in range(3):
        x, y = (step * np.rint(column / step) for column in pairs_of(n, seed))
        assert figures(passing_bablok(x, y)) == twin_passing_bablok.line(x, y)
    assert any(pairs is not None for pairs in used)


@pytest.mark.parametrize("seed", range(3))
def test_tenths_have_the_same_slopes_with_close_brackets_as_without(monkeypatch, seed):
    x, y = (column.round(1) for column in pairs_of(700, seed))
    answers = []
    for many in (3, 10**9):
        monkeypatch.setattr(pairwise_slopes, "MANY", many)
        answers.append(figures(passing_bablok(x, y)))
    assert answers[0] == answers[1]


def test_equal_points_are_parted_by_the_least_that_keeps_their_order():
    s, t = np.array([0.1, 0.2, 0.2, 0.2, 0.2, 0.4]), np.array([0.3, -0.1, 0.1, 0.1, 0.1, 0.0])
    line, unsure = close_ranks.parted(s, t)
    for m in np.linspace(-3, 3, 601):
        order = line.order(m)
        assert list(order[np.isin(order, [1, 2, 3, 4])]) == [1, 2, 3, 4]
    assert 0 < np.abs(line[1] - t).max() < 1e-14 < unsure < 1e-12
    near = t.copy()
    near[2] = 0.1 - 1e-15  # not equal, and no farther than equal ones are moved
    assert close_ranks.parted(s, near) is None
    assert close_ranks.parted(np.arange(6.0), t)[1] == 0


def test_a_slope_as_near_the_end_of_its_bracket_as_rounding_is_looked_for_again(monkeypatch):
    """With `unsure` made large every bracket is doubted, and the other way gives the same figures."""
    monkeypatch.setattr(pairwise_slopes, "MANY", 3)
    monkeypatch.setattr(equal_points, "FEWER", 1000)
    x, y = (np.rint(column) for column in pairs_of(300, 4))
    p = sorted_points.points(x, y)
    sample, rank = pairwise_slopes.sample(p), p.n_slopes // 2
    assert pairwise_slopes.slope_of_rank(p, rank, rank, sample) == pairwise_slopes.slope_of_rank(
        p._replace(apart=(p.apart[0], 10.0)), rank, rank, sample)


def test_points_are_sorted_by_sum_then_difference_where_digits_do_not_suffice():
    rng = np.random.default_rng(2)
    x = np.r_[rng.integers(0, 4, 200) / 4, 1e-12, 3e-12]
    y = np.r_[rng.integers(0, 4, 200) / 4, 2e-12, 0.0]
    p = sorted_points.points(x, y)
    assert list(zip(p.s, p.t, strict=True)) == sorted(zip(p.s, p.t, strict=True))


def test_from_many_points_on_close_brackets_are_used_and_change_nothing(monkeypatch):
    n, used = 2000, []
    x, y = pairs_of(n, 1)
    found = close_ranks.pairs_around
    monkeypatch.setattr(pairwise_slopes, "pairs_around", lambda *args: used.append(found(*args)) or used[-1])
    answers = []
    for many in (n + 1, n):
        monkeypatch.setattr(pairwise_slopes, "MANY", many)
        answers.append(figures(passing_bablok(x, y)))
        assert len(used) == (0 if many > n else 3)
    assert answers[0] == answers[1]
    assert all(pairs is not None for pairs in used)


def test_a_lump_of_equal_slopes_falls_back(monkeypatch):
    """Two straight lines: half of all slopes are alike, and no bracket leaves them out."""
    monkeypatch.setattr(pairwise_slopes, "MANY", 3)
    x = np.random.default_rng(3).permutation(np.linspace(100, 300, 400) ** 1.01)
    y = np.where(np.arange(400) % 40 < 39, 2 * x, x + 7)
    assert figures(passing_bablok(x, y)) == pytest.approx(twin_passing_bablok.line(x, y), rel=1e-12)


def test_theguess_is_taken_from_the_counts_nearest_to_the_rank():
    known = [(0.0, 0), (1.0, 100), (2.0, 300)]
    assert close_ranks.guess(known, 150, 7.0) == pytest.approx(1.5)  # between 0 and 100: 0.01 a slope
    assert close_ranks.guess(known[:1], 10, 0.5) == 5


@pytest.mark.parametrize("moves", [0, 1, 3, close_ranks.MOST_MOVED, close_ranks.MOST_MOVED + 1])
def test_moved_pairs_are_all_pairs_in_reverse_order(moves, rng):
    places = np.arange(200)
    for start in range(0, 200 - moves - 1, moves + 2):
        places[start:start + moves + 1] = places[start:start + moves + 1][::-1]
    found = close_ranks.moved_pairs(places)
    if moves > close_ranks.MOST_MOVED:
        assert found is None
    else:
        expected = {(i, j) for i in range(200) for j in range(i + 1, 200) if places[i] > places[j]}
        assert set(zip(*(part.tolist() for part in found), strict=True)) == expected
        assert len(found[0]) == len(expected)
