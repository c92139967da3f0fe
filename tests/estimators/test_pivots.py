"""Equally likely pairs of mean and SD over sessions whose readings scatter unequally."""

import math

import numpy as np
import pytest
from scipy import special

from agree.estimators.pivots import LEAST_PAIRS, LOG_VARIANCE, Spread, pivots, pivots_of_errors, spread_of_sessions


def test_limits_of_sessions_that_scatter_unequally_cover():
    """Six sessions, SDs lognormal: from squares alone (chi-square) 12 % of such limits missed, 6 to 9 % too low."""
    rng, runs = np.random.default_rng(3), 150
    session, truth = np.repeat(np.arange(6), 30), 1.96 * math.hypot(0.3, math.exp(0.25))
    missed = low = 0
    for _ in range(runs):
        error = 0.3 * rng.normal(size=6)[session] + rng.normal(size=180) * np.exp(rng.normal(0, 0.5, 6))[session]
        both = pivots_of_errors(error, session)
        bounds = np.quantile(both.means + 1.96 * both.sds, [0.025, 0.975])
        missed, low = missed + (not bounds[0] <= truth <= bounds[1]), low + (bounds[1] < truth)
    assert missed <= 0.05 * runs + 2 * math.sqrt(0.05 * runs)
    assert low <= 0.025 * runs + 2 * math.sqrt(0.025 * runs)


def spread(seen, relative=0.0, groups=5):
    return Spread(0.0, 0.0, groups, 0.0, groups - 1.0, 1.0, 10.0, (seen, relative, 1 / groups))


def test_sessions_that_scatter_alike_bound_their_variance_closely():
    """Of 150 readings each: within the 3 % that chance leaves, times what five sessions leave open."""
    low, high = np.quantile(pivots(spread(2 / 150)).sds, [0.025, 0.975])
    assert 0.9 < low < 1 < high < 1.15


@pytest.mark.parametrize(("seen", "most"), [(0.2, LOG_VARIANCE), (1.4, LOG_VARIANCE), (2.0, 2.0)])
def test_the_logarithms_vary_by_no_more_than_is_possible_or_seen(seen, most):
    """LOG_VARIANCE: at least so much is taken for possible, and what is seen where that is more."""
    sds = pivots(spread(seen, groups=2)).sds
    at_cap = float(special.chdtr(1, seen / most))  # share of the values; of these the logarithm is normal
    reach = float(special.ndtri(1 - 0.01 / at_cap)) * math.sqrt(most / 2)
    assert np.quantile(2 * np.log(sds), 0.99) == pytest.approx((most - seen) / 2 + reach, rel=0.04)


def test_a_session_that_scatters_most_keeps_its_weight():
    """The relative variance of the squares counts where it is more than the logarithms say."""
    narrow, wide = (np.subtract(*np.quantile(pivots(spread(0.1, r)).sds, [0.975, 0.025])) for r in (0.0, 0.5))
    assert wide > 1.5 * narrow


def test_short_sessions_have_no_logarithms():
    rng = np.random.default_rng(1)
    for pairs in (LEAST_PAIRS - 1, LEAST_PAIRS):
        session = np.r_[np.repeat(np.arange(3), 40), np.full(pairs, 3)]
        found = spread_of_sessions(rng.normal(size=session.size), session)
        assert (found.logs is None) == (pairs < LEAST_PAIRS)
    session = np.repeat(np.arange(3), 20)
    assert spread_of_sessions(np.where(session == 1, 2.0, rng.normal(size=60)), session).logs is None  # one is constant
