"""Deming's line against orthogonal distance regression, its own equation, and resampling."""

import math

import numpy as np
import pytest

from agree import AssumptionWarning, ConvergenceError, InputError, deming
from tests.each import each

RATIOS = (1e-3, 0.25, 1.0, 2.0, 9.0, 1e3)


def made(seed, n=60, slope=1.03, noise=4.0):
    rng = np.random.default_rng(seed)
    true = rng.uniform(100, 350, n)
    return true + rng.normal(0, noise, n), slope * true - 5 + rng.normal(0, noise, n)


def moments(x, y):
    dx, dy = x - x.mean(), y - y.mean()
    return dx @ dx, dy @ dy, dx @ dy


@each("ratio", RATIOS)
@each("slope", [1.03, 0.2, -2.0])
def test_equals_orthogonal_distance_regression(ratio, slope, oracle):
    odr = oracle("scipy.odr")
    x, y = made(1, slope=slope)
    data = odr.RealData(x - x.mean(), y - y.mean(), sx=1.0, sy=math.sqrt(ratio))
    beta = [slope, 0.0]
    for _ in range(4):  # it stops when the sum of squares no longer falls, so start again from there
        beta = odr.ODR(data, odr.unilinear, beta0=beta, maxit=500, sstol=1e-15, partol=1e-15).run().beta
    assert deming(x, y, error_variance_ratio=ratio).slope.value == pytest.approx(beta[0], rel=1e-8)
    assert beta[1] == pytest.approx(0, abs=5e-3)  # the line goes through the means, as far as the oracle sees


@each("ratio", RATIOS)
@each("slope", [1.03, 0.2, -2.0])
def test_equals_the_first_principal_axis_of_scaled_data(ratio, slope):
    x, y = made(1, slope=slope)
    root = math.sqrt(ratio)
    centred = np.column_stack([x - x.mean(), (y - y.mean()) / root])
    axis = np.linalg.svd(centred, full_matrices=False)[2][0]
    line = deming(x, y, error_variance_ratio=ratio)
    assert line.slope.value == pytest.approx(root * axis[1] / axis[0], rel=1e-11)
    assert line.intercept.value == pytest.approx(y.mean() - root * axis[1] / axis[0] * x.mean(), rel=1e-9)


@pytest.mark.filterwarnings("ignore:.*:agree.AssumptionWarning")  # some ratios are far from the data's own
@each("ratio", RATIOS)
@each("slope", [1.03, 0.01, -2.0, 40.0])
def test_satisfies_its_quadratic(ratio, slope):
    x, y = made(2, slope=slope)
    sxx, syy, sxy = moments(x, y)
    b = deming(x, y, error_variance_ratio=ratio).slope.value
    terms = b * b * sxy, b * (ratio * sxx - syy), -ratio * sxy
    assert sum(terms) == pytest.approx(0, abs=1e-10 * max(map(abs, terms)))
    assert b * sxy > 0  # the root with the sign of the covariance, the minimum
    assert deming(x, y, error_variance_ratio=ratio).intercept.value == pytest.approx(y.mean() - b * x.mean())


def test_minimises_the_weighted_distances():
    x, y = made(3)

    def loss(b, a, ratio=2.0):
        return np.sum((y - a - b * x) ** 2) / (ratio + b * b)

    line = deming(x, y, error_variance_ratio=2.0)
    b, a = line.slope.value, line.intercept.value
    for db, da in ((1e-4, 0), (-1e-4, 0), (0, 1e-2), (0, -1e-2), (1e-4, -1e-2)):
        assert loss(b, a) < loss(b + db, a + da)


def test_limits_of_the_ratio_are_the_two_regressions():
    x, y = made(4)
    sxx, syy, sxy = moments(x, y)
    assert deming(x, y, error_variance_ratio=1e14).slope.value == pytest.approx(sxy / sxx, rel=1e-12)
    assert deming(x, y, error_variance_ratio=1e-14).slope.value == pytest.approx(syy / sxy, rel=1e-12)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 4.0])
def test_proportional_fit_is_its_own_fixed_point(ratio):
    rng = np.random.default_rng(5)
    true = rng.uniform(80, 500, 70)
    x, y = true * (1 + rng.normal(0, 0.02, 70)), 3 + 0.97 * true * (1 + rng.normal(0, 0.02, 70))
    line = deming(x, y, error_variance_ratio=ratio, weighting="proportional")
    b, a = line.slope.value, line.intercept.value
    w = ((ratio * x + b * (y - a)) / (ratio + b * b)) ** -2.0
    dx, dy = x - np.average(x, weights=w), y - np.average(y, weights=w)
    terms = b * b * (w @ (dx * dy)), b * (ratio * (w @ dx**2) - w @ dy**2), -ratio * (w @ (dx * dy))
    assert sum(terms) == pytest.approx(0, abs=1e-10 * max(map(abs, terms)))
    assert np.average(y, weights=w) - b * np.average(x, weights=w) == pytest.approx(a, abs=1e-8)


def leave_one_out(fit, x, y):
    """Jackknife standard errors of slope and intercept."""
    n = x.size
    values = np.array([fit(np.delete(x, i), np.delete(y, i)) for i in range(n)])
    return np.sqrt((n - 1) / n * np.square(values - values.mean(axis=0)).sum(axis=0))


def coefficients(weighting):
    def fit(x, y):
        line = deming(x, y, weighting=weighting)
        return line.slope.value, line.intercept.value
    return fit


@pytest.mark.parametrize("weighting", ["constant", "proportional"])
def test_standard_errors_agree_with_the_jackknife(weighting):
    rng, n = np.random.default_rng(6), 300
    true = rng.uniform(100, 400, n)
    noise = 5.0 if weighting == "constant" else 0.02 * true
    x, y = true + noise * rng.normal(size=n), 1.02 * true + noise * rng.normal(size=n)
    line = deming(x, y, weighting=weighting)
    jackknife = leave_one_out(coefficients(weighting), x, y)
    # exact but for the weights, which are kept
    rel = 1e-9 if weighting == "constant" else 0.03
    assert [line.slope.standard_error, line.intercept.standard_error] == pytest.approx(jackknife, rel=rel)


def test_a_few_pairs_near_a_line_have_a_narrow_interval():
    line = deming([100, 150, 200, 250, 300, 350], [103, 151, 208, 254, 312, 357])
    jackknife = leave_one_out(coefficients("constant"), *map(np.array, (
        [100.0, 150, 200, 250, 300, 350], [103.0, 151, 208, 254, 312, 357])))
    assert line.slope.standard_error == pytest.approx(jackknife[0], rel=1e-9)
    assert 0.95 < line.slope.low < 1.0285 < line.slope.high < 1.1


def test_one_pair_that_makes_the_line_leaves_it_unbounded():
    line = deming([800, 800, 800, 1121], [0, 0, 0, 1])
    assert (line.slope.low, line.slope.high) == (-math.inf, math.inf)


@pytest.mark.parametrize("weighting", ["constant", "proportional"])
def test_standard_errors_agree_with_the_bootstrap(weighting):
    rng = np.random.default_rng(7)
    x, y = made(7, n=250)
    fit = coefficients(weighting)
    draws = np.array([fit(x[k], y[k]) for k in rng.integers(0, 250, (400, 250))])
    line = deming(x, y, weighting=weighting)
    # 400 draws know a standard deviation to 3.5 %; three times that.
    assert [line.slope.standard_error, line.intercept.standard_error] == pytest.approx(draws.std(axis=0), rel=0.11)


def test_interval_covers_the_true_slope():
    rng, hits = np.random.default_rng(9), 0
    for _ in range(600):
        true = rng.uniform(100, 350, 60)
        slope = deming(true + rng.normal(0, 4, 60), 1.02 * true + rng.normal(0, 4, 60)).slope
        hits += slope.low <= 1.02 <= slope.high
    assert 0.92 <= hits / 600 <= 0.98  # 0.95 -+ 3 Monte-Carlo errors


@pytest.mark.parametrize("weighting", ["constant", "proportional"])
def test_points_on_a_line_are_found_exactly(weighting):
    x = np.array([100.0, 150, 220, 300, 410]) + 2.0**-20  # rounded readings would leave the rounding
    line = deming(x, 2 + 0.98 * x, weighting=weighting)
    assert line.slope.value == pytest.approx(0.98, rel=1e-13)
    assert line.intercept.value == pytest.approx(2, rel=1e-10)
    assert line.slope.standard_error == pytest.approx(0, abs=1e-12)


NO_LINE = "no line: `reference` and `device` do not vary together (covariance 0); record a wider range of power"


@pytest.mark.parametrize(("x", "y"), [([5, 5, 5], [5, 5, 5]), ([5, 5, 5], [1, 2, 3]), ([1, 2, 3], [5, 5, 5]),
                                      ([0, 0, 0], [0, 0, 0]), ([1, 1, 2, 2], [1, 2, 1, 2])])
def test_no_joint_variation(x, y):
    with pytest.raises(InputError) as caught:
        deming(x, y)
    assert str(caught.value) == NO_LINE


def test_proportional_needs_positive_true_values():
    with pytest.raises(InputError) as caught:
        deming([-50, 0, 100, 200, 300], [-52, 3, 99, 204, 296], weighting="proportional")
    assert str(caught.value) == (
        "weighting='proportional' needs positive true values; got 1 fitted at or below 0, first at index 0; set low "
        "readings aside or use weighting='constant'")


def test_proportional_that_does_not_settle(monkeypatch):
    monkeypatch.setattr("agree.estimators.lines.deming.MAX_ROUNDS", 1)
    x, y = made(11)
    with pytest.raises(ConvergenceError) as caught:
        deming(x, y, weighting="proportional")
    text = str(caught.value)
    assert text.startswith("weighting='proportional' did not settle in 1 rounds (last step ")
    assert text.endswith("); the range of power is too narrow for the scatter: use weighting='constant' or record "
                         "more")


@pytest.mark.parametrize("ratio", [0, -1, math.inf, math.nan, "1"])
def test_ratio_must_be_positive(ratio):
    with pytest.raises(InputError) as caught:
        deming([1, 2, 3], [1, 2, 4], error_variance_ratio=ratio)
    assert str(caught.value) == f"`error_variance_ratio` must be a positive number; got {ratio!r}"


def test_error_that_outweighs_the_range_is_named():
    """One steady block: the slope is decided by the errors and their assumed ratio."""
    rng = np.random.default_rng(12)
    true = 200 + rng.normal(0, 2, 200)
    with pytest.warns(AssumptionWarning, match=r"^error outweighs the range of power: at this `error_var"):
        deming(true + rng.normal(0, 5, 200), true + rng.normal(0, 5, 200))
