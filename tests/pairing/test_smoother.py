"""A refusal says where a device that averages may be its cause: two days of one course are not the only one."""

import numpy as np
import pytest

from agree.core.errors import MatchError
from agree.pairing import refusal
from agree.pairing.clocks import smoothness
from agree.pairing.same_ride.minutes import Likeness


def trace(seed=5):
    rng = np.random.default_rng(seed)
    return np.repeat(rng.uniform(150, 300, 50), 40) + np.convolve(rng.normal(0, 60, 2009), np.ones(10) / 10, "valid")


def test_the_trace_that_averages_is_told():
    power, rng = trace(), np.random.default_rng(1)
    slow = np.convolve(power, np.ones(30) / 30)[:2000] + rng.normal(0, 5, 2000)
    role, ratio = smoothness.smoother(power, slow)
    assert role == "device"
    assert ratio > 1.3
    assert smoothness.smoother(slow, power) == ("reference", ratio)
    assert smoothness.smoother(power, 0.95 * power + rng.normal(0, 5, 2000)) is None
    assert smoothness.smoother(power, np.full(2000, 200.0)) is None


@pytest.mark.parametrize(("quick", "told"), [
    pytest.param(1.26, ("device", 1.26), id="SMOOTHER_RATIO"), pytest.param(1.24, None, id="SMOOTHER_RATIO"),
    pytest.param(1 / 1.26, ("reference", 1.26), id="SMOOTHER_RATIO"),
    pytest.param(1 / 1.24, None, id="SMOOTHER_RATIO")])
def test_how_much_smoother(monkeypatch, quick, told):
    monkeypatch.setattr(smoothness, "_quickness", lambda trace: float(trace[0]))
    found = smoothness.smoother(np.array([quick]), np.array([1.0]))
    assert found == (None if told is None else (told[0], pytest.approx(told[1])))


def few(count, of=40):
    return Likeness(np.arange(of) * 60, np.arange(of) < count, np.ones(of))


@pytest.mark.parametrize("refuse", [
    lambda slower: refusal.accept([refusal.clock.Candidate(0, 0.2, 9.0)], 0.0, str, slower),
    lambda slower: refusal.refuse_likeness(few(2), 0, slower),
    lambda slower: refusal.refuse_other_rider(few(2), 1.0, lambda: (few(2), 0.5), slower)])
def test_a_refusal_names_a_slow_device_where_one_trace_is_smoother(refuse):
    with pytest.raises(MatchError, match="probably") as caught:
        refuse(refusal.nothing)
    assert "averag" not in str(caught.value)
    with pytest.raises(MatchError, match="the device averages over 20 s or more") as caught:
        refuse(lambda: ("device", 2.1))
    words = str(caught.value)
    assert "probably" not in words
    assert "2.1 times smaller than the other's: if it averages, record with its averaging set to none" in words
    assert "lag_s=... (--lag ...)" in words
