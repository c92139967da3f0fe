"""Errors that are equal, or differ by the arithmetic or by a step of rounding alone: none is a proof of no scatter."""

import numpy as np
import pytest

from agree import coverage_probability, repeated_limits


@pytest.mark.parametrize(("n", "error", "least"), [(3, 0.0, 0.2924), (10, 1.0, 0.6915)])
def test_equal_errors_are_counted_within_a_limit(n, error, least):
    """0.025^(1/n), exact: three equal errors were called 1.00 [1.00, 1.00]."""
    x = np.arange(1.0, n + 1)
    found = coverage_probability(x, x + error, limit=1.0).probability
    assert (found.value, found.high) == (1, 1)
    assert found.low == pytest.approx(least, abs=1e-4)
    assert found.method == "exact, binomial, equal errors counted"
    assert coverage_probability(x, x + 2, limit=1.0).probability.high == pytest.approx(1 - least, abs=1e-4)


@pytest.mark.parametrize("size", [1e-200, 1e-310, 1e200])
@pytest.mark.parametrize("sampling", ["independent", "serial"])
def test_shares_of_errors_of_any_size(size, sampling):
    """Without a warning of the arithmetic, which pytest would raise; and the same in any unit."""
    x = np.linspace(100, 300, 12)
    y = x + np.random.default_rng(1).normal(1, 3, 12)
    far = coverage_probability(x * size, y * size, limit=1.0, sampling=sampling).probability
    assert (far.low, far.value, far.high) == pytest.approx((float(size < 1),) * 3, abs=1e-100)
    if size > 1e-300:
        one, two = (coverage_probability(x * k, y * k, limit=4 * k, sampling=sampling).probability for k in (1, size))
        assert (two.low, two.value, two.high) == pytest.approx((one.low, one.value, one.high), rel=1e-9)


def test_limits_of_repeats_of_equal_errors_leave_what_rounding_leaves():
    subject = list("aabbcc")
    whole = np.array([100.0, 101, 200, 202, 300, 298])
    found = repeated_limits(whole, whole + 5, subject)
    assert (found.sd.value, found.sd.high, found.sd_within) == (0, 0, 0)
    half = 4.302653 / np.sqrt(36)  # t of 2 degrees of freedom times 1 W sqrt(2/12/6)
    for item in (found.bias, found.lower, found.upper):
        assert (item.value, item.low, item.high) == pytest.approx((5, 5 - half, 5 + half), rel=1e-6)
    broken = whole / 7
    found = repeated_limits(broken, broken + 0.1, subject)
    assert (found.sd.value, found.sd_between, found.upper.value - found.bias.value) == (0, 0, 0)
    assert repeated_limits(broken, broken + 0.1 + 1e-9 * np.arange(6), subject).sd.value > 1e-10
