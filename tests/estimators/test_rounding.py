"""Rounding of readings as a floor of uncertainty: equal errors in whole units prove no exact mean, line or index."""

import math

import numpy as np
import pytest
from scipy import stats

from agree import bias_by_band, bias_curve, deming, deviation_index, limits_of_agreement

X = np.array([100.0, 130, 170, 220, 240, 290, 310, 360])
T7 = float(stats.t.ppf(0.975, 7))


def half(item):
    return (item.high - item.low) / 2


def test_a_band_of_equal_errors_has_the_width_of_the_rounding():
    mean = bias_by_band(X, X + 2, edges=[0, 400], scale="difference").bands[0].bias
    assert half(mean) == pytest.approx(T7 / math.sqrt(6 * 8))
    assert half(mean) == pytest.approx(half(limits_of_agreement(X, X + 2).bias))
    exact = bias_by_band(X, X * 1.01, edges=[0, 400]).bands[0].bias
    assert half(exact) == pytest.approx(T7 * 0.1 / math.sqrt(6 * 8) / X.mean() * 100, rel=1e-9)


def test_sessions_of_equal_errors_too():
    labels = np.arange(8) // 2
    mean = bias_by_band(X, X + 2, edges=[0, 400], scale="difference", session=labels).bands[0].bias
    assert half(mean) == pytest.approx(float(stats.t.ppf(0.975, 3)) / math.sqrt(6 * 8))


def test_the_curve_has_the_uncertainty_of_a_fit_to_rounded_errors():
    """Against the same least squares of drawn rounding errors."""
    at = [120.0, 220.0, 340.0]
    found = bias_curve(X, X + 2, knots=2, at=at, scale="difference")
    design = np.stack((np.ones(8), X - 200), axis=1)
    weights = np.stack((np.ones(3), np.array(at) - 200), axis=1) @ np.linalg.pinv(design)
    error = np.sqrt(np.square(weights).sum(axis=1) / 6)
    wide = found.high - found.low
    assert wide / wide[0] == pytest.approx(error / error[0])
    assert wide == pytest.approx(2 * float(stats.t.ppf(0.975, 6)) * error)


@pytest.mark.parametrize("sampling", ["independent", "serial"])
def test_a_line_through_rounded_points_is_not_certain(sampling):
    line = deming(X, X + 2, sampling=sampling)
    assert half(line.slope) == pytest.approx(T7 * math.sqrt(2 / 12 / np.square(X - X.mean()).sum()), rel=1e-6)
    at_zero = math.sqrt(2 / 12 * (1 / 8 + X.mean() ** 2 / np.square(X - X.mean()).sum()))
    assert half(line.intercept) == pytest.approx(T7 * at_zero, rel=1e-6)
    fine = deming(X + 2.0**-20, X + 2 + 2.0**-20, sampling=sampling)
    assert half(fine.slope) < 1e-9


def test_the_deviation_index_of_equal_errors():
    item = deviation_index(X, X + 2).index
    assert (item.low, item.high) == pytest.approx((2 - T7 / math.sqrt(48), 2 + T7 / math.sqrt(48)))
    assert deviation_index(X, X).index.low == 0
