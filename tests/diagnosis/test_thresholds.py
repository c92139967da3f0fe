"""What is named beside the causes in window means, on both sides of each threshold: inputs are literal."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from agree import Pairs
from agree.core.data.matched import Matched
from agree.diagnosis import findings, response_findings
from agree.diagnosis.by_second import Delay, Scatter
from agree.diagnosis.finding import Finding
from agree.diagnosis.patterns import Conditions, conditions, patterns
from agree.diagnosis.response_findings import Answer, answers
from agree.diagnosis.telltale import TELLTALES, telltales
from agree.diagnosis.windows import one_side
from agree.diagnosis.windows.one_side import Signs
from agree.report.story.cause import causes
from agree.verdict.columns import table
from agree.verdict.rule import HOLDS
from tests.diagnosis.frames import fitted, framed, sized

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")
WIDE = 200 + 50 * np.sin(np.arange(40))
HALVES = np.repeat([0.0, 1.0], 20)
TOO_LONG = 170 / 172.5 - 1  # scale of a crank length set 2.5 mm too short


def named(fit):
    return {item.cause for item in telltales(fit)}


@pytest.mark.parametrize(("error", "found"), [
    pytest.param(0.00106, {"crank_length"}, id="TELLTALE_ODDS, SCALES_SD_PERCENT"),
    pytest.param(0.00112, set(), id="TELLTALE_ODDS, SCALES_SD_PERCENT")])
def test_odds_of_a_tell_tale_size(error, found):
    """Odds of 2.06 and of 1.95."""
    assert named(fitted(framed(WIDE), ("scale", sized(TOO_LONG, abs(TOO_LONG) / error)))) == found


@pytest.mark.parametrize(("left", "found"), [
    pytest.param(0.51, {"one_side_not_doubled"}, id="TELLTALE_LEFT"), pytest.param(0.49, set(), id="TELLTALE_LEFT")])
def test_a_scale_that_an_offset_takes_away(left, found):
    data = framed(WIDE, -0.5 * WIDE)
    made = fitted(data, ("scale", sized(-0.5, 100)), ("offset", sized(1.0, 100)),
                  by_power=left * -0.5 * data.power.mean())
    assert named(made) == found


@pytest.mark.parametrize(("high", "found"), [
    pytest.param(151.0, {"crank_length"}, id="POWER_RANGE"), pytest.param(149.0, set(), id="POWER_RANGE")])
def test_an_origin_needs_a_range_of_power(high, found):
    assert named(fitted(framed(np.where(HALVES > 0, high, 100.0)), ("scale", sized(TOO_LONG, 100)))) == found


def answer(kind="none", size=None, delay=None):
    return Answer(kind, "device", size, (), delay)


LATE = Delay(sized(1.0, 5), sized(1.0, 5), 0.0, 2.0)
RIDE = WIDE.repeat(30)


@pytest.mark.parametrize(("made", "found"), [
    pytest.param(answer(delay=sized(-0.31, 50)), ["delay"], id="DELAY_S"),
    pytest.param(answer(delay=sized(-0.29, 50)), [], id="DELAY_S"),
    pytest.param(answer(delay=sized(1.0, 2.6)), ["delay"], id="NAMED_STRENGTH"),
    pytest.param(answer(delay=sized(1.0, 2.55)), [], id="NAMED_STRENGTH"),
    pytest.param(answer("running mean", sized(2.05, 50)), ["smoothing"], id="LEAST_MEAN_S"),
    pytest.param(answer("running mean", sized(1.95, 50)), [], id="LEAST_MEAN_S"),
    pytest.param(answer("first order", sized(0.82, 50)), ["smoothing"], id="LEAST_LAG_S"),
    pytest.param(answer("first order", sized(0.78, 50)), [], id="LEAST_LAG_S"),
    pytest.param(answer("first order", sized(3.0, 2.6)), ["smoothing"], id="NAMED_STRENGTH"),
    pytest.param(answer("first order", sized(3.0, 2.55)), [], id="NAMED_STRENGTH")])
def test_a_response_that_is_named(made, found):
    assert [item.cause for item in response_findings.response_findings([made], LATE, 200.0, RIDE)] == found


@pytest.mark.parametrize(("late", "ratio", "looked"), [
    pytest.param(-0.16, 0.0, True, id="SCREEN_DELAY_S"), pytest.param(-0.14, 0.0, False, id="SCREEN_DELAY_S"),
    pytest.param(0.0, math.log(0.845), True, id="SCREEN_RATIO"),
    pytest.param(0.0, math.log(0.855), False, id="SCREEN_RATIO")])
def test_a_response_that_is_looked_for(late, ratio, looked, monkeypatch):
    asked = []
    monkeypatch.setattr(response_findings, "response_difference", lambda item: asked.append(item) or SimpleNamespace(
        kind="none", smoother="", width_s=None, time_constant_s=None, second_constant_s=None, fits=True, alike=(),
        delay_s=None))
    pairs = Pairs(reference=RIDE, device=RIDE + 1)
    found = answers([pairs], LATE._replace(mean=SimpleNamespace(value=late)), SimpleNamespace(value=ratio))
    assert (len(found), len(asked)) == (looked, looked)


@pytest.mark.parametrize(("sd", "t", "found"), [
    pytest.param(0.31, 50, 1, id="DELAY_S"), pytest.param(0.29, 50, 0, id="DELAY_S"),
    pytest.param(1.0, 2.6, 1, id="NAMED_STRENGTH"), pytest.param(1.0, 2.55, 0, id="NAMED_STRENGTH")])
def test_a_delay_that_varies(sd, t, found):
    assert len(findings.varying_delay(LATE._replace(variance=sized(sd**2, t)), 200.0)) == found


@pytest.mark.parametrize(("percent", "exponent", "ratio", "found"), [
    pytest.param(2.55, 0.9, 1.5, 1, id="SIDE_SCATTER_PERCENT"),
    pytest.param(2.45, 0.9, 1.5, 0, id="SIDE_SCATTER_PERCENT"),
    pytest.param(6.0, 0.51, 1.5, 1, id="SCATTER_EXPONENT"), pytest.param(6.0, 0.49, 1.5, 0, id="SCATTER_EXPONENT"),
    pytest.param(6.0, 0.9, 1.11, 1, id="SCATTER_RATIO"), pytest.param(6.0, 0.9, 1.09, 0, id="SCATTER_RATIO")])
def test_scatter_of_one_side(percent, exponent, ratio, found):
    """The lower limits of the exponent, and of the logarithm of the ratio."""
    rough = Scatter(percent, SimpleNamespace(value=1.0, low=exponent, high=1.5, level=0.95), 1500, 1.1 * percent)
    sharper = SimpleNamespace(value=math.log(ratio), low=0.01)
    assert len(one_side.one_side(fitted(framed(WIDE)), Signs(rough, sharper, None))) == found


@pytest.mark.parametrize(("t", "rivals", "strength"), [
    pytest.param(1.66, (), 0.813, id="SIDE_STRENGTH"),
    pytest.param(1.63, ("noise_in_proportion",), 0.45, id="SIDE_STRENGTH")])
def test_a_share_that_wanders_is_one_side(t, rivals, strength):
    """A normal 1.645 standard errors off has the strength 0.9."""
    rough = Scatter(6.0, SimpleNamespace(value=1.0, low=0.9, high=1.5, level=0.95), 1500, 6.5)
    found, = one_side.one_side(fitted(framed(WIDE)), Signs(rough, SimpleNamespace(value=0.5, low=0.1), sized(4.0, t)))
    assert found.rivals == rivals
    assert found.strength == pytest.approx(strength, abs=0.005)


@pytest.mark.parametrize(("watts", "looked"), [
    pytest.param(1.02, True, id="LEAST_MEAN_W"), pytest.param(0.98, False, id="LEAST_MEAN_W"),
    pytest.param(99_000, True, id="MOST_MEAN_W"), pytest.param(101_000, False, id="MOST_MEAN_W")])
def test_a_mean_that_is_a_riders(watts, looked, monkeypatch):
    asked = []
    monkeypatch.setattr(findings, "fit", asked.append)
    reference = watts * np.tile([0.9, 1.1], 40)
    same = Matched(reference=reference, device=reference)
    data = table(Pairs(reference=reference, device=reference, matched=same), 30)
    findings.findings(data, SimpleNamespace(scale=sized(1.0, 1000), kind="none", because=()))
    assert bool(asked) == looked


def at_moments(events, share):
    """Events at moments that are such a share of 1000 seconds, each of one second."""
    mask = np.arange(1000) < 1000 * share
    return patterns([(Conditions({"beside a stop": mask}, np.ones(1000, bool)), [(k, k + 1) for k in range(events)])])


@pytest.mark.parametrize(("events", "share", "found"), [
    pytest.param(5, 0.1, 1, id="LEAST_PATTERN_EVENTS"), pytest.param(4, 0.1, 0, id="LEAST_PATTERN_EVENTS"),
    pytest.param(5, 0.395, 1, id="PATTERN_P"), pytest.param(5, 0.401, 0, id="PATTERN_P")])
def test_events_that_go_with_a_moment(events, share, found):
    """Five of five have the chance 0.0096 and 0.0104."""
    assert len(at_moments(events, share)) == found


@pytest.mark.parametrize(("beside", "found"), [(5, 1), (4, 0)])
def test_half_of_the_events_go_with_a_moment(beside, found):
    spans = [(k, k + 1) if k < beside else (500 + k, 501 + k) for k in range(10)]
    assert len(patterns([(Conditions({"beside a stop": np.arange(1000) < 10}, np.ones(1000, bool)), spans)])) == found


@pytest.mark.parametrize(("range_of", "thirds"), [
    pytest.param(2.01, True, id="LEAST_WARMTH"), pytest.param(1.99, False, id="LEAST_WARMTH")])
def test_thirds_of_the_temperature(range_of, thirds):
    item = Pairs(reference=RIDE, device=RIDE, temperature=np.linspace(20, 20 + range_of, RIDE.size))
    assert ("warm" in conditions(item).masks) == thirds


def told_first(strength, percent):
    """Role of the cause that is told first: the device's, 1.2 % at full strength, or the reference's."""
    found = [Finding(cause="dropout", role="device", percent=1.2, values={"seconds": 9}),
             Finding(cause="dropout", role="reference", percent=percent, strength=strength, values={"seconds": 9})]
    first, = {causes(SimpleNamespace(findings=order, pairs=(), verdict=HOLDS))[0].split()[1]
              for order in (found, found[::-1])}
    return first


@pytest.mark.parametrize(("strength", "first"), [
    pytest.param(0.51, "reference", id="HINT_LAST"), pytest.param(0.49, "device", id="HINT_LAST")])
def test_hints_are_told_last(strength, first):
    """Though they be larger."""
    assert told_first(strength, 5.0) == first


@pytest.mark.parametrize(("percent", "first"), [(1.9, "device"), (2.1, "reference")])
def test_causes_are_told_in_order_of_size_times_strength(percent, first):
    assert told_first(0.6, percent) == first


@pytest.mark.parametrize(("strength", "place"), [
    pytest.param(0.9905, 0, id="NAMED_STRENGTH"), pytest.param(0.9895, 1, id="NAMED_STRENGTH")])
def test_a_setting_that_is_certain_comes_before_the_scale_it_explains(strength, place):
    size = sized(-50.0, 50)
    found = [Finding(cause="scale", size=size, unit="%", percent=50.0),
             Finding(cause="one_side_not_doubled", role="device", size=size, unit="%", percent=50.0, strength=strength)]
    assert "reads one side" in causes(SimpleNamespace(findings=found, pairs=(), verdict=HOLDS))[place]


@pytest.mark.parametrize(("ratio", "found"), [
    pytest.param(0.463, {"one_side_not_doubled"}, id="SIDE_SD"), pytest.param(0.460, set(), id="SIDE_SD")])
def test_a_side_that_is_not_half(ratio, found):
    """Two standard deviations of the share of a leg: exp(-0.08) of 0.5 is 0.4616."""
    assert named(fitted(framed(WIDE), ("scale", sized(ratio - 1, 1e5)))) == found


def test_most_steps_between_crank_lengths():
    """MOST_LENGTH_STEPS, 8 of 2.5 mm."""
    apart = {abs(item.values["entered_mm"] - item.values["fitted_mm"]) for item in TELLTALES[0]}
    assert max(apart) == 20.0


@pytest.mark.parametrize(("stop", "gap", "found"), [
    pytest.param(3, 0, range(95, 108), id="STOP_S, NEAR_S"), pytest.param(2, 0, (), id="STOP_S"),
    pytest.param(0, 4, range(95, 106), id="STOP_S, NEAR_S"), pytest.param(0, 3, (), id="STOP_S")])
def test_moments_beside_a_stop(stop, gap, found):
    """Both at 0 for some seconds from 100 on, or a gap of the record there."""
    power = np.full(200, 200.0)
    power[100:100 + stop] = 0.0
    time = np.arange(200.0) + np.where(np.arange(200) >= 100, max(gap - 1, 0), 0)
    seen = conditions(Pairs(reference=power, device=power, time=time)).masks["beside a stop"]
    assert list(np.flatnonzero(seen)) == list(found)


@pytest.mark.parametrize(("jumps", "fast"), [
    pytest.param(33, True, id="FASTEST"), pytest.param(34, False, id="FASTEST")])
def test_changes_that_are_the_fastest(jumps, fast):
    """Each jump is in three changes over 3 s; of 2000 seconds 99 are the fastest 5 %, and 102 are no longer."""
    power = np.full(2000, 200.0)
    for k in range(jumps):
        power[50 + 50 * k:] += 100.0 * (-1) ** k
    assert conditions(Pairs(reference=power, device=power)).masks["power changes fast"].any() == fast
