"""Limits along a line, by quantiles and from repeats: oracles, slow twins, properties."""

import math
import warnings

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import special

from agree import (
    AssumptionWarning,
    InputError,
    SampleSizeError,
    limits_of_agreement,
    quantile_limits,
    regression_limits,
    repeated_limits,
)
from agree.estimators.limits.ordered import ordered
from tests.each import each

READINGS = st.lists(st.tuples(st.integers(800, 6400), st.integers(-160, 160)), min_size=4, max_size=40)
Z = float(special.ndtri(0.975))


def made(seed=1, n=40):
    rng = np.random.default_rng(seed)
    x = rng.uniform(100, 400, n)
    return x, x * 1.01 + rng.normal(0, 0.02, n) * x


def pairs(rows):
    x = np.array([a for a, _ in rows]) / 16
    return x, x + np.array([b for _, b in rows]) / 16


def ends(item):
    return [item.low, item.value, item.high]


# Along a line

@pytest.mark.parametrize("against", ["mean", "reference"])
def test_the_line_is_least_squares(against, oracle):
    sm = oracle("statsmodels.api")
    x, y = made()
    level = (x + y) / 2 if against == "mean" else x
    design = sm.add_constant(level)
    fit = sm.OLS(y - x, design).fit()
    size = sm.OLS(np.abs(fit.resid), design).fit()
    result = regression_limits(x, y, against=against)
    assert [result.intercept.value, result.slope.value] == pytest.approx(fit.params, rel=1e-10)
    assert result.residual_sd == pytest.approx(math.sqrt(fit.mse_resid), rel=1e-12)
    half = math.sqrt(math.pi / 2)
    assert [result.sd_intercept.value, result.sd_slope.value] == pytest.approx(half * size.params, rel=1e-9)
    there = result.at(250)
    sd = half * (size.params @ [1, 250])
    assert there.sd.value == pytest.approx(sd, rel=1e-12)
    assert there.upper.value == pytest.approx(fit.params @ [1, 250] + Z * sd, rel=1e-12)
    # n - 1 against n in the variance of a mean is all that parts it from the jackknife's sandwich
    expected = fit.get_robustcov_results("HC3").bse * math.sqrt(40 / 39)
    found = [result.intercept.standard_error, result.slope.standard_error]
    assert found == pytest.approx(expected, rel=0.01)


def test_standard_errors_of_limits_agree_with_the_jackknife():
    x, y = made(3, 200)
    names = ("bias", "lower", "upper", "sd")
    out = np.array([[getattr(regression_limits(np.delete(x, i), np.delete(y, i)).at(150), name).value
                     for name in names] for i in range(200)])
    jackknife = np.sqrt(199 / 200 * np.square(out - out.mean(axis=0)).sum(axis=0))
    there = regression_limits(x, y).at(150)
    assert [getattr(there, name).standard_error for name in names] == pytest.approx(jackknife, rel=0.03)


def test_constant_bias_and_spread_are_limits_of_agreement():
    x, y = made()
    plain = limits_of_agreement(x, y)
    there = regression_limits(x, y, bias="constant", spread="constant").at(300)
    assert [there.bias.value, there.lower.value, there.upper.value] == pytest.approx(
        [plain.bias.value, plain.lower.value, plain.upper.value], rel=1e-12)
    assert there.bias.standard_error == pytest.approx(plain.bias.standard_error * 40 / 39, rel=1e-12)  # jackknife's


def test_log_limits_are_ratios():
    x, y = made()
    there, plain = (regression_limits(x, y, scale="log", against="reference").at(200),
                    regression_limits(x, x + np.log(y / x), against="reference").at(200))
    assert ends(there.upper) == pytest.approx(np.exp(ends(plain.upper)), rel=1e-9)


def test_levels_outside_the_readings_are_named_and_impossible_ones_refused():
    x, y = made()
    result = regression_limits(x, y, against="reference")
    assert [result.at(w).extrapolated for w in (x.min(), x.max(), x.max() + 1)] == [False, False, True]
    with pytest.raises(InputError) as caught:
        result.at(-1000)
    sd = result.sd_intercept.value - 1000 * result.sd_slope.value
    assert sd < 0
    assert str(caught.value) == (f"the fitted standard deviation is {sd:.3g} at -1000: no limits there; ask within "
                                 f"{x.min():g} to {x.max():g}, or use spread='constant'")
    for bad in (math.nan, math.inf, "200"):
        with pytest.raises(InputError) as caught:
            result.at(bad)
        assert str(caught.value) == f"`level_w` must be a finite number; got {bad!r}"


@pytest.mark.parametrize(("options", "text"), [
    ({"against": "device"}, "`against` must be one of 'mean', 'reference'; got 'device'"),
    ({"bias": "curve"}, "`bias` must be one of 'line', 'constant'; got 'curve'"),
    ({"spread": True}, "`spread` must be one of 'line', 'constant'; got True"),
])
def test_options_of_regression_limits(options, text):
    with pytest.raises(InputError) as caught:
        regression_limits(*made(), **options)
    assert str(caught.value) == text


@given(READINGS, st.integers(-3200, 3200).map(lambda k: k / 16), st.sampled_from([2.0**-20, 8.0, 1e-150, 1e150]))
def test_shift_scale_and_order_of_regression_limits(rows, shift, factor):
    x, y = pairs(rows)
    assume(np.ptp(x) > 20)
    options = {"against": "reference", "spread": "constant"}
    at = float(x.mean())
    before = regression_limits(x, y, **options).at(at)
    shifted = regression_limits(x, y + shift, **options).at(at)
    scaled = regression_limits(x * factor, y * factor, **options).at(at * factor)
    turned = regression_limits(x[::-1], y[::-1], **options).at(at)
    for name in ("bias", "lower", "upper"):
        one = np.array(ends(getattr(before, name)))
        assert ends(getattr(shifted, name)) == pytest.approx(one + shift, rel=1e-8, abs=1e-7)
        assert np.array(ends(getattr(scaled, name))) / factor == pytest.approx(one, rel=1e-8, abs=1e-8)
        assert ends(getattr(turned, name)) == pytest.approx(one, rel=1e-8, abs=1e-8)


# By quantiles

@each("n", [3, 10, 60, 145, 146, 400])
@each("share", [0.025, 0.1, 0.5, 0.9])
@each("tail", [0.005, 0.025, 0.05])
def test_ranks_are_those_of_the_binomial(n, share, tail, oracle):
    """The largest rank whose order statistic lies above the quantile with no more than the tail's probability."""
    binom = oracle("scipy.stats").binom
    expected = max((rank for rank in range(1, n + 1) if binom.cdf(rank - 1, n, share) <= tail), default=0)
    low = ordered(np.arange(1.0, n + 1), None).low(share, float(n), tail)
    assert low == (expected or -np.inf)
    high = ordered(np.arange(1.0, n + 1), None).high(1 - share, float(n), tail)
    assert high == (n + 1 - expected if expected else np.inf)


def test_less_effective_pairs_give_wider_ranks():
    values = ordered(np.arange(1.0, 1001), None)
    ranks = [values.low(0.1, effective, 0.025) for effective in (1000.0, 500.0, 100.0, 40.0, 30.0)]
    assert ranks == sorted(ranks, reverse=True)
    assert ranks[-1] == -np.inf < 0 < ranks[-2]


def test_sessions_count_alike_among_order_statistics(rng):
    # A session given five times over in its own pairs changes nothing.
    d, label = rng.normal(size=40), np.repeat([0, 1, 2, 3], 10)
    more = np.r_[d, np.tile(d[:10], 4)], np.r_[label, np.zeros(40, int)]
    once, often = ordered(d, label), ordered(*more)
    for share in (0.1, 0.5, 0.9):
        assert often.first(share) == once.first(share)
        assert often.low(share, 30.0, 0.05) == once.low(share, 30.0, 0.05)
        assert often.high(share, 30.0, 0.05) == once.high(share, 30.0, 0.05)


@pytest.mark.filterwarnings("ignore:neighbouring errors are alike")
def test_quantile_limits_hold_for_any_distribution():
    """4,000 samples of 200 skewed errors: never below the level, and not far above."""
    rng = np.random.default_rng(6)
    d = np.sort(rng.exponential(size=(4000, 200)), axis=1)
    item = quantile_limits(np.zeros(200), d[0]).upper
    low, high = (int(np.flatnonzero(d[0] == end)[0]) for end in (item.low, item.high))
    truth = -math.log(0.025)
    share = ((d[:, low] <= truth) & (truth <= d[:, high])).mean()
    assert 0.95 - 3 * math.sqrt(0.95 * 0.05 / 4000) < share < 0.99


def test_quantile_limits_are_numpys_quantiles():
    x, y = made()
    d = y - x
    result = quantile_limits(x, y, coverage=0.8)
    assert [result.lower.value, result.median.value, result.upper.value] == pytest.approx(
        np.quantile(d, [0.1, 0.5, 0.9], method="median_unbiased"), rel=1e-13)
    assert result.lower.low in d
    assert ends(quantile_limits(x, y, scale="log").median) == pytest.approx(
        np.exp(ends(quantile_limits(np.zeros(40), np.log(y / x)).median)), rel=1e-12)


@given(READINGS)
def test_exchange_turns_the_quantiles_about(rows):
    x, y = pairs(rows)
    one, other = quantile_limits(x, y, coverage=0.8), quantile_limits(y, x, coverage=0.8)
    for first, second in ((one.lower, other.upper), (one.median, other.median), (one.upper, other.lower)):
        assert ends(second) == pytest.approx([-v for v in reversed(ends(first))], rel=1e-12, abs=1e-12)


@pytest.mark.filterwarnings("ignore:neighbouring errors are alike")
def test_alike_neighbours_widen_the_quantiles():
    rng = np.random.default_rng(7)
    slow = np.repeat(rng.normal(size=100), 10)
    x = rng.uniform(100, 300, 1000)
    alone = quantile_limits(x, x + slow, coverage=0.8)
    for sampling, label in (("serial", None), ("sessions", np.repeat(np.arange(100), 10))):
        found = quantile_limits(x, x + slow, coverage=0.8, sampling=sampling, session=label)
        assert found.effective_n < 300
        assert found.upper.low <= alone.upper.low <= alone.upper.high <= found.upper.high


# From repeats

def repeats(seed=1, subjects=12, size=4, unequal=False):
    rng = np.random.default_rng(seed)
    sizes = rng.integers(1, 2 * size, subjects) if unequal else np.full(subjects, size)
    sizes[0] = max(2, sizes[0])
    subject = np.repeat(np.arange(subjects), sizes)
    x = rng.uniform(100, 300, subjects)[subject] + rng.normal(0, 3, subject.size)
    return x, x + 2 + rng.normal(0, 4, subjects)[subject] + rng.normal(0, 2, subject.size), subject


@pytest.mark.filterwarnings("ignore:`reference` and `device` rise and fall together")
@pytest.mark.parametrize("true_value", ["constant", "varying"])
def test_mixed_equals_moments_for_equal_numbers(true_value):
    one, other = (repeated_limits(*repeats(), true_value=true_value, method=m) for m in ("moments", "mixed"))
    same = repeated_limits(*repeats(), true_value=true_value)
    for name in ("bias", "lower", "upper", "sd"):
        assert ends(getattr(same, name)) == pytest.approx(ends(getattr(one, name)), rel=1e-12)
    for name in ("bias", "lower", "upper", "sd"):
        assert getattr(other, name).value == pytest.approx(getattr(one, name).value, rel=1e-4)
    assert ends(other.bias) == pytest.approx(ends(one.bias), rel=1e-4)


def restricted_likelihood(d, subject, between, within):
    """Log likelihood of error contrasts, by whole matrices."""
    n = d.size
    v = within * np.eye(n) + between * (subject[:, None] == subject[None, :])
    inverse, ones = np.linalg.inv(v), np.ones(n)
    information = ones @ inverse @ ones
    residual = d - (ones @ inverse @ d) / information
    return -0.5 * (np.linalg.slogdet(v)[1] + math.log(information) + residual @ inverse @ residual)


def test_mixed_components_are_those_of_statsmodels(oracle):
    models = oracle("statsmodels.regression.mixed_linear_model")
    x, y, subject = repeats(3, unequal=True)
    fit = models.MixedLM(y - x, np.ones(x.size), groups=subject).fit()
    result = repeated_limits(x, y, subject, method="mixed")
    assert result.sd_between == pytest.approx(math.sqrt(fit.cov_re[0, 0]), rel=1e-4)
    assert result.sd_within == pytest.approx(math.sqrt(fit.scale), rel=1e-4)


def test_mixed_variance_between_may_be_none(rng):
    subject = np.repeat(np.arange(6), [2, 3, 8, 4, 4, 5])
    d = rng.normal(size=26)
    d -= np.array([d[subject == s].mean() for s in range(6)])[subject]
    result = repeated_limits(np.zeros(26), d, subject, method="mixed")
    assert result.sd_between == 0
    assert result.sd_within == pytest.approx(math.sqrt(d @ d / 25))


def test_mixed_components_maximise_the_restricted_likelihood():
    x, y, subject = repeats(3, unequal=True)
    result = repeated_limits(x, y, subject, true_value="varying", method="mixed")
    best = result.sd_between**2, result.sd_within**2
    top = restricted_likelihood(y - x, subject, *best)
    for step in (0.97, 1.03):
        assert restricted_likelihood(y - x, subject, best[0] * step, best[1]) < top
        assert restricted_likelihood(y - x, subject, best[0], best[1] * step) < top


@pytest.mark.filterwarnings("ignore:`reference` and `device` rise and fall together")
def test_constant_by_loops():
    """Section 5.3 of 1999, word by word."""
    x, y, subject = repeats(4, unequal=True)
    groups = [np.flatnonzero(subject == s) for s in range(12)]
    differences = [y[g].mean() - x[g].mean() for g in groups]
    within = [sum(((v[g] - v[g].mean()) ** 2).sum() for g in groups) / (x.size - 12) for v in (x, y)]
    variance = np.var(differences, ddof=1) + (1 - np.mean([1 / g.size for g in groups])) * sum(within)
    result = repeated_limits(x, y, subject, true_value="constant")
    assert result.bias.value == pytest.approx(np.mean(differences), rel=1e-12)
    assert result.sd.value == pytest.approx(math.sqrt(variance), rel=1e-12)
    assert result.upper.value == pytest.approx(np.mean(differences) + Z * math.sqrt(variance), rel=1e-12)
    assert [result.within_reference, result.within_device] == pytest.approx(np.sqrt(within), rel=1e-12)


def test_varying_by_loops():
    """One-way analysis of 2007, with its divisor."""
    x, y, subject = repeats(4, unequal=True)
    d, n = y - x, x.size
    groups = [d[subject == s] for s in range(12)]
    between = sum(g.size * (g.mean() - d.mean()) ** 2 for g in groups) / 11
    within = sum(((g - g.mean()) ** 2).sum() for g in groups) / (n - 12)
    divisor = (n**2 - sum(g.size**2 for g in groups)) / (11 * n)
    result = repeated_limits(x, y, subject, true_value="varying", method="moments")
    assert result.sd.value == pytest.approx(math.sqrt((between - within) / divisor + within), rel=1e-12)
    assert result.bias.value == pytest.approx(d.mean(), rel=1e-12)
    alike = repeated_limits(x, y, subject)
    means = [g.mean() for g in groups]
    assert alike.bias.value == pytest.approx(np.mean(means), rel=1e-12)
    assert alike.sd.value == pytest.approx(math.sqrt(
        np.var(means, ddof=1) + (1 - np.mean([1 / g.size for g in groups])) * within), rel=1e-12)


@pytest.mark.filterwarnings("ignore:the errors about the mean of their group are not normal")  # 1 of 400 by chance
def test_subjects_of_unequal_numbers_are_covered():
    """5 subjects of 4 pairs and one of 120: the published weights miss the bias in a quarter of the runs and more."""
    rng = np.random.default_rng(11)
    subject = np.repeat(np.arange(6), [4] * 5 + [120])
    hits = dict.fromkeys(("unweighted", "moments"), 0)
    for _ in range(400):
        x = rng.uniform(100, 300, subject.size)
        y = x + rng.normal(0, 4, 6)[subject] + rng.normal(0, 3, subject.size)
        for method in hits:
            item = repeated_limits(x, y, subject, method=method).bias
            hits[method] += item.low <= 0 <= item.high
    assert hits["unweighted"] / 400 == pytest.approx(0.95, abs=3 * 0.011)
    assert hits["moments"] / 400 < 0.75


def test_pairs_at_different_powers_are_no_constant_true_value(rng):
    subject = np.repeat(np.arange(6), 20)
    x = rng.uniform(100, 300, 120)
    y = x + rng.normal(0, 4, 120)
    with pytest.warns(AssumptionWarning) as caught:
        wide = repeated_limits(x, y, subject, true_value="constant")
    assert "rise and fall together within subjects (r = 1.00)" in str(caught[0].message)
    assert caught[0].filename == __file__
    plain = repeated_limits(x, y, subject)
    assert plain.upper.value < 12 < 100 < wide.upper.value
    noise = rng.normal(200, 3, 120)
    repeated_limits(noise, 200 + rng.normal(0, 3, 120), subject, true_value="constant")  # no warning: it is an error


@pytest.mark.parametrize(("r", "warned"), [(0.28, False), (0.32, True)])
def test_how_much_together_is_doubted(r, warned):
    """At 100 within-subject degrees of freedom p = 0.001 lies at r = 0.305."""
    rng, subject = np.random.default_rng(2), np.repeat(np.arange(5), 21)
    u, v = (w - np.array([w[subject == s].mean() for s in range(5)])[subject] for w in rng.normal(size=(2, 105)))
    v -= u * (u @ v) / (u @ u)
    y = r * u / math.sqrt(u @ u) + math.sqrt(1 - r * r) * v / math.sqrt(v @ v)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        repeated_limits(200 + u, 200 + y, subject, true_value="constant")
    assert bool(caught) == warned


def test_the_interval_of_a_limit_joins_bias_and_sd():
    result = repeated_limits(*repeats())
    bias, sd, upper = result.bias, result.sd, result.upper
    assert upper.high - upper.value == pytest.approx(math.hypot(bias.high - bias.value, Z * (sd.high - sd.value)))
    assert upper.value - upper.low == pytest.approx(math.hypot(bias.value - bias.low, Z * (sd.value - sd.low)))


@pytest.mark.filterwarnings("ignore:`reference` and `device` rise and fall together")
@pytest.mark.parametrize("method", ["unweighted", "moments", "mixed"])
@pytest.mark.parametrize("true_value", ["constant", "varying"])
def test_order_shift_scale_labels_and_exchange_of_repeats(method, true_value):
    x, y, subject = repeats(5, unequal=True)
    options = {"method": method, "true_value": true_value}
    one = ends(repeated_limits(x, y, subject, **options).upper)
    order = np.random.default_rng(1).permutation(x.size)
    same = {"rel": 1e-9} if method != "mixed" else {"rel": 1e-4}
    assert ends(repeated_limits(x[order], y[order], subject[order], **options).upper) == pytest.approx(one, **same)
    assert ends(repeated_limits(x, y + 50, subject, **options).upper) == pytest.approx(np.array(one) + 50, **same)
    assert ends(repeated_limits(x * 1e150, y * 1e150, subject, **options).upper) == pytest.approx(
        np.array(one) * 1e150, **same)
    assert ends(repeated_limits(y, x, [f"s{k}" for k in subject], **options).lower) == pytest.approx(
        [-v for v in reversed(one)], **same)


def test_ratio_limits_of_repeats_are_those_of_logarithms():
    x, y, subject = repeats()
    one = repeated_limits(x, y, subject, scale="log")
    other = repeated_limits(np.log(x), np.log(y), subject)
    assert ends(one.upper) == pytest.approx(np.exp(ends(other.upper)), rel=1e-9)


def test_equal_differences_have_limits_equal_to_the_bias():
    for method in ("moments", "mixed"):
        for true_value in ("constant", "varying"):
            x = np.array([1, 1, 2, 2]) * math.pi  # on no step that they could be rounded to
            result = repeated_limits(x, x + 2, [1, 1, 2, 2], true_value=true_value, method=method)
            assert ends(result.upper) == pytest.approx([2, 2, 2], abs=1e-12)


@pytest.mark.parametrize(("subject", "error", "text"), [
    ([1] * 6, SampleSizeError, "`subject` must name at least 2 subjects; got 1: use limits_of_agreement with "
                               "sampling='serial' and speak of this one only"),
    (range(6), SampleSizeError, "no `subject` has 2 pairs, so that nothing is repeated; use limits_of_agreement"),
    ([1, 2], InputError, "`subject` must have one label for each pair; got shape (2,) for 6 pairs"),
    ([1, 1, 2, 2, 3, None], InputError, "`subject` must have a label for each pair; got None or NaN"),
])
def test_subjects_that_cannot_be_used(subject, error, text):
    with pytest.raises(error) as caught:
        repeated_limits(range(1, 7), range(2, 8), subject)
    assert str(caught.value) == text


def test_readings_that_cannot_be_used_for_repeats():
    x, y, subject = (list(v) for v in repeats())
    for bad, text in ((math.nan, "`device` holds 1 NaN, first at index 2; remove them or pass nan_policy='omit'"),
                      (math.inf, "`device` holds 1 infinite value(s), first at index 2; remove them")):
        with pytest.raises(InputError) as caught:
            repeated_limits(x, [*y[:2], bad, *y[3:]], subject)
        assert str(caught.value) == text
    holed = repeated_limits(x, [*y[:2], math.nan, *y[3:]], subject, nan_policy="omit")
    kept = repeated_limits(x[:2] + x[3:], y[:2] + y[3:], subject[:2] + subject[3:])
    assert holed.to_dict() == kept.to_dict()
    with pytest.raises(SampleSizeError) as caught:
        repeated_limits(x[:2], y[:2], subject[:2])
    assert str(caught.value) == "at least 3 pairs are needed; got 2"


@pytest.mark.parametrize(("options", "text"), [
    ({"true_value": "fixed"}, "`true_value` must be one of 'constant', 'varying'; got 'fixed'"),
    ({"method": "reml"}, "`method` must be one of 'unweighted', 'moments', 'mixed'; got 'reml'"),
    ({"scale": "percent"}, "`scale` must be one of 'difference', 'log'; got 'percent'"),
])
def test_options_of_repeated_limits(options, text):
    with pytest.raises(InputError) as caught:
        repeated_limits(*repeats(), **options)
    assert str(caught.value) == text
