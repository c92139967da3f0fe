"""Every threshold of the estimators, just inside and just outside: the answer changes there and nowhere else."""

import warnings

import numpy as np
import pytest
from scipy import special
from scipy.optimize import brentq

from agree import (
    AssumptionWarning,
    bias_and_precision,
    deming,
    limits_of_agreement,
    look_at_errors,
    repeated_limits,
    york,
)
from agree.estimators.lines.deming import deming_line

NEAR = 0.002


def warned(run, *words):
    with warnings.catch_warnings(record=True) as found:
        warnings.simplefilter("always")
        run()
    return any(issubclass(item.category, AssumptionWarning) and all(word in str(item.message) for word in words)
               for item in found)


def apart(rng, n):
    """Two series of mean 0 and length 1, orthogonal to each other."""
    a, b = rng.normal(size=(2, n))
    a -= a.mean()
    b -= b.mean()
    a /= np.linalg.norm(a)
    b -= (a @ b) * a
    return a, b / np.linalg.norm(b)


# ALIKE_P
def test_alike_neighbours_from_p_of_one_in_a_thousand(rng):
    n = 100
    smooth = np.convolve(rng.normal(size=n + 9), np.ones(10), "valid")
    rough = rng.normal(size=n)
    smooth, rough = smooth - smooth.mean(), rough - rough.mean()

    def errors(share):
        return share * smooth / smooth.std() + (1 - share) * rough / rough.std()

    def excess(share):
        e = errors(share)
        e = e - e.mean()
        return (float(e[1:] @ e[:-1] / (e @ e)) * n + 1) / np.sqrt(n) + special.ndtri(0.001)

    share = brentq(excess, 0, 1)
    for step, expected in ((0.0001, True), (-0.0001, False)):
        assert warned(lambda: limits_of_agreement(np.zeros(n), errors(share + step)), "alike") == expected  # noqa: B023


# LEAST_ALIKE
@pytest.mark.parametrize(("count", "compared"), [(19, False), (20, True)])
def test_errors_from_which_neighbours_are_compared(count, compared):
    assert warned(lambda: limits_of_agreement(np.zeros(count), np.sin(np.arange(count) / 3)), "alike") == compared


# TOGETHER_P
def test_a_true_value_that_varies_from_p_of_one_in_a_thousand(rng):
    subject = np.repeat(np.arange(10), 4)
    one, other = rng.normal(size=(2, 40))
    one, other = (v - np.repeat(v.reshape(10, 4).mean(axis=1), 4) for v in (one, other))
    other -= (one @ other) / (one @ one) * one
    t = -special.stdtrit(29, 0.001)
    r = t / np.sqrt(29 + t * t)
    base = 200 + 20.0 * np.arange(10)[subject]
    for step, expected in ((NEAR, True), (-NEAR, False)):
        mixed = (r + step) * one / np.linalg.norm(one) + np.sqrt(1 - (r + step) ** 2) * other / np.linalg.norm(other)
        device = base + 30 * mixed
        assert warned(lambda: repeated_limits(base + one, device, subject, true_value="constant"),  # noqa: B023
                      "rise and fall together") == expected


# UNLIKELY_P
def test_stated_uncertainties_are_doubted_from_one_in_a_thousand(rng):
    x = np.linspace(100, 300, 12)
    y = x + rng.normal(0, 3, 12)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        one = york(x, y, u_reference=1.0, u_device=1.0).chi_square
    u = np.sqrt(one / special.chdtri(10, 0.001))
    for factor, expected in ((1 - NEAR, True), (1 + NEAR, False)):
        run = lambda: york(x, y, u_reference=u * factor, u_device=u * factor)  # noqa: B023, E731
        assert warned(run, "stated uncertainties") == expected


# LEAST_RELIABILITY
def test_error_outweighs_the_range_below_half(rng):
    x, y = rng.normal(200, 10, (2, 80)) + rng.normal(0, 8, 80)
    ratio = brentq(lambda v: deming_line(x, y, None, ratio=v)[1] - 0.5, 0.05, 20)
    below = {v: deming_line(x, y, None, ratio=v)[1] < 0.5 for v in (ratio * 0.99, ratio * 1.01)}
    assert sorted(below.values()) == [False, True]
    for v, expected in below.items():
        assert warned(lambda: deming(x, y, error_variance_ratio=v), "outweighs the range") == expected  # noqa: B023


def test_error_outweighs_the_range_of_repeats_below_half(rng):
    subject = np.repeat(np.arange(60), 3)
    level, noise = rng.normal(size=60)[subject], rng.normal(size=180)

    def run(spread):
        return bias_and_precision(200 + spread * level + noise, 200 + spread * level, subject)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        spread = brentq(lambda v: run(v).reliability - 0.5, 0.4, 3)
    for step, expected in ((-NEAR, True), (NEAR, False)):
        assert warned(lambda: run(spread + step), "outweighs the range") == expected  # noqa: B023


N = 3000


def look(errors, level):
    return {item.name: item for item in look_at_errors(level - errors / 2, level + errors / 2).looks}


def normal_errors(rng):
    return special.ndtri((rng.permutation(N) + 0.5) / N)


# TREND_PASSES, SPREAD_PASSES, SKEWNESS_PASSES, KURTOSIS_PASSES
MADE = {  # errors from a size, and the size from which they are no longer let pass
    "trend": (lambda size, z, u: z + size * u, 0.25),
    "spread": (lambda size, z, u: z * (1 + size * u), 0.4),
    "skewness": (lambda size, z, u: np.expm1(size * z), 0.5),
    "kurtosis": (lambda size, z, u: np.sinh(size * z), 4.0),
}


@pytest.mark.parametrize("name", MADE)
def test_a_look_finds_a_size_beyond_what_passes(name, rng):
    """With 3,000 pairs the interval is clear of the ideal: the value decides between present and not settled."""
    make, bound = MADE[name]
    z, u = normal_errors(rng), rng.uniform(-1, 1, N)
    level = 200 + 50 * u
    size = brentq(lambda v: look(make(v, z, u), level)[name].estimate.value - bound, 0.01, 0.8, xtol=1e-6)
    found = [look(make(size * factor, z, u), level)[name] for factor in (0.995, 1.005)]
    assert [item.finding for item in found] == ["not settled", "present"]
    assert found[0].estimate.value < bound < found[1].estimate.value


@pytest.mark.parametrize("name", MADE)
def test_a_look_lets_pass_an_interval_inside(name, rng):
    make, bound = MADE[name]
    z, u = normal_errors(rng), rng.uniform(-1, 1, N)
    level = 200 + 50 * u
    size = brentq(lambda v: look(make(v, z, u), level)[name].estimate.high - bound, 0.0101, 0.8, xtol=1e-6)
    assert [look(make(size * factor, z, u), level)[name].finding for factor in (0.995, 1.005)] == [
        "absent", "not settled"]


# SHARE_PASSES: of 2,000 errors 50 are expected beyond either limit; from 25 to 100 pass.
@pytest.mark.parametrize(("count", "finding"), [
    (24, "present"), (26, "not settled"), (99, "not settled"), (101, "present")])
def test_shares_beyond_a_limit_pass_from_half_to_twice_the_expected(count, finding, rng):
    errors = rng.permutation(np.r_[np.linspace(-0.5, 0.5, 2000 - count), np.full(count, 5.0)])
    level = rng.uniform(150, 250, 2000)
    look = look_at_errors(level - errors / 2, level + errors / 2, sampling="independent").looks[5]
    assert (look.name, look.estimate.value, look.finding) == ("share above", count / 2000, finding)


def test_the_lightest_tails_pass_with_their_interval():
    """Errors of two sizes have a kurtosis of 1 + skewness^2, and none has less than 1: neither has an interval."""
    level = np.random.default_rng(4).uniform(150, 250, 100)
    errors = np.where(np.random.default_rng(5).permutation(100) < 45, 1.0, -1.0)
    look = look_at_errors(level - errors / 2, level + errors / 2, sampling="independent").looks[3]
    assert (look.name, look.finding, look.estimate.low) == ("kurtosis", "absent", 1.0)
