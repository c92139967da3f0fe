"""Difference in response, on both sides of each threshold: inputs are literal, so that a moved one is seen."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from agree import Estimate
from agree.core.thresholds import TOGETHER
from agree.estimators.response import choice, matching, transfer
from agree.estimators.response.choice import Choice, choose
from agree.estimators.response.kernels import Kernel, kernel
from agree.estimators.response.linear import smeared, two_stages
from agree.estimators.response.linear.two_stages import Stages
from agree.estimators.response.matched_columns import matched
from agree.estimators.response.matching import Filter, find_filter, of_lag
from agree.estimators.response.transfer import Fitted


def seconds(value, error=math.nan):
    half = 2.3 * error if math.isfinite(error) else 0.0
    return Estimate(value=value, low=value - half, high=value + half, level=0.95, method="", standard_error=error, df=8)


@pytest.mark.parametrize(("misfit", "fits"), [
    pytest.param(1.94, True, id="RESPONSE_MISFIT"), pytest.param(1.96, False, id="RESPONSE_MISFIT")])
def test_a_response_that_fits(misfit, fits):
    chosen = Choice("running mean", "device", seconds(3.0, 0.1), seconds(0.0), (), misfit)
    made = matched(Filter(Kernel(0, np.full(3, 1 / 3)), "device", chosen), np.full(9, 200.0), np.full(9, 198.0))
    assert (chosen.fits, made.fits) == (fits, fits)


@pytest.mark.parametrize(("delay", "error", "whole"), [
    pytest.param(2.095, math.nan, True, id="PURE_LAG_S"), pytest.param(2.105, math.nan, False, id="PURE_LAG_S"),
    pytest.param(1.905, 0.01, True, id="PURE_LAG_S"), pytest.param(1.895, 0.01, False, id="PURE_LAG_S"),
    pytest.param(2.3, 0.101, True, id="PURE_LAG_SE"), pytest.param(2.3, 0.099, False, id="PURE_LAG_SE")])
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
    monkeypatch.setattr(transfer, "best", lambda data, other: Fitted(
        other, size, 0.0, 100.0 if (data.side, other) == ("device", kind) else 100.0 + gain, 1.0, 0.5))
    monkeypatch.setattr(choice, "delayed", lambda data, plain: plain)
    monkeypatch.setattr(choice, "judged", lambda pair, data, found: 1.0)
    monkeypatch.setattr(choice, "_sizes", lambda *_: (seconds(size), None, seconds(0.0)))
    monkeypatch.setattr(choice, "_delay", lambda *_: seconds(0.0))
    monkeypatch.setattr(choice, "between_seconds", lambda data, one: [one])
    monkeypatch.setattr(choice, "two_stages", lambda *_: Stages(None, ()))
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


FIFTY = transfer.Seen(np.linspace(0.01, 0.49, 50), np.ones(50) + 0j, *np.ones((3, 50)))
ONE = Fitted("first order", 2.5, 0.0, 140.0, 1.0, 0.5)


@pytest.mark.parametrize(("gain", "size", "second", "kind", "clear", "tried"), [
    pytest.param(30.5, 2.0, 1.0, "two lags", True, True, id="STAGE_EVIDENCE"),
    pytest.param(29.5, 2.0, 1.0, "two lags", False, True, id="STAGE_EVIDENCE"),
    pytest.param(60.0, 2.0, 0.41, "two lags", True, True, id="STAGE_LEAST"),
    pytest.param(60.0, 2.0, 0.39, "two lags", False, False, id="STAGE_LEAST"),
    pytest.param(60.0, 2.25, 1.0, "mean and lag", True, True, id="STAGE_LEAST"),
    pytest.param(60.0, 2.15, 1.0, "mean and lag", False, False, id="STAGE_LEAST")])
def test_two_stages_that_are_named(gain, size, second, kind, clear, tried, monkeypatch):
    """50 frequencies: a misfit of 100 is that of chance, which the single filter between seconds leaves."""
    monkeypatch.setattr(two_stages, "nearest", lambda data, start, *_: start._replace(
        size=size, second=second, misfit=100.0 - gain if start.kind == kind else 100.0))
    found = two_stages.two_stages(FIFTY, ONE, 100.0)
    assert (found.clear is not None, bool(found.tried)) == (clear, tried)


@pytest.mark.parametrize(("gain", "first"), [
    pytest.param(20.5, 0.3, id="BETWEEN_EVIDENCE"), pytest.param(19.5, 0.0, id="BETWEEN_EVIDENCE")])
def test_readings_between_seconds_that_are_taken(gain, first, monkeypatch):
    """50 frequencies: only a reading 0.3 s after a second leaves less, and what chance does."""
    there = np.abs(0.7 + 0.3 * np.exp(-0.98j * np.pi)) ** 2
    monkeypatch.setattr(smeared, "refitted", lambda data, start, near: start._replace(
        misfit=100.0 if np.allclose(data.weight[-1], there) else 100.0 + gain))
    ways = smeared.between_seconds(FIFTY, ONE._replace(misfit=100.0 + gain))
    assert ways[0].part == pytest.approx(first)


@pytest.mark.parametrize(("first", "last"), [pytest.param(0.81, 0, id="SHOWN"), pytest.param(0.79, 1, id="SHOWN")])
def test_reach_of_a_filter(first, last):
    assert Filter(Kernel(0, np.array([first, 0.19, 0.81 - first])), "device", None).reach == (0, last)


@pytest.mark.parametrize(("width", "weights"), [
    pytest.param(3.095, 3, id="PURE_LAG_S"), pytest.param(3.105, 4, id="PURE_LAG_S")])
def test_a_mean_over_whole_seconds(width, weights):
    assert kernel("running mean", seconds(width), seconds(1.0)).weights.size == weights


# TOGETHER_OVER_S
@pytest.mark.parametrize(("span", "together"), [(15, True), (1, False)])
def test_changes_that_noise_hides_from_second_to_second(span, together, monkeypatch):
    """Power that changes every two minutes, and its mean over a minute with noise of 4 W, which changes by 1 W/s."""
    monkeypatch.setattr(transfer, "TOGETHER_OVER_S", span)
    rng = np.random.default_rng(5)
    watts = np.repeat(rng.uniform(150, 300, 30), 120) + rng.normal(0, 4, 3600)
    made = transfer.cross(watts[59:], np.convolve(watts, np.full(60, 1 / 60), "valid") + rng.normal(0, 4, 3541))
    assert (made.correlation * np.sqrt(made.known) >= TOGETHER) == together
