"""Cusum test of linearity: against Kolmogorov-Smirnov, its critical values, false alarms and power."""

import math

import numpy as np
import pytest
from scipy import special

from agree import InputError, deming, linearity, passing_bablok


def made(seed, n=80, bend=0.0):
    rng = np.random.default_rng(seed)
    true = rng.uniform(100, 300, n)
    return true + rng.normal(0, 2, n), true + bend * (true - 200) ** 2 + rng.normal(0, 2, n)


def test_statistic_is_the_two_sample_distance_of_above_and_below(oracle):
    stats = oracle("scipy.stats")
    x, y = made(1, 41, 2e-3)
    line = passing_bablok(x, y)
    test = linearity(x, y)
    b, a = line.slope.value, line.intercept.value
    residual, along = y - a - b * x, x + b * y
    up, down = along[residual > 1e-9], along[residual < -1e-9]
    distance = stats.ks_2samp(up, down).statistic
    assert (test.n_above, test.n_below) == (up.size, down.size)
    assert test.statistic == pytest.approx(math.sqrt(up.size * down.size / (down.size + 1)) * distance,
                                           rel=1e-12)
    assert test.p_value == pytest.approx(special.kolmogorov(test.statistic), rel=1e-12)


@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
def test_false_alarms_are_no_more_than_stated_and_bends_are_found(sampling):
    options = {"sampling": sampling, "session": np.arange(80) // 8}
    alarms = [linearity(*made(k), **options).p_value < 0.05 for k in range(100)]
    found = [linearity(*made(k, bend=1.5e-3), **options).p_value < 0.05 for k in range(30)]
    assert np.mean(alarms) <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 100)
    assert np.mean(found) > 0.5


def test_the_line_may_be_given():
    x, y = made(2)
    assert linearity(x, y, line=passing_bablok(x, y)).to_dict() == linearity(x, y).to_dict()
    assert linearity(x, y, line=deming(x, y)).n_above != 0
    with pytest.raises(InputError) as caught:
        linearity(x, y, line=1.0)
    assert str(caught.value) == "`line` must be a line such as deming() returns; got float"


def test_ties_along_the_line_are_added_together():
    """Points at three places only: the order within a place must not matter."""
    rng = np.random.default_rng(3)
    x = np.repeat([100.0, 200, 300], 20)
    y = x + rng.choice([-1.0, 1.0], 60)
    order = rng.permutation(60)
    one, other = linearity(x, y), linearity(x[order], y[order])
    assert one.statistic == pytest.approx(other.statistic, rel=1e-12)


def test_points_on_a_line_show_no_bend():
    test = linearity([1, 2, 3, 4], [2, 4, 6, 8])
    assert (test.p_value, test.n_above, test.n_below) == (1.0, 0, 0)


@pytest.mark.parametrize("factor", [1e-300, 1e290])
def test_a_change_of_unit_changes_nothing(factor):
    x, y = made(4)
    assert linearity(x * factor, y * factor).statistic == pytest.approx(linearity(x, y).statistic, rel=1e-9)
