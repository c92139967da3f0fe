"""Slow faults, on both sides of each threshold: what the fit would say is put in, literally."""

from dataclasses import replace

import numpy as np
import pytest

from agree.faults.slow import lasting_steps, search, warm_up
from agree.faults.slow.coefficient import Beside, Size
from agree.faults.slow.search import Found, Search, explains_all, told_apart, warm_up_alone
from agree.faults.slow.steady_ride import Ride, steady_ride


def riding(rested, seconds=2000, watts=200.0):
    """Pedalling with one place at which a step is tried, after which the error is 10 W larger."""
    t = np.arange(seconds)
    power = np.full(seconds, watts)
    return Ride(t, t.astype(float), 10.0 * (t >= 1000), power, np.sin(t), np.cos(t), None, np.array([1000]),
                np.array([1000]), np.array([rested]), lean=True)


@pytest.mark.parametrize(("rested", "size", "found"), [
    pytest.param(True, Size(10.2, 2.0), True, id="STEP_T"), pytest.param(True, Size(9.8, 2.0), False, id="STEP_T"),
    pytest.param(False, Size(12.2, 2.0), True, id="STEP_T_ELSEWHERE"),
    pytest.param(False, Size(11.8, 2.0), False, id="STEP_T_ELSEWHERE"),
    pytest.param(True, Size(-1.02, 0.1), True, id="STEP_LEAST_W"),
    pytest.param(True, Size(-0.98, 0.1), False, id="STEP_LEAST_W")])
def test_a_step_that_is_certain(rested, size, found, monkeypatch):
    monkeypatch.setattr(Beside, "coefficient", lambda *_: size)
    assert bool(lasting_steps.with_steps(riding(rested)).steps) == found


@pytest.mark.parametrize(("seconds", "waves"), [pytest.param(1800, 1, id="STEP_WAVE_S"),
                                                pytest.param(1801, 2, id="STEP_WAVE_S")])
def test_slow_waves_beside_a_step(seconds, waves):
    assert len(riding(True, seconds).waves()) == waves


# STEP_FREE_SHARE
@pytest.mark.parametrize(("share", "found"), [(0.103, True), (0.097, False)])
def test_a_step_that_goes_with_power(share, found, monkeypatch):
    """Power is 40 W more after it, with a W up and down by turns: of the step a^2/(a^2 + 20^2) is left."""
    monkeypatch.setattr(Beside, "coefficient", lambda *_: Size(-20.0, 1.0))
    ride = riding(False)
    swing = 20 * np.sqrt(share / (1 - share)) * np.where(ride.seconds % 2, 1, -1)
    power = 200 + 40 * (ride.seconds >= 1000) + swing
    assert bool(lasting_steps.with_steps(replace(ride, power=power)).steps) == found


@pytest.mark.parametrize(("left", "fewer"), [
    pytest.param(1.26, True, id="STEP_T cost"), pytest.param(1.31, False, id="STEP_T cost")])
def test_what_a_step_must_be_worth(left, fewer):
    """100 times 10 s: one more step is worth a quarter of the logarithm of what is left, 25 of 100."""
    step = Found(0, 0, "step", {})
    one, two = Search([step], [0], riding(True), left, 1000), Search([step] * 2, [0], riding(True), 1.0, 1000)
    assert (one.cost() < two.cost()) == fewer


@pytest.mark.parametrize(("steps", "t", "alone"), [
    pytest.param(2, 0.0, True, id="LEAN_STEPS"), pytest.param(3, 0.0, False, id="LEAN_STEPS"),
    pytest.param(1, 2.95, True, id="LEAN_T"), pytest.param(1, 3.05, False, id="LEAN_T")])
def test_steps_that_leave_no_other_slow_change(steps, t, alone, monkeypatch):
    monkeypatch.setattr(Beside, "coefficient", lambda *_: Size(t, 1.0))
    assert explains_all(replace(riding(True), steps=(500, 1000, 1500)[:steps])) == alone


@pytest.mark.parametrize(("t", "apart"), [
    pytest.param(2.77, True, id="STEP_APART_GAIN"), pytest.param(2.75, False, id="STEP_APART_GAIN")])
def test_a_step_that_no_drift_replaces(t, apart, monkeypatch):
    """Beside each other the step has t standard errors, the drift one: 7.67 less 1, and 7.56 less 1."""
    ride = replace(riding(True), steps=(1000,))
    monkeypatch.setattr(search, "coefficient", lambda row, *_: Size(
        t if np.array_equal(row, ride.step_row(1000)) else 1.0, 1.0))
    assert told_apart(ride) == apart


@pytest.mark.parametrize(("size", "found"), [
    pytest.param(Size(10.2, 2.0), True, id="WARM_T"), pytest.param(Size(-9.8, 2.0), False, id="WARM_T"),
    pytest.param(Size(2.04, 0.1), True, id="WARM_SHARE"), pytest.param(Size(1.96, 0.1), False, id="WARM_SHARE")])
def test_a_warm_up_that_is_certain(size, found, monkeypatch):
    monkeypatch.setattr(warm_up, "coefficient", lambda *_: size)
    ride = riding(True)
    assert (warm_up.with_warm_up(replace(ride, error=10 * np.exp(-ride.seconds / 200))).warm is not None) == found


@pytest.mark.parametrize(("t", "stays"), [
    pytest.param(1.94, True, id="WARM_APART_GAIN"), pytest.param(1.91, False, id="WARM_APART_GAIN")])
def test_a_warm_up_that_no_other_course_replaces(t, stays, monkeypatch):
    """Beside each other the warm-up has t standard errors, what may replace it one: 3.76 less 1, and 3.65 less 1."""
    ride = warm_up.with_warm_up(replace(riding(True), error=10 * np.exp(-riding(True).seconds / 200)))
    monkeypatch.setattr(search, "coefficient", lambda row, *_: Size(
        t if np.array_equal(row, ride.warm.shape) else 1.0, 1.0))
    assert (warm_up_alone(ride).warm is not None) == stays


@pytest.mark.parametrize(("seconds", "looked"), [
    pytest.param(600, True, id="SLOW_LEAST_S"), pytest.param(599, False, id="SLOW_LEAST_S")])
def test_pedalling_enough_for_a_slow_fault(seconds, looked):
    t = np.arange(float(seconds))
    power = 200 + 10 * np.sin(t)
    assert (steady_ride(power, power, t, power > 0, None) is not None) == looked


@pytest.mark.parametrize(("before", "rests"), [
    pytest.param(120, 1, id="STEP_LASTING_S"), pytest.param(119, 0, id="STEP_LASTING_S")])
def test_pedalling_enough_beside_a_step(before, rests):
    """4 s beside a rest do not count."""
    t = np.arange(1000.0)
    power = np.where((t >= before + 4) & (t < before + 34), 0.0, 200 + 10 * np.sin(t))
    ride = steady_ride(power, power, t, power > 0, None)
    assert int(ride.rested.sum()) == rests
    assert ride.tried.min() == 120


@pytest.mark.parametrize(("other", "places"), [
    pytest.param(0.963, 2, id="STEP_PLACE_GAIN"), pytest.param(0.960, 1, id="STEP_PLACE_GAIN")])
def test_places_that_fit_about_as_well(other, places):
    """Of a step of 10 standard errors: within 3.84 of 100."""
    assert int(lasting_steps.alike(riding(True), Size(10.0, 1.0), np.array([50.0, 50.0 * other])).sum()) == places


@pytest.mark.parametrize(("t", "error"), [
    pytest.param(12.8, 1.466, id="WARM_COURSE_GAIN"), pytest.param(13.4, 0.753, id="WARM_COURSE_GAIN")])
def test_courses_that_fit_about_as_well(t, error, monkeypatch):
    """A course of another size fits worse by 7.81 of 13.08 squared: below, their difference is part of the error."""
    monkeypatch.setattr(warm_up, "coefficient", lambda *_: Size(10.0, 10.0 / t))
    ride = riding(True)
    made = warm_up.with_warm_up(replace(ride, error=10 * np.exp(-ride.seconds / 200) + 0.001 * ride.seconds))
    assert made.warm_size.se == pytest.approx(error, abs=0.002)


@pytest.mark.parametrize(("known", "used"), [
    pytest.param(0.81, True, id="KNOWN_SHARE"), pytest.param(0.79, False, id="KNOWN_SHARE")])
def test_a_cadence_that_is_known(known, used):
    t = np.arange(1000.0)
    power = 200 + 10 * np.sin(t)
    ride = steady_ride(power, power, t, power > 0, np.where(t < 1000 * known, 80.0, np.nan))
    assert (ride.turning is not None) == used
