"""The interval engine: textbook cases, long-run variance, invariances, sessions, drift."""

import math
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.special import betainc

from agree import DriftWarning, Estimate, SampleSizeError, limits_of_agreement
from agree.core.interval import engine
from agree.core.interval.engine import (
    COSINES,
    DRIFT_SHARE,
    cosine_transform,
    estimate,
    spread,
    t_quantile,
    warn_of_drift,
)
from agree.core.interval.slow_errors import slow_variance
from tests.each import each

SERIES = arrays(float, st.integers(2, 40), elements=st.integers(-50, 50).map(float))
LABELS = np.repeat([1, 2, 3, 4], 10)


def test_independent_is_the_textbook_t_interval(rng, oracle):
    stats = oracle("scipy.stats")
    phi = rng.normal(3, 2, 31)
    item = estimate(phi.mean(), phi, level=0.9, sampling="independent")
    expected = stats.t.interval(0.9, 30, phi.mean(), stats.sem(phi))
    assert (item.low, item.high) == pytest.approx(expected, rel=1e-12)
    assert (item.df, item.method, item.level) == (30, "t, independent pairs", 0.9)


@each("df", [1, 2, 8, 30, 1e6])
@each("level", [0.5, 0.9, 0.95, 0.999])
def test_t_quantile_equals_scipy(df, level, oracle):
    stats = oracle("scipy.stats")
    assert t_quantile(level, df) == pytest.approx(stats.t.ppf((1 + level) / 2, df), rel=1e-10)
    assert t_quantile(level, math.inf) == pytest.approx(stats.norm.ppf((1 + level) / 2), rel=1e-14)


@pytest.mark.parametrize("n", [2, 3, 9, 10, 50, 501])
def test_cosines_are_orthonormal_and_blind_to_the_mean(n):
    count = min(COSINES, n - 1)
    basis = np.array([cosine_transform(row, count) for row in np.eye(n)])
    assert basis.T @ basis == pytest.approx(np.eye(count), abs=1e-12)
    assert basis.sum(axis=0) == pytest.approx(0, abs=1e-12)


def test_cosines_are_scipys_cosine_transform(rng, oracle):
    phi = rng.normal(size=77)
    expected = oracle("scipy.fft").dct(phi, type=2, norm="ortho")[1:COSINES + 1]
    assert cosine_transform(phi) == pytest.approx(expected, abs=1e-12)


@given(arrays(float, st.integers(2, 9), elements=st.integers(-50, 50).map(float)))
def test_up_to_nine_pairs_serial_is_independent(phi):
    serial, independent = spread(phi, "serial"), spread(phi, "independent")
    assert serial.df == independent.df == phi.size - 1
    # A cosine coefficient of nothing is 0 but for rounding of the series' own size.
    assert serial.standard_error == pytest.approx(independent.standard_error, rel=1e-10, abs=1e-13)


def test_serial_has_eight_degrees_of_freedom_beyond():
    phi = np.random.default_rng(0).normal(size=10)
    assert spread(phi, "serial").df == 8
    assert spread(phi, "serial").standard_error != pytest.approx(spread(phi, "independent").standard_error)


def autoregressive(rng, runs, n, rho):
    """Rows of a stationary AR(1) series with unit variance."""
    shocks = rng.normal(size=(runs, n)) * math.sqrt(1 - rho * rho)
    series = np.empty((runs, n))
    series[:, 0] = rng.normal(size=runs)
    for t in range(1, n):
        series[:, t] = rho * series[:, t - 1] + shocks[:, t]
    return series


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_serial_variance_is_the_variance_of_a_correlated_mean(rho):
    """Mean estimated variance against the closed form for AR(1); at rho 0.9 eight cosines are biased by 1 to 3 %."""
    n, runs = 2000, 600
    exact = ((1 + rho) / (1 - rho) - 2 * rho * (1 - rho**n) / (n * (1 - rho) ** 2)) / n
    series = autoregressive(np.random.default_rng(3), runs, n, rho)
    found = np.mean([spread(row, "serial").standard_error ** 2 for row in series])
    monte_carlo = 3 * math.sqrt(2 / COSINES / runs)
    assert found / exact == pytest.approx(1, abs=monte_carlo + (0.03 if rho == 0.9 else 0))
    naive = np.mean([spread(row, "independent").standard_error ** 2 for row in series])
    assert naive / exact == pytest.approx((1 - rho) / (1 + rho), rel=0.05)


@pytest.mark.parametrize("rho", [0.0, 0.9])
def test_serial_interval_covers(rho):
    series = autoregressive(np.random.default_rng(4), 1500, 1500, rho)
    items = [estimate(row.mean(), row, level=0.95, sampling="serial") for row in series]
    covered = np.mean([item.low <= 0 <= item.high for item in items])
    assert covered == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / 1500))


@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
def test_scale_and_shift(sampling, rng):
    phi = rng.normal(size=40)
    base = spread(phi, sampling, LABELS)
    assert spread(-7 * phi + 300, sampling, LABELS).standard_error == pytest.approx(7 * base.standard_error, rel=1e-11)
    assert spread(-7 * phi + 300, sampling, LABELS)[1:3] == base[1:3]
    shift = spread(-7 * phi + 300, sampling, LABELS).shift
    assert shift == pytest.approx(300 - 7 * base.shift if sampling == "sessions" else 0, rel=1e-12)


@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
@pytest.mark.parametrize("power", [1e-300, 1e-160, 1e160, 1e300])
def test_extreme_scales(sampling, power, rng):
    phi = rng.normal(size=40)
    expected = spread(phi, sampling, LABELS).standard_error
    assert spread(phi * power, sampling, LABELS).standard_error / power == pytest.approx(expected, rel=1e-12)


def test_equal_sessions_give_the_t_interval_of_their_means(rng, oracle):
    stats = oracle("scipy.stats")
    phi = rng.normal(size=40) + np.repeat(rng.normal(0, 3, 4), 10)
    means = phi.reshape(4, 10).mean(axis=1)
    item = estimate(0.0, phi, level=0.95, sampling="sessions", session=LABELS)
    assert item.value == pytest.approx(means.mean(), rel=1e-12)
    assert (item.low, item.high) == pytest.approx(stats.t.interval(0.95, 3, means.mean(), stats.sem(means)), rel=1e-11)
    assert item.df == 3


def test_sessions_need_no_order_and_take_any_label(rng):
    phi = rng.normal(size=40)
    names = np.array(["a", "b", "c", "d"])[LABELS - 1]
    shuffled = rng.permutation(40)
    expected = spread(phi, "sessions", LABELS)
    assert spread(phi, "sessions", names) == expected
    assert spread(phi, "sessions", LABELS.astype(object)) == expected
    assert spread(phi[shuffled], "sessions", LABELS[shuffled]).standard_error == pytest.approx(
        expected.standard_error, rel=1e-12)


def test_one_session_each_is_independent(rng):
    phi = rng.normal(size=25)
    alone, independent = spread(phi, "sessions", np.arange(25)), spread(phi, "independent")
    assert alone.standard_error == pytest.approx(independent.standard_error, rel=1e-12)
    assert alone.df == independent.df


def test_drift_is_named_on_a_ramp_and_rarely_on_noise():
    rng = np.random.default_rng(6)
    noise = rng.normal(size=(2000, 300))
    ramp = np.linspace(-2, 2, 300)
    assert all(spread(row + ramp, "serial").drift for row in noise[:50])
    # Under no drift the share of the slowest cosine is Beta(1/2, 7/2).
    expected = 1 - betainc(0.5, (COSINES - 1) / 2, DRIFT_SHARE)
    flagged = np.mean([spread(row, "serial").drift for row in noise])
    assert flagged == pytest.approx(expected, abs=3.5 * math.sqrt(expected / 2000))
    assert not any(spread(row + ramp, "independent").drift for row in noise[:5])


@pytest.mark.parametrize(("share", "named"), [(0.68, False), (0.72, True)])
def test_a_drift_is_named_from_its_share_of_the_variance(share, named):
    angle = np.pi * (np.arange(400) + 0.5) / 400
    phi = np.sqrt(share) * np.cos(angle) + np.sqrt((1 - share) / 2) * (np.cos(3 * angle) + np.cos(6 * angle))
    assert spread(phi, "serial").drift is named


def test_drift_warns_with_its_whole_text_at_the_callers_line(rng):
    x = rng.uniform(100, 300, 200)
    with pytest.warns(DriftWarning) as caught:
        limits_of_agreement(x, x + np.linspace(0, 9, 200) + rng.normal(0, 0.1, 200), sampling="serial")
    assert len(caught) == 1
    assert caught[0].filename == __file__
    assert str(caught[0].message) == (
        "the error drifts over the recording: its slowest component holds most of the variance, so the interval is "
        "likely too narrow; record further sessions or look for a warm-up or zero shift")


def test_no_drift_no_warning():
    item = Estimate(value=1, low=0, high=2, level=0.95, method="t")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warn_of_drift(item, item)


@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
def test_constant_influence_has_no_spread(sampling):
    for level in (0.0, 5.0):
        assert spread(np.full(40, level), sampling, LABELS).standard_error == 0


def test_too_few():
    for size in (0, 1):
        with pytest.raises(SampleSizeError) as caught:
            spread(np.ones(size), "independent")
        assert str(caught.value) == f"an interval needs at least 2 pairs; got {size}"
    with pytest.raises(SampleSizeError) as caught:
        spread(np.array([1.0, 2.0]), "sessions", np.array([1, 1]))
    assert str(caught.value) == "an interval between sessions needs at least 2; got 1"


@given(SERIES)
def test_the_interval_holds_its_estimate_and_grows_with_the_level(phi):
    narrow, wide = (estimate(phi.mean(), phi, level=level, sampling="serial") for level in (0.8, 0.95))
    assert wide.low <= narrow.low <= narrow.value <= narrow.high <= wide.high
    assert wide.high + wide.low == pytest.approx(2 * wide.value, abs=1e-9)


def test_scaled_estimate_keeps_its_kind():
    item = Estimate(value=2, low=1, high=4, level=0.9, method="t", standard_error=0.5, df=7, drift=True)
    other = item.scaled(100)
    assert (other.value, other.low, other.high, other.standard_error) == (200, 100, 400, 50)
    assert (other.level, other.method, other.df, other.drift) == (0.9, "t", 7, True)


@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
def test_inverted_test_turns_at_its_limits(rng, sampling):
    # Definition: at a limit v the t statistic of the mean of a + b v + c v^2 is exactly the quantile.
    summands = rng.normal(0, 1, (3, 200)) * [[1], [0.2], [0.1]] + [[-2], [1.5], [0.3]]
    session = np.repeat(np.arange(10), 20)
    mean = summands.mean(axis=1)
    value = max(np.roots(mean[::-1]).real)
    root, low, high = engine.invert_test(value, summands, level=0.9, sampling=sampling, session=session)
    assert root == pytest.approx(value, rel=1e-12)  # equal sessions
    assert low < value < high
    for limit in (low, high):
        series = summands[0] + summands[1] * limit + summands[2] * limit**2
        result = engine.spread(series, sampling, session)
        assert abs(series.mean()) == pytest.approx(engine.t_quantile(0.9, result.df) * result.standard_error,
                                                   rel=1e-8)


def test_inverted_test_is_fiellers_interval(rng):
    # Linear case: the ratio of two means, Fieller EC (1954) J R Stat Soc B 16:175 (citation from memory).
    x, y = rng.normal(10, 2, 30), rng.normal(12, 2, 30)
    value = y.mean() / x.mean()
    _, low, high = engine.invert_test(value, np.stack((y, -x, np.zeros(30))), level=0.95, sampling="independent")
    c, t = np.cov(x, y) / 30, engine.t_quantile(0.95, 29)
    a, b, k = x.mean()**2 - t**2 * c[0, 0], x.mean() * y.mean() - t**2 * c[0, 1], y.mean()**2 - t**2 * c[1, 1]
    root = np.sqrt(b * b - a * k)
    assert (low, high) == pytest.approx(((b - root) / a, (b + root) / a), rel=1e-9)


def test_inverted_test_without_bound(rng):
    x = rng.normal(0.1, 2, 30)
    y = 3 * x.mean() + rng.normal(0, 1, 30)
    _, low, high = engine.invert_test(float(y.mean() / x.mean()), np.stack((y, -x, np.zeros(30))), level=0.95,
                                      sampling="independent")
    assert np.isinf(low) or np.isinf(high)


def test_cautious_allows_for_slow_errors(rng):
    phi = rng.normal(0, 1, 500).cumsum()
    cautious = spread(phi, "serial", cautious=True)
    parts = cosine_transform(phi - phi.mean(), 24)
    assert cautious.standard_error == pytest.approx(math.sqrt(slow_variance(parts, COSINES) / 500), rel=1e-10)
    assert cautious.standard_error > 1.5 * spread(phi, "serial").standard_error
    assert cautious.df == COSINES
    assert estimate(0.0, phi, level=0.95, sampling="serial", cautious=True).method == (
        "t, 24 cosines, slow errors allowed for (serial)")
    independent = spread(phi, "independent", cautious=True)
    assert independent == spread(phi, "independent")


def test_cosines_of_many_pairs_in_blocks(oracle):
    phi = np.random.default_rng(2).normal(size=(2, 40_001))
    expected = oracle("scipy.fft").dct(phi, type=2, norm="ortho")[:, 1:25]
    assert cosine_transform(phi, 24) == pytest.approx(expected, abs=1e-10)
