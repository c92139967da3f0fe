"""Halves of more than a minute in a sharp trace beside a slow one, and jumps that a slow trace plainly refutes."""

import numpy as np
import pytest

from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter
from agree.faults.behind_slow.candidates import maybe_faulty
from agree.faults.behind_slow.explain import explain
from agree.faults.behind_slow.refuted import without_refuted

BY = Kernel(0, np.full(20, 0.05))


def partial_ones(x, y):
    return [one for one in without_refuted(maybe_faulty(x, x), x, y, BY) if one.kind == "partial"]


def test_a_half_of_more_than_a_minute_is_put_right():
    rng = np.random.default_rng(1)
    true = 200 + 40 * np.sin(np.arange(900) / 25) + rng.normal(0, 6, 900)
    x, y = true.copy(), np.convolve(true, BY.weights)[:900] + rng.normal(0, 4, 900)
    x[400:475] /= 2
    right = explain(x, y, Filter(BY, "device", None), ("partial",))
    assert [(one.run.start, one.run.stop) for one in right.faults] == [(400, 475)]
    assert abs(right.trace.sum() / true.sum() - 1) < 0.002


def with_a_half(shown):
    """20 s of a mean, and a half of 100 s of whose energy so much is shown."""
    x = np.full(1000, 200.0)
    x[500:600] = 100.0
    return x, np.convolve(x + 100.0 * shown * (x < 200), BY.weights)[:1000]


@pytest.mark.parametrize(("shown", "weighed"), [
    pytest.param(0.33, 1, id="MAYBE_REFUTED error"), pytest.param(0.30, 0, id="MAYBE_REFUTED error")])
def test_what_a_slow_trace_refutes(shown, weighed):
    """Of 0.8 of its energy a half, less a twentieth of all that is shown around it."""
    assert len(partial_ones(*with_a_half(shown))) == weighed


@pytest.mark.parametrize(("usual", "weighed"), [
    pytest.param(235, 1, id="MAYBE_REFUTED quantile"), pytest.param(205, 0, id="MAYBE_REFUTED quantile")])
def test_the_ratio_is_a_low_one(usual, weighed):
    """Some 60 s beside the half have the usual ratio too; of 981 known ones, 294 are enough."""
    x, y = with_a_half(1.0)
    y[np.r_[19:480, 640:1000][usual:]] *= 2
    assert len(partial_ones(x, y)) == weighed
