"""Difference in response, on both sides of each threshold: inputs are literal, so that a moved one is seen."""

import math

import numpy as np
import pytest

from agree import Estimate
from agree.estimators.response.choice import Choice
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter, matched, of_lag


def seconds(value, error=math.nan):
    half = 2.3 * error if math.isfinite(error) else 0.0
    return Estimate(value=value, low=value - half, high=value + half, level=0.95, method="", standard_error=error, df=8)


@pytest.mark.parametrize(("misfit", "fits"), [
    pytest.param(1.79, True, id="RESPONSE_MISFIT"), pytest.param(1.81, False, id="RESPONSE_MISFIT")])
def test_a_response_that_fits(misfit, fits):
    chosen = Choice("running mean", "device", seconds(3.0, 0.1), seconds(0.0), (), misfit)
    made = matched(Filter(Kernel(0, np.full(3, 1 / 3)), "device", chosen), np.full(9, 200.0), np.full(9, 198.0))
    assert (chosen.fits, made.fits) == (fits, fits)


@pytest.mark.parametrize(("delay", "error", "whole"), [
    pytest.param(2.095, math.nan, True, id="PURE_LAG_S"), pytest.param(2.105, math.nan, False, id="PURE_LAG_S"),
    pytest.param(1.905, 0.01, True, id="PURE_LAG_S"), pytest.param(1.895, 0.01, False, id="PURE_LAG_S"),
    pytest.param(2.2, 0.101, True, id="two standard errors"),
    pytest.param(2.2, 0.099, False, id="two standard errors")])
def test_a_lag_of_whole_seconds(delay, error, whole):
    assert (of_lag(Choice("none", "", None, seconds(delay, error), (), 1.0)).weights.size == 1) == whole
