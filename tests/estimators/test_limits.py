"""Limits of agreement: oracles, defining equations, coverage, resampling."""

import math

import numpy as np
import pytest
from scipy import special

from agree import InputError, limits_of_agreement
from agree.core.interval.engine import spread
from agree.estimators.limits.agreement import exact_limit, limit_influence
from tests.each import each


def made(seed=1, n=40):
    rng = np.random.default_rng(seed)
    x = rng.uniform(100, 400, n)
    return x, x * 1.01 + rng.normal(0, 5, n)


def test_bias_interval_equals_statsmodels(oracle):
    weightstats = oracle("statsmodels.stats.weightstats")
    x, y = made()
    other = weightstats.DescrStatsW(y - x)
    bias = limits_of_agreement(x, y, level=0.9).bias
    assert (bias.value, bias.standard_error) == pytest.approx((other.mean, other.std_mean), rel=1e-13)
    assert (bias.low, bias.high) == pytest.approx(other.tconfint_mean(alpha=0.1), rel=1e-12)
    assert bias.df == 39


def test_bias_interval_equals_pingouin(oracle):
    x, y = made()
    table = oracle("pingouin").ttest(y, x, paired=True).iloc[0]
    column = next(name for name in table.index if name.replace("%", "").upper() in ("CI95", "CI95 "))
    bias = limits_of_agreement(x, y).bias
    assert list(table[column]) == pytest.approx([bias.low, bias.high], abs=0.0051)  # it rounds to 2 digits
    assert table["T"] == pytest.approx(bias.value / bias.standard_error, rel=1e-6)


@each("n", [3, 5, 12, 40, 300, 5000])
@each("level", [0.8, 0.95, 0.99])
@each("sign", [-1, 1])
def test_exact_limit_satisfies_its_equation(n, level, sign, oracle):
    """At either bound the noncentral t probability of what was seen is half of what the level leaves."""
    nct = oracle("scipy.stats").nct
    z = sign * special.ndtri(0.975)
    item = exact_limit(2.0, 3.0, n, z, level)
    assert item.value == pytest.approx(2 + 3 * z)
    root = math.sqrt(n)
    near, far = sorted((bound - 2.0) / 3.0 * root * sign for bound in (item.low, item.high))
    tail = (1 - level) / 2
    assert nct.cdf(near, n - 1, abs(z) * root) == pytest.approx(tail, rel=1e-8)
    assert nct.sf(far, n - 1, abs(z) * root) == pytest.approx(tail, rel=1e-8)


@pytest.mark.parametrize("n", [5, 30, 200])
def test_exact_limit_equals_the_quantiles_of_scipy(n, oracle):
    nct = oracle("scipy.stats").nct
    z = special.ndtri(0.975)
    item = exact_limit(0.0, 1.0, n, z, 0.95)
    expected = nct.ppf([0.025, 0.975], n - 1, z * math.sqrt(n)) / math.sqrt(n)
    assert (item.low, item.high) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("interval", ["exact", "approximate"])
def test_coverage_of_the_limits(interval):
    """20,000 samples of 15 at once, by the function's own factors."""
    rng, n, z = np.random.default_rng(2), 15, float(special.ndtri(0.975))
    d = rng.normal(size=(20_000, n))
    mean, sd = d.mean(axis=1), d.std(axis=1, ddof=1)
    unit = np.r_[-1.0, np.zeros(n - 2), 1.0]
    unit *= math.sqrt((n - 1) / 2)  # mean 0, SD 1
    upper = limits_of_agreement(np.zeros(n), unit, interval=interval).upper
    inside = (mean + upper.low * sd <= z) & (z <= mean + upper.high * sd)
    if interval == "exact":
        assert inside.mean() == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / 20_000))
    else:
        assert 0.88 < inside.mean() < 0.945  # too narrow, which is why exact is the default


def test_approximate_standard_error_is_that_of_1999():
    x, y = made()
    result = limits_of_agreement(x, y, interval="approximate")
    expected = result.sd * math.sqrt((1 + special.ndtri(0.975) ** 2 / 2) / 40)
    assert result.upper.standard_error == pytest.approx(expected, rel=1e-14)
    assert (result.lower.low + result.lower.high) / 2 == pytest.approx(result.lower.value)


@pytest.mark.parametrize("scale", ["difference", "percent", "log"])
def test_scales_are_that_of_their_errors(scale):
    x, y = made()
    d = {"difference": y - x, "percent": 100 * (y - x) / x, "log": np.log(y / x)}[scale]
    result, plain = limits_of_agreement(x, y, scale=scale), limits_of_agreement(np.zeros(40), d)
    back = np.exp if scale == "log" else np.asarray
    for name in ("bias", "lower", "upper"):
        ours, theirs = getattr(result, name), getattr(plain, name)
        assert (ours.value, ours.low, ours.high) == pytest.approx(
            tuple(back([theirs.value, theirs.low, theirs.high])), rel=1e-12)
    assert result.sd == pytest.approx(np.std(d, ddof=1), rel=1e-13)
    assert (result.scale, result.n, result.coverage) == (scale, 40, 0.95)


def influence_errors(x, y):
    """Standard errors of bias and limits from the influence series of serial sampling."""
    d = y - x
    centred, sd = d - d.mean(), d.std(ddof=1)
    return [spread(limit_influence(centred, sd, z), "independent").standard_error for z in (0.0, -1.959964, 1.959964)]


def values(x, y):
    result = limits_of_agreement(x, y)
    return [getattr(result, name).value for name in ("bias", "lower", "upper")]


def test_influence_standard_errors_agree_with_the_jackknife():
    x, y = made(3, 250)
    out = np.array([values(np.delete(x, i), np.delete(y, i)) for i in range(250)])
    jackknife = np.sqrt(249 / 250 * np.square(out - out.mean(axis=0)).sum(axis=0))
    assert influence_errors(x, y) == pytest.approx(jackknife, rel=0.02)


@pytest.mark.filterwarnings("ignore:the errors are not normal")  # of some that are drawn
def test_influence_standard_errors_agree_with_the_bootstrap():
    x, y = made(4, 250)
    rng = np.random.default_rng(4)
    out = np.array([values(x[k], y[k]) for k in rng.integers(0, 250, (500, 250))])
    assert influence_errors(x, y) == pytest.approx(out.std(axis=0), rel=0.1)  # 3 Monte-Carlo errors


@pytest.mark.parametrize("n", [3, 8, 40])
def test_sessions_of_one_pair_have_the_exact_limits(n):
    x, y = made(5, n)
    found = limits_of_agreement(x, y, sampling="sessions", session=np.arange(n))
    exact = limits_of_agreement(x, y, interval="exact")
    for name in ("bias", "lower", "upper"):
        ours, theirs = getattr(found, name), getattr(exact, name)
        assert ours.value == pytest.approx(theirs.value, rel=1e-9)
        for end in ("low", "high"):
            assert getattr(ours, end) - ours.value == pytest.approx(getattr(theirs, end) - theirs.value, rel=0.01)


def test_limits_over_few_sessions_cover():
    """Three sessions of 200 s that differ by as much as the seconds within: 500 runs, Monte-Carlo error 1 %."""
    rng = np.random.default_rng(8)
    session, truth, inside = np.repeat(np.arange(3), 200), 1.959964 * math.sqrt(2), 0
    for _ in range(500):
        d = rng.normal(size=3)[session] + rng.normal(size=600)
        item = limits_of_agreement(np.zeros(600), d, sampling="sessions", session=session).upper
        inside += item.low <= truth <= item.high
    assert inside / 500 >= 0.93


def test_equal_errors_give_limits_equal_to_the_bias():
    for sampling, session in (("independent", None), ("serial", None), ("sessions", [1, 1, 2, 2])):
        one = np.array([100, 200, 300, 400]) + 2.0**-20  # not rounded to any power of ten
        result = limits_of_agreement(one, one + 1, sampling=sampling, session=session)
        for item in (result.bias, result.lower, result.upper):
            assert (item.value, item.low, item.high) == (1, 1, 1)
        assert result.sd == 0


@pytest.mark.parametrize(("step", "scale"), [(1.0, "difference"), (0.1, "difference"), (1.0, "percent"), (1.0, "log")])
def test_equal_errors_of_rounded_readings_leave_the_rounding(step, scale):
    """Standard error step/sqrt(6 n) of the mean, whatever the scatter; none for readings that are not rounded."""
    one = step * np.array([200, 200, 200, 200])
    result = limits_of_agreement(one, one + step, scale=scale)
    factor = {"difference": 1, "percent": 100 / one[0], "log": np.hypot(1, 201 / 200) / (201 * step) / 2**0.5}[scale]
    half = special.stdtrit(3, 0.975) * step / np.sqrt(24) * factor
    for item in (result.bias, result.lower, result.upper):
        found = np.log([item.low, item.value, item.high]) if scale == "log" else [item.low, item.value, item.high]
        assert np.diff(found) == pytest.approx([half, half], rel=1e-9)
        assert "at least the rounding of the readings" in item.method


def test_rounding_changes_nothing_where_errors_scatter_more(rng):
    x = np.rint(rng.uniform(100, 300, 50))
    y = x + np.rint(rng.normal(0, 2, 50))
    item = limits_of_agreement(x, y).bias
    assert item.method == "t, independent pairs"
    assert item.high - item.value == pytest.approx(special.stdtrit(49, 0.975) * (y - x).std(ddof=1) / 50**0.5)


def test_percent_refuses_zero_reference():
    with pytest.raises(InputError) as caught:
        limits_of_agreement([100, 0, 0, 200], [101, 1, 0, 199], scale="percent")
    assert str(caught.value) == ("scale='percent' needs a non-zero `reference`; got 2 zero(s), first at index 1; set "
                                 "coasting aside or use scale='difference'")


def test_log_refuses_non_positive_readings():
    with pytest.raises(InputError) as caught:
        limits_of_agreement([100, 200, 300], [101, 199, -1], scale="log")
    assert str(caught.value) == ("scale='log' needs positive readings; got 1 pair(s) with zero or less, first at index "
                                 "2; set coasting aside or use scale='difference'")
