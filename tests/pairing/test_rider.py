"""The rider's own changes: which seconds are a step, and when one of two recordings is averaged."""

import numpy as np
import pytest

from agree.core.thresholds import AFTER_S, EDGE_SD, LEAST_EVEN, SURE_SE, SURER
from agree.pairing.same_ride.rider import BESIDE_S, QUARTER_SD, Own, more_surely, steps

SLOPE = 0.1
AT = 150


def climbing(height):
    """A line, of which all means of 5 s change alike, and a step."""
    return 200 + SLOPE * np.arange(300) + height * (np.arange(300) >= AT)


@pytest.mark.parametrize(("more", "told"), [(0.01, True), (-0.01, False)])
def test_limit_of_a_step(more, told):
    """EDGE_SD: what is usual is told by the quarter of the smallest changes, those of the line."""
    usual = BESIDE_S * SLOPE
    height = EDGE_SD * usual / QUARTER_SD - usual
    found = steps(climbing(height + more))
    assert found[AT - 3:AT + 3].all() == told
    assert not found[20:AT - 20].any()


def test_seconds_after_a_step_belong_to_it():
    bare, whole = (np.flatnonzero(found[20:-20]) for found in (steps(climbing(50), 0), steps(climbing(50))))
    assert whole.min() == bare.min()
    assert whole.max() == bare.max() + AFTER_S


def own(share, ratio=1.0, se=0.05):
    return Own(1000, share, se, 0.5, 0.02, 0.3, 0.05, 0.03, ratio)


@pytest.mark.parametrize(("found", "averaged"), [
    (own(1 + SURER + 0.01), True), (own(1 + SURER - 0.01), False),
    (own(2.0, LEAST_EVEN + 0.01), True), (own(2.0, LEAST_EVEN - 0.01), False),
    (own(1 + SURER + SURE_SE * 0.05 + 0.01, se=0.1), True), (own(1 + SURER + SURE_SE * 0.05 - 0.01, se=0.1), False)])
def test_limits_of_averaging_one_of_the_two(found, averaged):
    assert more_surely(found, own(1.0)) == averaged
