"""What seconds, and changes of the lag, cost where steps of a clock are sought."""

import math

import numpy as np
import pytest

from agree.core.thresholds import STEP_EDGE_S, STEP_PRICE, STEP_PRICE_AT_STOP
from agree.pairing.clocks.by_second.likeliest_course import likeliest, prices


@pytest.mark.parametrize(("price", "gain", "steps"), [
    pytest.param(STEP_PRICE, 11.9, 0, id="STEP_PRICE"), pytest.param(STEP_PRICE, 12.1, 1, id="STEP_PRICE"),
    pytest.param(STEP_PRICE_AT_STOP, 5.9, 0, id="STEP_PRICE_AT_STOP"),
    pytest.param(STEP_PRICE_AT_STOP, 6.1, 1, id="STEP_PRICE_AT_STOP")])
def test_what_a_change_of_lag_must_gain(price, gain, steps):
    """At its ends each lag is sure; at a stop a change costs half."""
    work = np.full(20, 0.0 if price == STEP_PRICE_AT_STOP else 200.0)
    made = prices(work, np.r_[work, 200.0], np.ones(21, bool), 2.0, 1.0)
    cost = np.zeros((20, 2))
    cost[:10, 0], cost[10:, 1] = 5.0, gain / 10
    assert len(likeliest(cost, np.zeros(20), np.zeros(21), made.price, made.price_lost)) - 1 == steps


def cost_of(sds):
    """What a second costs that is so many standard deviations off, and what passing over it does."""
    made = prices(np.array([200.0, 200.0]), np.array([200.0 + 2 * sds, 200.0]), np.ones(2, bool), 2.0, 1.0)
    return float(made.cost[0, 0]), float(made.skip[0])


@pytest.mark.parametrize(("sds", "less"), [pytest.param(2.95, True, id="STEP_WORST"),
                                           pytest.param(3.05, False, id="STEP_WORST")])
def test_what_a_second_costs_at_most(sds, less):
    assert (cost_of(sds)[0] < cost_of(10.0)[0]) == less


@pytest.mark.parametrize(("sds", "stays"), [pytest.param(2.70, True, id="STEP_PASSED"),
                                            pytest.param(2.74, False, id="STEP_PASSED")])
def test_what_a_second_of_work_costs_that_is_passed_over(sds, stays):
    cost, skip = cost_of(sds)
    assert (cost < skip) == stays


@pytest.mark.parametrize(("sds", "less"), [pytest.param(1.40, True, id="STEP_UNKNOWN"),
                                           pytest.param(1.43, False, id="STEP_UNKNOWN")])
def test_what_a_second_costs_that_one_lacks(sds, less):
    assert (cost_of(sds)[0] < cost_of(math.nan)[0]) == less


@pytest.mark.parametrize(("apart", "price"), [(STEP_EDGE_S, STEP_PRICE_AT_STOP), (STEP_EDGE_S + 1, STEP_PRICE)])
def test_beside_a_stop_a_change_costs_no_more_than_at_it(apart, price):
    """STEP_EDGE_S, 4."""
    assert STEP_EDGE_S == 4
    own = np.full(20, 200.0)
    own[10] = 0
    made = prices(own, np.full(20, 200.0), np.ones(20, bool), 2.0, 1.0)
    assert made.price[[10 - apart, 10 + apart]].tolist() == [price, price]
    assert set(made.price_lost.tolist()) == {STEP_PRICE}
