"""The mean over sessions: weights, variance, guard, roots, and each session's own ratio."""

import math

import numpy as np
import pytest

from agree.core.interval import engine
from agree.core.interval.engine import estimate, spread, t_quantile
from agree.core.interval.over_sessions import numbered, over_sessions, pair_weights
from agree.estimators.ratios import ratio_of_sums

UNEQUAL = np.repeat(["c", "a", "d", "b"], [5, 40, 12, 3])


@pytest.mark.parametrize("half", [0.0, 7.0])
def test_the_mean_over_sessions_is_the_weighted_mean_of_their_means(rng, half):
    phi = rng.normal(size=60)
    phi -= phi.mean()
    item = estimate(5.0, phi, level=0.9, sampling="sessions", session=UNEQUAL, half_weight_n=half)
    groups = [phi[label == UNEQUAL] for label in "cadb"]
    weight = np.array([g.size / (g.size + half) for g in groups])
    means = np.array([g.mean() for g in groups])
    share = weight / weight.sum()
    mean = share @ means
    squares = (means - mean) ** 2
    variance = max(weight @ squares / 3 / weight.sum(), (share**2 / (1 - share)) @ squares)
    assert item.value == pytest.approx(5 + mean, rel=1e-12)
    assert item.standard_error == pytest.approx(math.sqrt(variance), rel=1e-12)
    assert (item.df, item.high - item.value) == (3, pytest.approx(t_quantile(0.9, 3) * math.sqrt(variance)))


def test_sessions_that_count_alike_give_the_t_test_of_their_means(rng, oracle):
    stats = oracle("scipy.stats")
    phi = rng.normal(size=60) + np.repeat(rng.normal(0, 3, 4), [5, 40, 12, 3])
    means = [phi[label == UNEQUAL].mean() for label in "cadb"]
    item = estimate(0.0, phi, level=0.95, sampling="sessions", session=UNEQUAL)
    assert (item.low, item.high) == pytest.approx(stats.t.interval(0.95, 3, np.mean(means), stats.sem(means)))


def test_the_guard_widens_where_heavy_sessions_scatter_more(rng):
    label = np.repeat(np.arange(12), [100] * 3 + [2] * 9)
    means = np.r_[-1.0, 0.0, 1.0, np.zeros(9)]
    found = over_sessions(means[label][None], label, 10.0)
    assert found.guard[0, 0] > found.matrix[0, 0]
    assert spread(means[label], "sessions", label, half_weight_n=10.0).standard_error == pytest.approx(
        math.sqrt(found.guard[0, 0]))
    light = np.r_[0.0, 0.0, 0.0, np.tile([-1.0, 0, 1], 3)]
    found = over_sessions(light[label][None], label, 10.0)
    assert found.guard[0, 0] < found.matrix[0, 0]
    assert spread(light[label], "sessions", label, half_weight_n=10.0).standard_error == pytest.approx(
        math.sqrt(found.matrix[0, 0]))


def test_guarded_covariance_keeps_correlations_and_is_no_negative_matrix(rng):
    found = over_sessions(rng.normal(size=(3, 60)), UNEQUAL, 9.0)
    guarded = found.guarded()
    sd, own = np.sqrt(np.diag(guarded)), np.sqrt(np.diag(found.matrix))
    assert guarded / np.outer(sd, sd) == pytest.approx(found.matrix / np.outer(own, own))
    assert np.diag(guarded) == pytest.approx(np.maximum(np.diag(found.matrix), np.diag(found.guard)))
    assert np.linalg.eigvalsh(guarded).min() > -1e-12


@pytest.mark.parametrize("half", [0.0, 25.0])
def test_inverted_test_over_unequal_sessions(rng, half):
    summands = rng.normal(0, 1, (3, 60)) * [[1], [0.2], [0.1]] + [[-2], [1.5], [0.3]]
    options = {"sampling": "sessions", "session": UNEQUAL, "half_weight_n": half}
    root, low, high = engine.invert_test(1.0, summands, level=0.9, **options)
    series = lambda v: summands[0] + summands[1] * v + summands[2] * v**2  # noqa: E731
    assert spread(series(root), **options).shift == pytest.approx(0, abs=1e-12)
    assert low < root < high
    for limit in (low, high):
        found = spread(series(limit), **options)
        assert abs(found.shift) == pytest.approx(t_quantile(0.9, 3) * found.standard_error, rel=1e-8)


def test_pair_weights_make_the_mean_over_sessions(rng):
    phi = rng.normal(size=60)
    weights = pair_weights(UNEQUAL, 9.0)
    assert weights.mean() == pytest.approx(1)
    assert weights @ phi / 60 == pytest.approx(over_sessions(phi[None], UNEQUAL, 9.0).mean[0])


def test_labels_in_runs_and_out_of_order_are_numbered_alike(rng):
    shuffled = rng.permutation(60)
    for labels in (UNEQUAL, UNEQUAL[shuffled]):
        index, sizes = numbered(labels)
        expected, twin = np.unique(labels, return_inverse=True)
        assert (index == twin).all()
        assert sizes.tolist() == [(labels == name).sum() for name in expected]


def test_each_session_s_own_ratio(rng):
    part, whole = rng.normal(2, 1, 60), rng.uniform(100, 300, 60)
    value, phi = ratio_of_sums(part, whole, UNEQUAL)
    assert value == pytest.approx(part.sum() / whole.sum())
    item = estimate(value, phi, level=0.95, sampling="sessions", session=UNEQUAL)
    own = [part[name == UNEQUAL].sum() / whole[name == UNEQUAL].sum() for name in "cadb"]
    assert item.value == pytest.approx(np.mean(own), rel=1e-12)
    assert item.standard_error == pytest.approx(np.std(own, ddof=1) / 2, rel=1e-12)
