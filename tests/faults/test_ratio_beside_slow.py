"""The ratio of a slow trace to a sharp one of which many seconds are faulty: it and the faults hang on each other."""

import numpy as np
import pytest

from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter
from agree.faults.behind_slow.candidates import maybe_faulty
from agree.faults.behind_slow.explain import explain
from agree.faults.behind_slow.joint import most_likely


def lag(tau, weights):
    return Kernel(0, np.exp(-np.arange(weights) / tau) / np.exp(-np.arange(weights) / tau).sum())


@pytest.fixture(scope="module")
def ride():
    rng = np.random.default_rng(2)
    return 200 + 30 * np.sin(np.arange(1500) / 40) + rng.normal(0, 6, 1500)


def shown(x, by, noise=4.0):
    return np.convolve(x, by.weights)[:x.size] + np.random.default_rng(3).normal(0, noise, x.size)


def test_a_fifth_of_all_seconds_at_a_half(ride):
    """The ratio began 12 % too high, and hardly moved by the sizes that faults have beside a wrong one: 1.9 % high."""
    by, x, rng, start = lag(45.0, 200), ride.copy(), np.random.default_rng(5), 60
    while start < 1380:
        stop = start + int(rng.integers(12, 37))
        x[start:stop] /= 2
        start = stop + int(rng.integers(30, 100))
    found = most_likely(x, shown(ride, by), by, maybe_faulty(x, x))
    assert found.ratio == pytest.approx(1.0, abs=0.004)


def test_errors_are_those_of_the_slow_trace(ride):
    """By errors as a share of a ratio that is free, the higher ratio, with fewer faults, left less."""
    by = lag(20.0, 100)
    y = shown(ride, by)
    one, two = (most_likely(ride, slow, by, []) for slow in (y, 2 * y))
    assert two.left - one.left == pytest.approx(2 * one.seconds * np.log(2))


def test_filters_are_compared_by_the_second(ride):
    """Beside a longer filter fewer seconds tell, and less is left of them together."""
    by = lag(20.0, 100)
    left = [explain(ride, shown(ride, by), Filter(one, "device", None), ("partial",)).left
            for one in (by, lag(180.0, 900))]
    assert left[0] < left[1]
