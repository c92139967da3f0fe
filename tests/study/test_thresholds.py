"""Thresholds of a study, each tried just inside and just outside; its name stands beside it."""

import numpy as np
import pytest
from scipy import special

from agree.study.by_time import Span
from agree.study.statistics.many_units import many_units


# STUDY_OVERLAP_SHARE
@pytest.mark.parametrize(("start", "shares"), [(499.0, True), (501.0, False)])
def test_recordings_of_one_effort_share_half_of_the_shorter(start, shares):
    one, two = Span(clock="utc", start=0.0, end=1000.0), Span(clock="utc", start=start, end=start + 1001.0)
    assert (one.shares(two), two.shares(one)) == (shares, shares)


def units(count, last=None, **more):
    """Units whose errors are the quantiles of a normal distribution, but for the last one."""
    error = special.ndtri((np.arange(count) + 0.5) / count)
    if last is not None:
        error[-1] = last
    return many_units(error, np.full(count, 0.01), limit=3.0, **more)


# STUDY_SHAPE_UNITS, STUDY_ASSUMED_UNITS
@pytest.mark.parametrize(("count", "assume", "known"), [
    (499, "nothing", False), (500, "nothing", True), (19, "normal", False), (20, "normal", True)])
def test_units_from_which_a_share_is_stated(count, assume, known):
    assert (units(count, assume=assume).share_within is not None) == known


# STUDY_SHAPE_LEVEL: p of Shapiro and Wilk's test is 0.052 and 0.048
@pytest.mark.parametrize(("last", "known"), [(4.105, True), (4.132, False)])
def test_units_that_look_normal(last, known):
    assert (units(20, last, assume="normal").share_within is not None) == known


# STUDY_BY_ORDER_UNITS
@pytest.mark.parametrize(("count", "known"), [(58, False), (59, True)])
def test_units_from_which_a_limit_holds_by_order(count, known):
    assert (units(count).tolerance is not None) == known
