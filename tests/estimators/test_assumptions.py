"""The look at errors: what it finds in errors made to have it, and that it finds nothing in errors made not to."""

import numpy as np
import pytest

from agree import look_at_errors
from agree.estimators.limits.assumptions import _moments

N = 2000


def made(kind, seed=1):
    rng = np.random.default_rng(seed)
    x, normal = rng.uniform(100, 400, N), rng.normal(size=N)
    error = {
        "plain": 2 + 4 * normal,
        "scale": 0.02 * x * (1 + normal),
        "wider": (0.5 + (x / 100) ** 2) * normal,
        "trend": 0.05 * (x - 200) + 2 * normal,
        "skewed": rng.exponential(4, N),
        "wild": rng.standard_t(2.2, N),
    }[kind]
    return x, x + error


@pytest.mark.parametrize(("kind", "advice", "found"), [
    ("plain", "limits_of_agreement", set()),
    ("scale", "percent", {"trend", "spread"}),
    ("wider", "regression_limits", {"spread"}),
    ("trend", "regression_limits", {"trend"}),
    ("skewed", "quantile_limits", {"skewness", "kurtosis", "share below"}),
    ("wild", "quantile_limits", {"kurtosis"}),
])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_is_there_is_found(kind, advice, found, seed):
    look = look_at_errors(*made(kind, seed))
    assert look.recommendation == advice
    assert found <= {item.name for item in look.looks if item.finding == "present"}
    assert look.because in look.summary()


def test_percent_errors_that_grow_pass_on_their_own_scale():
    assert look_at_errors(*made("scale"), scale="percent").recommendation == "limits_of_agreement"


def test_percent_is_not_advised_where_it_has_no_meaning():
    x, y = made("scale")
    assert look_at_errors(x - 200, y - 200).recommendation == "regression_limits"


def test_few_pairs_settle_nothing_and_say_so():
    rng = np.random.default_rng(1)
    x = rng.uniform(100, 300, 12)
    look = look_at_errors(x, x + rng.normal(0, 3, 12))
    assert {item.finding for item in look.looks} == {"not settled"}
    assert look.because.startswith("limits from this scale are fine as far as these readings tell: nothing found that "
                                   "matters; not settled: trend, spread, ")


def test_a_certain_trend_too_small_to_matter_is_absent():
    rng = np.random.default_rng(2)
    x = rng.uniform(100, 400, 50_000)
    look = look_at_errors(x, x + 0.002 * x + rng.normal(0, 4, x.size), sampling="independent")
    assert look.slope.low > 0 or look.slope.value > 0.001
    trend = look.looks[0]
    assert (trend.name, trend.finding, look.recommendation) == ("trend", "absent", "limits_of_agreement")


def test_slope_is_least_squares(oracle):
    x, y = made("trend")
    fit = oracle("scipy.stats").linregress((x + y) / 2, y - x)
    assert look_at_errors(x, y).slope.value == pytest.approx(fit.slope, rel=1e-10)


def test_moments_are_scipys_and_their_errors_the_jackknifes(oracle):
    stats = oracle("scipy.stats")
    d = np.random.default_rng(3).gamma(4.0, size=1500)
    seen = []

    def make(value, phi):
        seen.append((value, np.sqrt(phi.var(ddof=1) / phi.size)))
        return look_at_errors(np.arange(3.0), np.array([0, 2.0, 1])).slope

    _moments(d, make)
    out = np.array([[stats.skew(np.delete(d, i)), np.log(stats.kurtosis(np.delete(d, i), fisher=False))]
                    for i in range(1500)])
    jackknife = np.sqrt(1499 / 1500 * np.square(out - out.mean(axis=0)).sum(axis=0))
    assert [value for value, _ in seen] == pytest.approx([stats.skew(d), np.log(stats.kurtosis(d, fisher=False))])
    assert [error for _, error in seen] == pytest.approx(jackknife, rel=0.06)


@pytest.mark.parametrize("kind", ["plain", "trend", "skewed"])
def test_units_order_and_offset_do_not_matter(kind):
    x, y = made(kind)
    before = look_at_errors(x, y)
    for after in (look_at_errors(x * 1e150, y * 1e150), look_at_errors(x[::-1], y[::-1])):
        for one, other in zip(before.looks, after.looks, strict=True):
            assert other.estimate.value == pytest.approx(one.estimate.value, rel=1e-8)
            assert other.finding == one.finding


@pytest.mark.filterwarnings("ignore:neighbouring errors")
def test_alike_neighbours_leave_more_unsettled():
    rng = np.random.default_rng(4)
    slow = np.repeat(rng.normal(0, 4, 20), 100)
    x = np.repeat(rng.uniform(100, 400, 20), 100)
    widths = [look_at_errors(x, x + slow, session=labels).looks[0].estimate for labels in (
        None, np.arange(2000) // 100)]
    assert widths[1].high - widths[1].low > 4 * (widths[0].high - widths[0].low)
