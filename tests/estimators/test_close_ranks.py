"""Close brackets among many points, against comparing all pairs and against the listing of all slopes."""

import numpy as np
import pytest
import twin_passing_bablok

from agree import passing_bablok
from agree.estimators.lines import close_ranks, pairwise_slopes


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
