"""Tolerance limits: oracles, the defining integral, content held in simulation, dependent pairs."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, special

from agree import InputError, tolerance_limits
from agree.estimators.limits.tolerance import exact_confidence, half_width, one_sided_approximation, tolerance_factor
from tests.each import each

FACTORS = [(n, p, c) for n in (2, 3, 10, 100, 3600) for p in (0.1, 0.9, 0.95, 0.999) for c in (0.05, 0.5, 0.95, 0.99)]


def made(seed=1, n=40):
    rng = np.random.default_rng(seed)
    x = rng.uniform(100, 400, n)
    return x, x * 1.01 + rng.normal(0, 5, n)


@each(("n", "content", "level"), FACTORS)
def test_the_exact_factor_satisfies_its_integral(n, content, level, oracle):
    """Adaptive quadrature of chi-square and noncentral chi-square from another library."""
    stats = oracle("scipy.stats")
    k = tolerance_factor(n, content, level)
    assert exact_confidence(n, content)(k) == pytest.approx(level, abs=1e-10)

    def inside(z):
        square = stats.ncx2.ppf(content, 1, z * z / n) if z else stats.chi2.ppf(content, 1)
        return 2 * stats.norm.pdf(z) * stats.chi2.sf((n - 1) * square / k**2, n - 1)

    if n < 3600:  # its quantile is slow and coarse for tiny noncentralities
        found, _ = integrate.quad(inside, 0, 8.5, epsabs=1e-9, limit=200)
        assert found == pytest.approx(level, abs=1e-7)


@each(("n", "content", "level"), FACTORS)
def test_the_one_sided_factor_is_scipys(n, content, level, oracle):
    expected = oracle("scipy.stats").nct.ppf(level, n - 1, special.ndtri(content) * math.sqrt(n)) / math.sqrt(n)
    assert tolerance_factor(n, content, level, 1) == pytest.approx(expected, rel=1e-7, abs=1e-9)


@given(st.floats(0.001, 0.999), st.floats(0, 8))
def test_half_width_solves_its_equation(content, offset):
    r = float(half_width(content, np.array([offset]))[0])
    assert special.ndtr(r - offset) - special.ndtr(-r - offset) == pytest.approx(content, abs=1e-12)


@given(st.integers(5, 3000), st.floats(0.5, 0.999), st.floats(0.5, 0.99))
def test_approximations_come_near_the_exact_factor(n, content, level):
    exact = tolerance_factor(n, content, level)
    for method in ("howe", "wald-wolfowitz"):
        assert tolerance_factor(n, content, level, 2, method) == pytest.approx(exact, rel=0.08)


def test_the_factor_grows_with_confidence_and_content_and_falls_with_n():
    assert tolerance_factor(20, 0.95, 0.99) > tolerance_factor(20, 0.95, 0.95) > tolerance_factor(20, 0.9, 0.95)
    assert tolerance_factor(20, 0.95, 0.95) > tolerance_factor(21, 0.95, 0.95) > special.ndtri(0.975)


@pytest.mark.parametrize("sides", [1, 2])
def test_limits_hold_their_content_as_often_as_promised(sides):
    """20,000 samples of 8 by the function's own factor."""
    rng, n = np.random.default_rng(5), 8
    d = rng.normal(size=(20_000, n))
    mean, sd = d.mean(axis=1), d.std(axis=1, ddof=1)
    k = tolerance_limits(np.arange(n), np.arange(n) + d[0], content=0.9, level=0.8, sides=sides).factor
    held = special.ndtr(mean + k * sd) - (special.ndtr(mean - k * sd) if sides == 2 else 0)
    assert (held >= 0.9).mean() == pytest.approx(0.8, abs=3 * math.sqrt(0.8 * 0.2 / 20_000))


@pytest.mark.parametrize("scale", ["difference", "percent", "log"])
def test_limits_are_bias_and_factor_times_sd(scale):
    x, y = made()
    d = {"difference": y - x, "percent": 100 * (y - x) / x, "log": np.log(y / x)}[scale]
    result = tolerance_limits(x, y, scale=scale)
    ends = d.mean() + result.factor * d.std(ddof=1) * np.array([-1, 1])
    assert [result.lower, result.upper] == pytest.approx(np.exp(ends) if scale == "log" else ends, rel=1e-12)
    assert result.factor == tolerance_factor(40, 0.95, 0.95)
    assert result.effective_n == 40


def test_sessions_of_one_pair_are_independent_pairs():
    """The general way, without its within-session part, is the exact one but for its lattice of points."""
    x, y = made()
    found = tolerance_limits(x, y, sampling="sessions", session=np.arange(40))
    assert found.factor == pytest.approx(tolerance_factor(40, 0.95, 0.95), rel=0.005)
    assert found.effective_n == pytest.approx(40)


@pytest.mark.filterwarnings("ignore:neighbouring errors are alike")
@pytest.mark.parametrize("sides", [1, 2])
def test_alike_neighbours_widen_the_limits(sides):
    rng = np.random.default_rng(7)
    slow = np.repeat(rng.normal(size=20), 30)
    x = rng.uniform(100, 300, 600)
    alone = tolerance_limits(x, x + slow, sides=sides)
    for sampling, label in (("serial", None), ("sessions", np.repeat(np.arange(20), 30))):
        found = tolerance_limits(x, x + slow, sides=sides, sampling=sampling, session=label)
        assert found.factor > 1.1 * alone.factor
        assert found.effective_n < 60


def test_independent_errors_called_serial_have_nearly_the_exact_factor():
    x, y = made(3, 2000)
    assert tolerance_limits(x, y, sampling="serial").factor == pytest.approx(tolerance_limits(x, y).factor, rel=0.05)


@pytest.mark.parametrize(("options", "text"), [
    ({"sides": 3}, "`sides` must be 1 or 2; got 3"),
    ({"sides": True}, "`sides` must be 1 or 2; got True"),
    ({"method": "approximate"}, "`method` must be one of 'exact', 'howe', 'wald-wolfowitz'; got 'approximate'"),
    ({"method": "howe", "sides": 1}, "`method` must be one of 'exact', 'approximate'; got 'howe'"),
    ({"method": "howe", "sampling": "serial"},
     "method='howe' is for independent pairs; leave `method` out with sampling='serial'"),
    ({"content": 95}, "`content` must be a fraction between 0 and 1, such as 0.95; got 95; did you mean 0.95?"),
])
def test_options_that_cannot_be_used(options, text):
    with pytest.raises(InputError) as caught:
        tolerance_limits(*made(), **options)
    assert str(caught.value) == text


def test_an_approximation_without_a_root_is_refused():
    with pytest.raises(InputError) as caught:
        one_sided_approximation(2, 0.95, 0.99)
    assert str(caught.value) == "method='approximate' has no factor for 2 pairs at this level; use method='exact'"


@pytest.mark.parametrize("power", [1e-300, 1e300])
@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
def test_extreme_readings(power, sampling):
    rng = np.random.default_rng(1)
    x = rng.integers(100, 300, 30) / 1000
    y = x + rng.integers(-5, 6, 30) / 1000
    options = {"sampling": sampling, "session": np.arange(30) // 5}
    one, other = tolerance_limits(x, y, **options), tolerance_limits(x * power, y * power, **options)
    assert other.upper / power == pytest.approx(one.upper, rel=1e-9)
