"""Causes fitted to window means, on both sides of each threshold: inputs are literal, so that a moved one is seen."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from agree.diagnosis import sessions, window_findings
from agree.diagnosis.finding import Compared
from agree.diagnosis.slow_faults import SlowFault
from agree.diagnosis.windows import causes, long_windows
from agree.diagnosis.windows import columns as candidates
from agree.diagnosis.windows.columns import Columns, columns
from agree.diagnosis.windows.gains import gains
from agree.diagnosis.windows.in_time.best_step import best_step
from agree.diagnosis.windows.least_squares import solve
from agree.diagnosis.windows.loss import loss
from agree.diagnosis.windows.order import in_order
from tests.diagnosis.frames import fitted, framed, sized

HALVES = np.repeat([0.0, 1.0], 20)
WAVES = [np.cos(np.pi * k * (np.arange(40) + 0.5) / 40) for k in range(1, 6)]
WIDE = 200 + 50 * WAVES[1]


def fit_of(data, monkeypatch):
    monkeypatch.setattr(causes, "frame", lambda table: data)
    return causes.fit(None)


@pytest.mark.parametrize(("windows", "told"), [
    pytest.param(20, True, id="LEAST_CAUSE_WINDOWS"), pytest.param(19, False, id="LEAST_CAUSE_WINDOWS")])
def test_windows_enough(windows, told, monkeypatch):
    assert (fit_of(framed(np.linspace(100, 300, windows)), monkeypatch) is not None) == told


@pytest.mark.parametrize(("percent", "t", "named"), [
    pytest.param(0.31, 100.0, True, id="WORTHWHILE_PERCENT"), pytest.param(0.29, 100.0, False, id="WORTHWHILE_PERCENT"),
    pytest.param(1.0, 2.6, True, id="NAMED_STRENGTH"), pytest.param(1.0, 2.55, False, id="NAMED_STRENGTH")])
def test_a_cause_that_is_named(percent, t, named, monkeypatch):
    """At constant power; a normal 2.576 standard errors off has the strength 0.99."""
    monkeypatch.setattr(long_windows, "regress", lambda rows, error, floor: [
        sized(value, t) for value in solve(rows, error, floor).beta])
    found = fit_of(framed(np.full(40, 200.0), 2 * percent), monkeypatch)
    assert found.causes() == ({"scale"} if named else set())


@pytest.mark.parametrize(("knots", "more", "tried"), [
    pytest.param((), {"power": 100 + 51 * HALVES}, {"scale", "offset", "drift"}, id="POWER_RANGE"),
    pytest.param((), {"power": 100 + 49 * HALVES}, {"scale", "drift"}, id="POWER_RANGE"),
    pytest.param((), {"turning": 8 + 0.81 * HALVES},
                 {"scale", "offset", "torque_offset", "cadence_gain", "drift"}, id="CADENCE_RANGE"),
    pytest.param((), {"turning": 8 + 0.79 * HALVES}, {"scale", "offset", "drift"}, id="CADENCE_RANGE"),
    pytest.param((), {"warmth": 20 + 2.01 * HALVES}, {"scale", "offset", "drift", "temperature_drift"},
                 id="LEAST_WARMTH"),
    pytest.param((), {"warmth": 20 + 1.99 * HALVES}, {"scale", "offset", "drift"}, id="LEAST_WARMTH")])
def test_causes_that_are_tried(knots, more, tried):
    data = framed(**{"power": WIDE, **more}, error=WAVES[4], knots=knots)
    assert set(columns(data, gains(data)).causes) == tried


@pytest.mark.parametrize(("t", "tried"), [
    pytest.param(3.31, True, id="BEND_STRENGTH"), pytest.param(3.27, False, id="BEND_STRENGTH")])
def test_a_bend_that_is_tried(t, tried, monkeypatch):
    """A normal 3.291 standard errors off has the strength 0.999."""
    monkeypatch.setattr(candidates, "regress", lambda *_: [sized(1.0, t)])
    data = framed(WIDE, WAVES[4], knots=(200.0,))
    assert ("bend" in columns(data, gains(data)).causes) == tried


def ordered(error):
    """Sets of up to five causes that are waves of size 1, beside a wave that is none of them, of size 1."""
    rows = np.sqrt(2) * np.array(WAVES)
    rest = np.sqrt(2) * np.cos(np.pi * 9 * (np.arange(40) + 0.5) / 40)
    made = Columns(rows, rows, ("scale", "offset", "torque_offset", "drift", "bend"), ("W",) * 5,
                   rest + np.array(error) @ rows, 0.0, 0.0)
    return [one.chosen for one in in_order(made, 100.0)]


@pytest.mark.parametrize(("second", "first"), [
    pytest.param(0.100, (0, 1), id="CAUSE_COST"), pytest.param(0.090, (0,), id="CAUSE_COST")])
def test_what_a_cause_must_be_worth(second, first):
    """Of 100 windows 2 ln(100) = 9.2 for each cause: the mean square left must fall by 9.65 % of what it becomes."""
    assert ordered([3.0, second**0.5, 0.0, 0.0, 0.0])[0] == first


def test_most_causes():
    """MOST_CAUSES."""
    found = ordered([3.0, 3.0, 3.0, 3.0, 3.0])
    assert max(len(chosen) for chosen in found) == 4
    assert len(found[0]) == 4


@pytest.mark.parametrize(("apart", "rivals"), [
    pytest.param(0.89, ("drift",), id="APART_STRENGTH"), pytest.param(0.91, (), id="APART_STRENGTH")])
def test_a_cause_that_excludes_another(apart, rivals):
    other = Compared(cause="drift", left=1.1, apart=apart, too=0.0)
    made = fitted(framed(WIDE), ("temperature_drift", sized(0.5, 5), other))
    assert window_findings.parts(made, None)[0].rivals == rivals


@pytest.mark.parametrize(("apart", "rivals"), [
    pytest.param(0.975, ("torque_offset",), id="ZERO_APART_STRENGTH"),
    pytest.param(0.985, (), id="ZERO_APART_STRENGTH")])
def test_a_zero_in_watts_that_excludes_one_in_torque(apart, rivals):
    other = Compared(cause="torque_offset", left=1.1, apart=apart, too=0.0)
    made = fitted(framed(WIDE, turning=8 + 0.81 * HALVES), ("offset", sized(5.0, 5), other))
    assert window_findings.parts(made, None)[0].rivals == rivals


@pytest.mark.parametrize(("too", "perhaps"), [
    pytest.param(0.91, "scale", id="HINT_STRENGTH"), pytest.param(0.89, "", id="HINT_STRENGTH")])
def test_a_cause_that_is_perhaps_there_too(too, perhaps):
    other = Compared(cause="scale", left=1.1, apart=0.99, too=too)
    made = fitted(framed(WIDE), ("offset", sized(3.0, 5), other))
    assert window_findings.parts(made, None)[0].perhaps == perhaps


@pytest.mark.parametrize(("cause", "more", "rivals"), [
    pytest.param("scale", {"power": 100 + 49 * HALVES}, ("offset",), id="POWER_RANGE"),
    pytest.param("scale", {"power": 100 + 51 * HALVES}, (), id="POWER_RANGE"),
    pytest.param("offset", {"turning": 8 + 0.79 * HALVES}, ("torque_offset",), id="CADENCE_RANGE"),
    pytest.param("offset", {"turning": 8 + 0.81 * HALVES}, (), id="CADENCE_RANGE")])
def test_causes_that_look_alike(cause, more, rivals):
    made = fitted(framed(**{"power": WIDE, **more}), (cause, sized(0.02, 5)))
    assert window_findings.parts(made, SimpleNamespace(session_sd_percent=0.0))[0].rivals == rivals


@pytest.mark.parametrize(("t", "said"), [
    pytest.param(2.6, 1, id="NAMED_STRENGTH"), pytest.param(2.55, 0, id="NAMED_STRENGTH")])
def test_an_error_without_a_cause(t, said):
    """The mean is off for certain, but no cause is."""
    found = SimpleNamespace(kind="cannot tell", scale=replace(sized(0.02, t), value=1.02))
    assert len(window_findings.unclear(found, None)) == said


@pytest.mark.parametrize(("watts", "said"), [
    pytest.param(0.61, 1, id="WORTHWHILE_PERCENT"), pytest.param(0.59, 0, id="WORTHWHILE_PERCENT")])
def test_a_step_that_is_worth_naming(watts, said):
    """At 200 W."""
    data = framed(np.full(40, 200.0))._replace(
        slow=((SlowFault("step", sized(watts, 5), "W", {}, False),),), courses=(np.ones((1, 40)),))
    assert len(window_findings.slow(fitted(data))) == said


# WARM_MEAN_PERCENT
@pytest.mark.parametrize(("watts", "said"), [(4.1, 1), (3.9, 0)])
def test_a_warm_up_that_moves_the_mean(watts, said):
    """At 200 W, for 1 of 20 windows: 4 W are 0.1 % of the mean, and 0.45 % RMS."""
    course = np.zeros((1, 40))
    course[0, :2] = 1
    warm = SlowFault("warm_up", sized(watts, 5), "W", {"settled_s": 60.0}, False)
    data = framed(np.full(40, 200.0))._replace(slow=((warm,),), courses=(course,))
    assert len(window_findings.slow(fitted(data))) == said


@pytest.mark.parametrize(("apart", "t", "said"), [
    pytest.param(0.44, 30.0, 1, id="WORTHWHILE_PERCENT"), pytest.param(0.41, 30.0, 0, id="WORTHWHILE_PERCENT"),
    pytest.param(2.0, 2.61, 1, id="NAMED_STRENGTH"), pytest.param(2.0, 2.54, 0, id="NAMED_STRENGTH")])
def test_sessions_that_differ(apart, t, said, monkeypatch):
    """Two means so many per cent apart have an SD of that over the root of 2; it is so many of its standard errors."""
    error = apart / 2**0.5 / t
    means = [replace(sized(1.0, 1.0), value=value, standard_error=error) for value in (0.0, apart)]
    monkeypatch.setattr(sessions, "session_means", lambda fit: list(enumerate(means)))
    assert len(sessions.sessions_differ(fitted(framed(WIDE)))) == said


@pytest.mark.parametrize(("slope", "offset", "said"), [
    pytest.param(-0.01314, -2.5, 1, id="ROUNDING_SHARE, LOSS_LINES"),
    pytest.param(-0.01316, -2.5, 0, id="ROUNDING_SHARE, LOSS_LINES"),
    pytest.param(-0.00987, -2.5, 1, id="LOSS_LINES"), pytest.param(-0.00983, -2.5, 0, id="LOSS_LINES"),
    pytest.param(-0.012, -2.38, 1, id="LOSS_LINES"), pytest.param(-0.012, -2.36, 0, id="LOSS_LINES"),
    pytest.param(-0.012, -3.52, 1, id="LOSS_LINES"), pytest.param(-0.012, -3.54, 0, id="LOSS_LINES")])
def test_a_loss_of_a_clean_chain(slope, offset, said):
    """From 0.010 to 0.013 of power, and from 2.4 to 3.5 W.

    Exact errors of 40 windows at 200 W: 0.02 W in each leave a slope open by 0.000146 (95 %, 8 degrees) and an offset
    by 0.03 W. So a slope of -0.01314 reaches -0.013.
    """
    power = 200 + 50 * np.sqrt(2) * WAVES[1]
    made = fitted(framed(power, slope * power + offset), ("scale", sized(slope, 50)), ("offset", sized(offset, 50)))
    assert len(loss(made)) == said


def test_a_loss_is_at_most_as_likely_as_a_scale_with_an_offset():
    """LOSS_STRENGTH, below which it stays with HINT_LAST."""
    made = fitted(framed(WIDE, -0.012 * WIDE - 2.5), ("scale", sized(-0.012, 50)), ("offset", sized(-2.5, 50)))
    assert loss(made)[0].strength == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(("high", "said"), [
    pytest.param(151.0, 1, id="POWER_RANGE"), pytest.param(149.0, 0, id="POWER_RANGE")])
def test_a_loss_needs_a_range_of_power(high, said):
    power = np.where(HALVES > 0, high, 100.0)
    made = fitted(framed(power, -0.012 * power - 2.5), ("scale", sized(-0.012, 50)), ("offset", sized(-2.5, 50)))
    assert len(loss(made)) == said


@pytest.mark.parametrize(("windows", "found"), [
    pytest.param(20, True, id="STEP_WINDOWS"), pytest.param(19, False, id="STEP_WINDOWS")])
def test_windows_enough_for_a_step(windows, found):
    data = framed(WIDE[:windows], WAVES[4][:windows])
    assert (best_step(data, gains(data), np.zeros((0, windows)), data.error) is not None) == found
