"""Equal points counted once with a weight: the slopes are those of the sorted list of all of them."""

import numpy as np
import pytest
import twin_passing_bablok
from hypothesis import given
from hypothesis import strategies as st

from agree import passing_bablok
from agree.estimators.lines import equal_points, pairwise_slopes, sorted_points


@given(st.integers(1, 40).flatmap(lambda n: st.permutations(range(n))), st.data())
def test_weighted_inversions_equal_the_sum_over_all_pairs(ranks, data):
    weight = data.draw(st.lists(st.integers(1, 9), min_size=len(ranks), max_size=len(ranks)))
    expected = sum(weight[i] * weight[j] for j in range(len(ranks)) for i in range(j) if ranks[i] > ranks[j])
    assert equal_points.weighted_inversions(np.array(ranks), np.array(weight)) == expected


@given(st.lists(st.tuples(st.integers(-9, 9), st.integers(-9, 9), st.integers(1, 4)), min_size=3, max_size=25),
       st.data())
def test_every_rank_equals_that_of_the_sorted_list(rows, data):
    x, y = (np.repeat(np.array(column, float), [times for *_, times in rows]) for column in list(zip(
        *rows, strict=True))[:2])
    slopes = twin_passing_bablok.all_slopes(x, y)
    if not slopes.size:
        return
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(equal_points, "FEWER", 1)
        patch.setattr(pairwise_slopes, "LISTED", data.draw(st.sampled_from([1, 60_000])))
        p = sorted_points.points(x, y)
        few = sorted_points.merged(p)
        assert few.weight.sum() == x.size
        assert few.n_slopes == slopes.size
        rank = data.draw(st.integers(1, slopes.size))
        found = pairwise_slopes.slope_of_rank(few, rank, rank, pairwise_slopes.sample(p))
    assert found == pytest.approx(slopes[(rank - 1 + int((slopes < -1).sum())) % slopes.size], rel=1e-14)


@pytest.mark.parametrize("sampling", ["independent", "serial"])
def test_from_many_equal_points_on_weights_are_used_and_change_nothing(monkeypatch, sampling):
    rng = np.random.default_rng(3)
    true = rng.normal(220, 60, 20_000)
    x, y = (np.rint(column / 5) * 5 for column in (true, 1 + 0.98 * true + rng.normal(0, 6, 20_000)))
    p = sorted_points.points(x, y)
    assert sorted_points.merged(p).s.size * equal_points.FEWER <= x.size
    quick = passing_bablok(x, y, sampling=sampling)
    monkeypatch.setattr(equal_points, "FEWER", x.size + 1)
    assert sorted_points.merged(p) is p
    slow = passing_bablok(x, y, sampling=sampling)
    assert (quick.slope.to_dict(), quick.intercept.to_dict()) == (slow.slope.to_dict(), slow.intercept.to_dict())
