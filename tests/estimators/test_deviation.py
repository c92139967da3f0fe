"""Deviation index and share within a limit: defining equations, exact ranks, jackknife, extremes."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import optimize, special

from agree import DriftWarning, InputError, coverage_probability, deviation_index
from agree.estimators.pivots import CLEAR, least_sd_about_zero

ERRORS = st.lists(st.integers(-300, 300), min_size=3, max_size=40)


def ends(item):
    return [item.low, item.value, item.high]


def both(error):
    """Pairs whose errors are these."""
    reference = np.full(len(error), 256.0)
    return reference, reference + np.asarray(error, float)


def share_of(x, y, **options):
    return coverage_probability(x, y, **options).probability


@given(ERRORS, st.sampled_from([0.05, 0.5, 0.9, 0.999]))
def test_the_index_is_the_distance_that_holds_the_share(values, coverage):
    """The two are each other's inverse, and the normal share is that of its definition."""
    error = np.array(values) / 8
    assume(np.ptp(error) > 1)
    x, y = both(error)
    index = deviation_index(x, y, coverage=coverage).index
    share = share_of(x, y, limit=index.value)
    assert share.value == pytest.approx(coverage, rel=1e-9)
    m, s = error.mean(), error.std(ddof=1)
    phi = lambda z: math.erfc(-z / math.sqrt(2)) / 2  # noqa: E731
    assert phi((index.value - m) / s) - phi((-index.value - m) / s) == pytest.approx(coverage, abs=1e-12)
    assert 0 <= index.low <= index.value <= index.high
    assert 0 <= share.low <= share.value <= share.high <= 1


@given(ERRORS, st.sampled_from(["normal", "any"]), st.sampled_from([2.0**-20, 4.0, 1e140, 1e-140]), st.randoms())
def test_exchange_unit_and_order(values, distribution, factor, random):
    error = np.array(values) / 8
    assume(np.ptp(error) > 1)
    x, y = both(error)
    order = list(range(error.size))
    random.shuffle(order)
    index = lambda *a: ends(deviation_index(*a, distribution=distribution).index)  # noqa: E731
    share = lambda *a, k=1.0: ends(share_of(*a, limit=9.01 * k, distribution=distribution))  # noqa: E731
    assert index(y, x) == pytest.approx(index(x, y), rel=1e-9)
    assert index(x[order], y[order]) == pytest.approx(index(x, y), rel=1e-9)
    assert [v / factor for v in index(factor * x, factor * y)] == pytest.approx(index(x, y), rel=1e-9)
    assert share(y, x) == pytest.approx(share(x, y), rel=1e-7, abs=1e-12)
    assert share(factor * x, factor * y, k=factor) == pytest.approx(share(x, y), rel=1e-7, abs=1e-12)


@given(ERRORS)
def test_every_pair_twice(values):
    x, y = both(values)
    one, other = (share_of(a, b, limit=100.5, distribution="any")
                  for a, b in ((x, y), (np.tile(x, 2), np.tile(y, 2))))
    assert other.value == one.value
    assert one.low <= other.low <= other.high <= one.high


@pytest.mark.parametrize("mean", [0.0, 1.5, -40.0])
def test_standard_errors_are_those_of_normal_errors(rng, mean):
    """Delta method by finite differences: mean and SD of n normal errors have variances s^2/n and s^2/2n."""
    n = 400
    d = mean + rng.normal(0, 3, n)
    m, s = d.mean(), d.std(ddof=1)
    cases = ((lambda e: math.log(deviation_index(*both(e)).index.value), lambda e: deviation_index(*both(e)).index,
              math.log),
             (lambda e: special.logit(share_of(*both(e), limit=abs(mean) + 2.0).value),
              lambda e: share_of(*both(e), limit=abs(mean) + 2.0), special.logit))
    for value, fit, scale in cases:
        item, h = fit(d), 1e-4
        by_mean = (value(d + h) - value(d - h)) / (2 * h)
        by_sd = (value(m + (d - m) * (1 + h)) - value(m + (d - m) * (1 - h))) / (2 * h * s)
        assert (scale(item.high) - scale(item.low)) / 2 / 1.96593 == pytest.approx(
            s * math.hypot(by_mean, by_sd / math.sqrt(2)) / math.sqrt(n), rel=0.02)


@pytest.mark.parametrize(("n", "mean"), [(8, 0.0), (15, 1.0)])
def test_the_index_of_few_readings_covers_on_either_side(n, mean):
    """Pairs of mean and SD alone put the low end above the index in 6.5 % of samples of 8 with mean 0."""
    rng, runs = np.random.default_rng(n), 300
    truth = optimize.brentq(lambda k: special.ndtr((k - mean) / 2) - special.ndtr((-k - mean) / 2) - 0.9, 1, 9)
    items = [deviation_index(*both(mean + 2 * rng.normal(size=n))).index for _ in range(runs)]
    most = 0.025 * runs + 2.5 * math.sqrt(0.025 * runs)
    assert sum(item.low > truth for item in items) <= most
    assert sum(item.high < truth for item in items) <= most


@pytest.mark.parametrize("labels", [None, [1, 2, 3, 4, 5, 6, 7, 8], [1, 1, 2, 2, 3, 3, 4, 4]])
def test_the_low_end_of_errors_about_zero_is_the_exact_one_for_mean_zero(labels):
    error = np.array([-3.0, 2.0, 1.0, -1.0, 2.0, -2.0, 0.5, 0.4])
    options = {} if labels is None else {"sampling": "sessions", "session": labels}
    item, inside = deviation_index(*both(error), **options).index, share_of(*both(error), limit=1.9, **options)
    least = least_sd_about_zero(error, None if labels is None else np.array(labels), 0.95)
    if labels is None or len(set(labels)) == 8:
        assert least == pytest.approx(math.sqrt(error @ error / special.chdtri(8, 0.025)), rel=1e-9)
    assert item.low == pytest.approx(special.ndtri(0.95) * least, rel=1e-9)
    assert inside.high == pytest.approx(1 - 2 * special.ndtr(-1.9 / least), rel=1e-9)
    at_high = deviation_index(*both(error), coverage=inside.high, **options).index
    assert at_high.low == pytest.approx(1.9, rel=1e-6)  # either is the other turned round
    far = error + 40
    assert math.isinf(least_sd_about_zero(far, None if labels is None else np.array(labels), 0.95))


def test_a_mean_is_clearly_not_zero_beyond_its_own_interval():
    error = np.array([-3.0, 2.0, 1.0, -1.0, 2.0, -2.0, 0.5, 0.5])
    reach = -special.stdtrit(7, CLEAR * 0.025) * error.std(ddof=1) / math.sqrt(8)
    assert math.isfinite(least_sd_about_zero(error + 0.999 * reach, None, 0.95))
    assert math.isinf(least_sd_about_zero(error + 1.001 * reach, None, 0.95))


@pytest.mark.parametrize("n", [5, 29, 60, 500])
@pytest.mark.parametrize("coverage", [0.5, 0.9])
def test_ranks_bound_a_binomial_count(rng, oracle, n, coverage):
    """The ranks are the tightest whose two error probabilities are each at most 2.5 %."""
    binomial = oracle("scipy.stats").binom(n, coverage)
    size = np.arange(1.0, n + 1)
    item = deviation_index(*both(rng.permutation(size)), coverage=coverage, distribution="any").index
    assert item.value == math.ceil(n * coverage)
    low, high = item.low, item.high  # a value is its own rank here
    assert binomial.cdf(low - 1) <= 0.025 < binomial.cdf(low)
    if math.isinf(high):
        assert binomial.sf(n - 1) > 0.025
    else:
        assert binomial.sf(high - 1) <= 0.025 < binomial.sf(high - 2)


@pytest.mark.filterwarnings("ignore:neighbouring errors are alike")
def test_binomial_limits_of_a_share(oracle):
    expected = oracle("scipy.stats").binomtest(17, 20).proportion_ci(0.95, "exact")
    item = share_of(*both([1] * 17 + [9] * 3), limit=2, distribution="any")
    assert ends(item) == pytest.approx([expected.low, 0.85, expected.high], rel=1e-9)
    assert item.method == "exact, binomial"


@pytest.mark.filterwarnings("ignore:neighbouring errors are alike")
def test_neighbours_alike_count_for_less(rng):
    error = np.repeat(rng.normal(0, 3, 60), 20)
    for distribution in ("normal", "any"):
        alone, serial = (ends(share_of(*both(error), limit=4, distribution=distribution, sampling=sampling))
                         for sampling in ("independent", "serial"))
        assert serial[2] - serial[0] > 2 * (alone[2] - alone[0])
    session = np.repeat(np.arange(60), 20)
    item = share_of(*both(error), limit=4, distribution="any", sampling="sessions", session=session)
    # 60 sessions of one error each: never more than 60 effective pairs, and not far fewer.
    assert 45 < float(item.method.split()[1]) <= 60


@pytest.mark.parametrize("power", [1e-300, 1e299])
def test_extreme_readings(power):
    x, y = np.array([1.0, 2, 3, 4]), np.array([1.1, 2.05, 2.9, 4.2])
    for distribution in ("normal", "any"):
        one, other = (deviation_index(a * x, a * y, distribution=distribution).index for a in (1, power))
        assert [v / power for v in ends(other)] == pytest.approx(ends(one), rel=1e-9)


@pytest.mark.parametrize(("limit", "expected"), [(1e-12, 0), (1e-300, 0), (1e12, 1), (60.0, 1)])
def test_limits_far_from_the_errors(limit, expected):
    item = share_of(*both([-1.0, 0, 2, 1, -2]), limit=limit)
    assert ends(item) == pytest.approx([expected] * 3, abs=1e-11)
    assert 0 <= item.low <= item.value <= item.high <= 1


def test_a_narrow_limit_meets_the_density():
    """Either side of the point where the share is taken as density times width."""
    x, y = both([-1.0, 0, 2.5, 1, -2])
    limits = (1e-6 * np.std(y - x, ddof=1) * near for near in (0.999, 1.001))
    below, above = (np.array(ends(share_of(x, y, limit=limit))) / limit for limit in limits)
    assert below == pytest.approx(above, rel=1e-8)


@pytest.mark.parametrize(("error", "share"), [(3.0, 1.0), (-5.0, 0.0)])
def test_errors_all_alike(error, share):
    x, y = both([error] * 5)
    assert ends(deviation_index(x + math.pi, y + math.pi).index) == pytest.approx([abs(error)] * 3, abs=1e-12)
    counted = share_of(x, y, limit=4, distribution="any")
    assert ends(share_of(x, y, limit=4)) == ends(counted)  # no scatter is shown that could be taken for normal
    assert (counted.low, counted.high) == pytest.approx((0.478176, 1) if share else (0, 0.521824), abs=1e-6)


def test_per_cent_is_of_the_reference():
    x = np.array([100.0, 200, 400, 300])
    assert deviation_index(x, x * [1.01, 1.02, 0.99, 0.98], scale="percent", coverage=0.5).index.value == pytest.approx(
        deviation_index(np.full(4, 100.0), [101, 102, 99, 98], coverage=0.5).index.value, rel=1e-12)
    with pytest.raises(InputError, match=r"^scale='percent' needs a non-zero `reference`; got 1 zero"):
        deviation_index([0, 1, 2], [1, 2, 3], scale="percent")


def test_a_wandering_error_is_named():
    with pytest.warns(DriftWarning, match="drifts"):
        deviation_index(*both(np.linspace(2, 9, 400)), sampling="serial")


def test_summaries_say_what_the_index_is_not():
    x, y = both([1.0, 2, -2, 3])
    assert "no statement on an average" in " ".join(deviation_index(x, y).summary().split())
    assert "not the probability that a claim holds" in " ".join(coverage_probability(x, y, limit=2).summary().split())


@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
def test_a_bias_of_many_standard_deviations_beside_its_limit(sampling):
    """The limit lies one SD above a bias of 1e8 SD: 84 % are within, not all."""
    error = 1e8 + np.random.default_rng(0).permutation(special.ndtri((np.arange(400) + 0.5) / 400))
    session = np.random.default_rng(1).permutation(400) % 8
    item = coverage_probability(np.zeros(400), error, limit=1e8 + 1, sampling=sampling, session=session).probability
    assert item.value == pytest.approx(0.8413, abs=0.005)
    assert item.low < 0.84 < item.high < 0.95
