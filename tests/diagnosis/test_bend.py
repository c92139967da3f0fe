"""Errors that change with power: named as such, and not as a scale with the origin of a scale."""

import numpy as np
import pytest

from agree import Pairs
from agree.correction.find import correction
from agree.diagnosis.findings import findings
from agree.diagnosis.windows.bend_shown import shows
from agree.report.story.cause import cause_words
from agree.report.story.cause_evidence import evidence
from agree.verdict.columns import table
from tests.diagnosis.frames import framed

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")

ORIGINS = {"scale", "offset", "torque_offset", "crank_length", "unit", "loss"}


def ride(seconds=2400):
    """An invented effort of 110 to 320 W, and noise of 4 W."""
    t, rng = np.arange(seconds), np.random.default_rng(11)
    return 210 + 70 * np.sin(t / 100) + 25 * np.sin(t / 17) + rng.normal(0, 15, seconds), rng.normal(0, 4, seconds)


def named(device):
    power, noise = ride()
    data = table(Pairs(reference=power, device=device(power) + noise), 30)
    return findings(data, correction(data, 0.95, 30))


DEVICES = {
    "power law": lambda p: 200 * (p / 200) ** 0.9,
    "two slopes": lambda p: np.where(p > 240, 240 + 0.85 * (p - 240), p),
    "two slopes, scaled": lambda p: 0.97 * np.where(p > 220, 220 + 0.85 * (p - 220), p),
    "wrong above 250 W": lambda p: np.where(p > 250, 0.94 * p, p),
}


@pytest.mark.parametrize("name", DEVICES)
def test_an_error_that_changes_with_power_is_named_so(name):
    found = named(DEVICES[name])
    assert found[0].cause == "bend"
    assert not {item.cause for item in found} & ORIGINS
    values = found[0].values
    assert values["at_low_percent"] > values["at_middle_percent"] > values["at_high_percent"]
    at = np.array([values["low_W"], values["high_W"]])
    truth = 100 * (DEVICES[name](at) / at - 1)
    assert [values["at_low_percent"], values["at_high_percent"]] == pytest.approx(truth, abs=1.3)
    words = cause_words(found[0])
    assert "the error changes with power, by no fixed percentage" in words
    assert f"{values['at_high_percent']:+.1f} % at {values['high_W']:.0f} W" in words


@pytest.mark.parametrize("device", [lambda p: p, lambda p: 0.96 * p, lambda p: p - 7, lambda p: 0.96 * p + 5])
def test_a_line_does_not_bend(device):
    assert "bend" not in {item.cause for item in named(device)}


@pytest.mark.parametrize(("slope", "bends"), [(0.041, False), (0.045, True)])
def test_certainty_of_a_bend(slope, bends):
    """Above 240 W 4.1 % of slope less have a level of 0.9987 beside scale and offset, 4.5 % one of 0.9993."""
    found = named(lambda p: p - slope * np.maximum(p - 240, 0))
    assert ("bend" in {item.cause for item in found}) == bends


@pytest.mark.parametrize(("offset", "origin"), [(0.0, True), (6.0, False)])
def test_an_offset_beside_a_scale_has_no_crank_length(offset, origin):
    """170 mm entered for 172.5 mm; with a zero beside it, which takes part of the same error, no length is told."""
    found = {item.cause for item in named(lambda p: 170 / 172.5 * p + offset)}
    assert found >= ({"scale"} if origin else {"offset"})
    assert ("crank_length" in found) == origin


def shown(slope, answered, long_too):
    """Whether a bend by `slope` above 240 W shows, in 80 windows; without `long_too` 4 minutes are free of it."""
    t = np.arange(80)
    power = 210 + 60 * np.sin(t / 3) + 40 * np.sin(t / 15)
    above = np.maximum(power - 240, 0)
    error = slope * above
    if not long_too:
        error = error - np.repeat(error.reshape(10, 8).mean(axis=1), 8)
    error = error + np.random.default_rng(2).normal(0, 0.3, 80)
    data = framed(power, error)._replace(answered=answered)
    return shows(data, np.vstack([power, np.ones(80)]), above, error, 0.0)


@pytest.mark.parametrize(("slope", "told"), [pytest.param(0.51, False, id="LARGEST_BEND"), (-0.51, False),
                                             pytest.param(0.49, True, id="LARGEST_BEND"), (-0.49, True)])
def test_a_slope_that_no_device_has_is_no_bend(slope, told):
    """A change of slope of -124 % "of power" above 328 W was told of a device 0.5 % low."""
    assert shown(slope, True, True) == told


@pytest.mark.parametrize("answered", [True, False])
def test_a_bend_must_show_in_long_windows(answered):
    assert shown(-0.2, answered, True)
    assert not shown(-0.2, answered, False)


def test_the_size_of_a_bend_is_what_it_makes_at_high_power():
    """Above 240 W 15 % of slope less: at 290 W -2.6 %, which the error at that power shows."""
    found = named(DEVICES["two slopes"])[0]
    assert found.size.value == pytest.approx(found.values["at_high_percent"] - found.values["at_low_percent"], abs=1)
    assert f"at {found.values['high_W']:.0f} W by" in "; ".join(evidence(found))
