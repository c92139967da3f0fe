"""Difference in response, on both sides of each threshold: inputs are literal, so that a moved one is seen."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from agree import Estimate
from agree.estimators.response import choice, matching, transfer
from agree.estimators.response.choice import Choice, choose
from agree.estimators.response.kernels import Kernel, kernel
from agree.estimators.response.matched_columns import matched
from agree.estimators.response.matching import Filter, find_filter, of_lag


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


@pytest.mark.parametrize(("gain", "kind", "size", "named"), [
    pytest.param(20.5, "running mean", 5.0, True, id="EVIDENCE"),
    pytest.param(19.5, "running mean", 5.0, False, id="EVIDENCE"),
    pytest.param(90.0, "running mean", 1.55, True, id="LEAST"),
    pytest.param(90.0, "running mean", 1.45, False, id="LEAST"),
    pytest.param(90.0, "first order", 0.31, True, id="LEAST"),
    pytest.param(90.0, "first order", 0.29, False, id="LEAST")])
def test_a_filter_that_is_named(gain, kind, size, named, monkeypatch):
    """50 frequencies: a misfit of 100 is that of chance. Only the device can be smoother, by one kind of filter."""
    monkeypatch.setattr(transfer, "cross", lambda x, y: SimpleNamespace(
        side="device" if x is RIDE else "reference", lag=0))
    monkeypatch.setattr(transfer, "seen", lambda pair: SimpleNamespace(side=pair.side, frequency=np.zeros(50)))
    monkeypatch.setattr(transfer, "best", lambda data, other: SimpleNamespace(
        size=size, misfit=100.0 if (data.side, other) == ("device", kind) else 100.0 + gain))
    monkeypatch.setattr(choice, "_estimates", lambda *_: (seconds(size), seconds(0.0)))
    monkeypatch.setattr(choice, "between_seconds", lambda *_: np.zeros((3, 1)))
    assert choose(RIDE, RIDE + 1, 0.95, alike=False).kind == (kind if named else "none")


RIDE = np.tile([180.0, 220.0, 200.0, 240.0], 100)


@pytest.mark.parametrize(("made", "looked"), [
    pytest.param({"known": 300}, True, id="LEAST_SECONDS"), pytest.param({"known": 299}, False, id="LEAST_SECONDS"),
    pytest.param({"correlation": 0.201}, True, id="TOGETHER"),
    pytest.param({"correlation": 0.199}, False, id="TOGETHER"),
    pytest.param({"lag": -12}, True, id="FARTHEST_S"), pytest.param({"lag": 13}, False, id="FARTHEST_S")])
def test_a_filter_that_is_looked_for(made, looked, monkeypatch):
    """Of 400 changes a correlation of 0.2 is 4 over their root."""
    monkeypatch.setattr(transfer, "cross", lambda x, y: SimpleNamespace(**{
        "known": 400, "correlation": 0.9, "lag": 0, "x": np.ones(1), "y": np.ones(1)} | made))
    monkeypatch.setattr(matching, "choose", lambda *_, alike: Choice("none", "", None, seconds(0.0), (), 1.0))
    assert (find_filter(RIDE, RIDE).choice is not None) == looked


@pytest.mark.parametrize(("other", "like"), [
    pytest.param(0.4095, True, id="ALIKE"), pytest.param(0.4105, False, id="ALIKE")])
def test_filters_that_are_alike(other, like):
    one, two = (Filter(Kernel(0, np.array([first, 1 - first])), "device", None) for first in (0.4, other))
    assert one.like(two) == like


@pytest.mark.parametrize(("first", "last"), [pytest.param(0.81, 0, id="SHOWN"), pytest.param(0.79, 1, id="SHOWN")])
def test_reach_of_a_filter(first, last):
    assert Filter(Kernel(0, np.array([first, 0.19, 0.81 - first])), "device", None).reach == (0, last)


@pytest.mark.parametrize(("width", "weights"), [
    pytest.param(3.095, 3, id="PURE_LAG_S"), pytest.param(3.105, 4, id="PURE_LAG_S")])
def test_a_mean_over_whole_seconds(width, weights):
    assert kernel("running mean", seconds(width), seconds(1.0)).weights.size == weights
