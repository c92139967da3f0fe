"""York's line against orthogonal distance regression, its equations, resampling and its chi-square."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agree import AssumptionWarning, ConvergenceError, InputError, deming, york
from agree.core.interval.engine import spread, t_quantile
from agree.estimators.lines.york_fit import Stated, influences, intercept_scores, slope_scores, solve
from tests.each import each


def made(seed, n=40, slope=1.1, correlated=False):
    rng = np.random.default_rng(seed)
    true = rng.uniform(100, 350, n)
    ux, uy = rng.uniform(1, 6, (2, n))
    r = rng.uniform(-0.8, 0.8, n) if correlated else np.zeros(n)
    one, two = rng.normal(size=(2, n))
    return true + ux * one, 5 + slope * true + uy * (r * one + np.sqrt(1 - r * r) * two), ux, uy, r


def chi_square(x, y, ux, uy, r, a, b):
    return np.sum((y - a - b * x) ** 2 / (uy**2 - 2 * b * r * ux * uy + (b * ux) ** 2))


def fit(data, **options):
    x, y, ux, uy, r = data
    return york(x, y, u_reference=ux, u_device=uy, correlation=r, **options)


@pytest.mark.parametrize("slope", [1.1, 0.2, -3.0])
def test_equals_orthogonal_distance_regression(slope, oracle):
    odr = oracle("scipy.odr")
    x, y, ux, uy, r = made(1, slope=slope)
    x, y = x - x.mean(), y - y.mean()
    beta = [slope, 0.0]
    for _ in range(4):  # it stops when the sum of squares no longer falls, so start again from there
        run = odr.ODR(odr.RealData(x, y, sx=ux, sy=uy), odr.unilinear, beta0=beta, maxit=500, sstol=1e-15,
                      partol=1e-15).run()
        beta = run.beta
    line = fit((x, y, ux, uy, r))
    # As far as the oracle sees: at our line the gradient is 0 to 1e-10, see below, and the sum of squares no larger.
    assert line.slope.value == pytest.approx(beta[0], rel=1e-6)
    assert line.intercept.value == pytest.approx(beta[1], abs=1e-3)
    assert line.chi_square <= run.sum_square * (1 + 1e-12)
    assert line.chi_square == pytest.approx(run.sum_square, rel=1e-9)


@each("correlated", [False, True])
@each("slope", [1.1, 0.2, -3.0])
@each("seed", range(5))
def test_satisfies_its_two_equations(seed, slope, correlated):
    """Sum of w e and of w e X are 0, X the adjusted reference: the gradient of the chi-square."""
    x, y, ux, uy, r = data = made(seed, slope=slope, correlated=correlated)
    line = fit(data)
    b, a = line.slope.value, line.intercept.value
    w = 1 / (uy**2 - 2 * b * r * ux * uy + (b * ux) ** 2)
    e = y - a - b * x
    adjusted = x + w * e * (b * ux**2 - r * ux * uy)
    assert abs(np.sum(w * e)) <= 1e-10 * np.sum(np.abs(w * e))
    assert abs(np.sum(w * e * adjusted)) <= 1e-10 * np.sum(np.abs(w * e * adjusted))
    assert line.chi_square == pytest.approx(np.sum(w * e * e), rel=1e-12)
    for step in ((1e-4, 0), (-1e-4, 0), (0, 1e-2), (0, -1e-2)):
        assert chi_square(*data, a + step[1], b + step[0]) > line.chi_square


def test_uncertainties_come_from_the_adjusted_points():
    x, y, ux, uy, r = data = made(3, correlated=True)
    line = fit(data)
    b, a = line.slope.value, line.intercept.value
    w = 1 / (uy**2 - 2 * b * r * ux * uy + (b * ux) ** 2)
    adjusted = x + w * (y - a - b * x) * (b * ux**2 - r * ux * uy)
    inverse = np.linalg.inv([[w.sum(), (w * adjusted).sum()], [(w * adjusted).sum(), (w * adjusted**2).sum()]])
    assert [line.u_intercept**2, line.u_slope**2] == pytest.approx(np.diag(inverse), rel=1e-9)
    assert line.covariance == pytest.approx(inverse[0, 1], rel=1e-9)
    factor = math.sqrt(line.chi_square / 38)
    assert [line.u_slope_scaled, line.u_intercept_scaled] == pytest.approx([line.u_slope * factor,
                                                                            line.u_intercept * factor])


def test_constant_uncertainties_give_demings_line():
    x, y, *_ = made(4)
    line = york(x, y, u_reference=2.0, u_device=3.0, scaled=True)
    other = deming(x, y, error_variance_ratio=9 / 4)
    assert line.slope.value == pytest.approx(other.slope.value, rel=1e-12)
    assert line.intercept.value == pytest.approx(other.intercept.value, rel=1e-10)


def test_influences_agree_with_the_jackknife():
    x, y, ux, uy, r = data = made(5, n=300, correlated=True)
    stated = Stated(x, y, ux**2, uy**2, r * ux * uy)
    phi = influences(stated, solve(stated))
    out = np.array([[line.slope.value, line.intercept.value] for line in
                    (fit(tuple(np.delete(v, i) for v in data)) for i in range(300))])
    jackknife = np.sqrt(299 / 300 * np.square(out - out.mean(axis=0)).sum(axis=0))
    assert phi.std(axis=1) / math.sqrt(300) == pytest.approx(jackknife, rel=0.02)
    assert phi.mean(axis=1) == pytest.approx([0, 0], abs=1e-9)
    assert np.corrcoef(phi[0], out[:, 0])[0, 1] < -0.999


@pytest.mark.filterwarnings("ignore:the readings scatter:agree.AssumptionWarning")  # 1 in 1000 does by chance
@pytest.mark.parametrize("scaled", [False, True])
def test_interval_covers(scaled):
    lines = [fit(made(k, n=25), scaled=scaled) for k in range(500)]
    assert 0.92 <= np.mean([line.slope.low <= 1.1 <= line.slope.high for line in lines]) <= 0.98
    assert 0.92 <= np.mean([line.intercept.low <= 5 <= line.intercept.high for line in lines]) <= 0.98


@pytest.mark.filterwarnings("ignore:the readings scatter:agree.AssumptionWarning")
def test_chi_square_follows_its_law(oracle):
    stats = oracle("scipy.stats")
    values = [fit(made(k, n=20)).p_value for k in range(400)]
    assert stats.kstest(values, "uniform").pvalue > 0.01


def test_scatter_beyond_the_stated_uncertainties_is_named():
    x, y, ux, uy, _ = made(6)
    with pytest.warns(AssumptionWarning,
                      match=r"^the readings scatter more than the stated uncertainties allow: chi-square"):
        line = york(x, y, u_reference=ux / 3, u_device=uy / 3)
    assert line.p_value < 0.001
    assert line.u_slope_scaled > 2 * line.u_slope
    york(x, y, u_reference=ux / 3, u_device=uy / 3, scaled=True)  # no warning: it was asked for


@given(st.integers(0, 30), st.sampled_from([1e-300, 1e-30, 8.0, 1e250]))
def test_a_change_of_unit_changes_no_slope(seed, factor):
    x, y, ux, uy, r = made(seed, n=12)
    one, other = fit((x, y, ux, uy, r)), fit((x * factor, y * factor, ux * factor, uy * factor, r))
    assert [other.slope.low, other.slope.value, other.slope.high] == pytest.approx(
        [one.slope.low, one.slope.value, one.slope.high], rel=1e-9)
    assert other.intercept.value / factor == pytest.approx(one.intercept.value, rel=1e-7)
    assert other.chi_square == pytest.approx(one.chi_square, rel=1e-9)


@given(st.integers(0, 30))
def test_exchange_inverts_the_line(seed):
    x, y, ux, uy, r = data = made(seed, n=15, correlated=True)
    one, other = fit(data), fit((y, x, uy, ux, r))
    assert other.slope.value == pytest.approx(1 / one.slope.value, rel=1e-10)
    assert other.intercept.value == pytest.approx(-one.intercept.value / one.slope.value, rel=1e-7, abs=1e-7)
    assert other.chi_square == pytest.approx(one.chi_square, rel=1e-9)


def test_points_on_a_line_are_found_exactly():
    line = york([100, 200, 300], [203, 403, 603], u_reference=1, u_device=[1, 2, 3])
    assert line.slope.value == pytest.approx(2, rel=1e-13)
    assert line.chi_square == pytest.approx(0, abs=1e-18)


X, Y = [100.0, 150, 200, 250], [103.0, 151, 208, 254]


@pytest.mark.parametrize(("options", "text"), [
    ({"u_reference": -1, "u_device": 1}, "`u_reference` must hold standard uncertainties of 0 or more, in the unit of "
     "the readings; got -1 at index 0"),
    ({"u_reference": 1, "u_device": [1, 1, math.nan, 1]}, "`u_device` must hold standard uncertainties of 0 or more, "
     "in the unit of the readings; got nan at index 2"),
    ({"u_reference": 1, "u_device": [1, 1]}, "`u_device` must be one number or one for each pair; got 2 for 4 pairs"),
    ({"u_reference": 0, "u_device": [1, 0, 1, 0]}, "`u_reference` and `u_device` must not both be 0; got 2 such "
     "pair(s), first at index 1"),
    ({"u_reference": 1, "u_device": 1, "correlation": 1}, "`correlation` must lie strictly between -1 and 1; got 1"),
    ({"u_reference": 1, "u_device": 1, "scaled": 1}, "`scaled` must be True or False; got 1"),
    ({"u_reference": 1, "u_device": 1, "scaled": True, "sampling": "serial"},
     "scaled=True is for independent pairs; with sampling='serial' the interval rests on the residuals already: leave "
     "`scaled` out"),
])
def test_options_that_cannot_be_used(options, text):
    with pytest.raises(InputError) as caught:
        york(X, Y, **options)
    assert str(caught.value) == text


def test_omitted_pairs_take_their_uncertainty_with_them():
    x, y, ux, uy, r = made(7)
    holed = x.copy()
    holed[4] = math.nan
    kept = np.arange(40) != 4
    assert (york(holed, y, u_reference=ux, u_device=uy, correlation=r, nan_policy="omit").to_dict()
            == york(x[kept], y[kept], u_reference=ux[kept], u_device=uy[kept], correlation=r[kept]).to_dict())


def test_a_slope_that_does_not_settle(monkeypatch):
    monkeypatch.setattr("agree.estimators.lines.york_fit.MAX_ROUNDS", 1)
    with pytest.raises(ConvergenceError) as caught:
        fit(made(8))
    text = str(caught.value)
    assert text.startswith("no line: the slope did not settle in 1 rounds (last step ")
    assert text.endswith("); the stated uncertainties are as large as the range of power: check them or record a wider "
                         "range")


@pytest.mark.parametrize("sampling", ["serial", "sessions"])
def test_limits_are_where_the_test_of_the_equations_turns(sampling):
    x, y, ux, uy, r = data = made(9, n=60, correlated=True)
    session = np.arange(60) // 6
    line = fit(data, sampling=sampling, session=session)
    stated = Stated(x, y, ux**2, uy**2, r * ux * uy)
    for item, scores in ((line.slope, slope_scores), (line.intercept, lambda d, a: intercept_scores(d, a,
                                                                                                    line.slope.value))):
        t = t_quantile(0.95, item.df)
        assert item.low < item.value < item.high
        for end in (item.low, item.high):
            series = scores(stated, end)
            assert abs(series.mean()) == pytest.approx(t * spread(series, sampling, session).standard_error, rel=1e-8)
        assert scores(stated, item.value).mean() == pytest.approx(0, abs=1e-12)


def test_slope_best_for_an_intercept_minimises_the_chi_square():
    x, y, ux, uy, r = data = made(10)
    stated = Stated(x, y, ux**2, uy**2, r * ux * uy)
    line = fit(data)
    grid = line.slope.value + np.linspace(-0.05, 0.05, 2001)
    best = grid[np.argmin([chi_square(*data, line.intercept.value + 4, b) for b in grid])]
    scores = intercept_scores(stated, line.intercept.value + 4, line.slope.value)
    at_best = intercept_scores(stated, line.intercept.value + 4, best)
    assert scores.mean() == pytest.approx(at_best.mean(), rel=1e-6)
