"""Errors that change with cadence: named as such, and not as a step, a bend or a zero."""

import numpy as np
import pytest

from agree import Pairs
from agree.correction.find import correction
from agree.diagnosis.findings import findings
from agree.faults.slow.search import find_slow
from agree.report.story.cause import cause_words
from agree.verdict.columns import table

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")

SECONDS = np.arange(2700)
BLOCKS = np.select([SECONDS % 1200 < 300, SECONDS % 1200 < 600, SECONDS % 1200 < 900], [60.0, 75.0, 90.0], 105.0)


def effort(seed=7):
    """Invented power of its own, in blocks of 5 min of one cadence each; noise of 4 W."""
    rng = np.random.default_rng(seed)
    power = 200 + 50 * np.sin(SECONDS / 130) + 20 * np.sin(SECONDS / 17) + rng.normal(0, 8, SECONDS.size)
    return power, BLOCKS + rng.normal(0, 1, SECONDS.size), rng.normal(0, 4, SECONDS.size)


def named(error, cadence=True):
    power, turns, noise = effort()
    pairs = Pairs(reference=power, device=power + error(power, turns) + noise, cadence=turns if cadence else None)
    data = table(pairs, 30)
    return findings(data, correction(data, 0.95, 30))


def by_cadence(power, turns):
    return power * 0.0022 * (turns - 80)


def test_a_gain_that_changes_with_cadence_is_named_so():
    found, = named(by_cadence)
    assert (found.cause, found.unit) == ("cadence_gain", "% per rev/min")
    assert found.size.low < 0.22 < found.size.high
    assert found.size.value == pytest.approx(0.22, abs=0.02)
    assert not found.rivals
    values = found.values
    assert (values["slow_percent"], values["fast_percent"]) == pytest.approx(
        (0.22 * (values["slow_rpm"] - 80), 0.22 * (values["fast_rpm"] - 80)), abs=0.4)
    words = cause_words(found)
    assert "the error changes with cadence" in words
    assert f"{values['slow_percent']:+.1f} % at {values['slow_rpm']:.0f} rev/min" in words


@pytest.mark.parametrize("error", [
    lambda p, c: 0 * p, lambda p, c: -0.03 * p, lambda p, c: 0 * p + 6, lambda p, c: 0.7 * c * 2 * np.pi / 60,
    lambda p, c: -0.06 * np.maximum(p - 220, 0)])
def test_other_errors_are_not_named_so(error):
    assert "cadence_gain" not in {item.cause for item in named(error)}


def test_at_one_power_a_torque_with_a_scale_fits_as_well():
    """Which is said; at powers that differ it leaves 20 times as much."""
    _, turns, noise = effort()
    for power, low, high in ((np.full(turns.size, 180.0), 0.9, 1.2), (effort()[0], 5, 200)):
        data = table(Pairs(reference=power, device=power + by_cadence(power, turns) + noise, cadence=turns), 30)
        found = findings(data, correction(data, 0.95, 30))[0]
        assert "changes with cadence" in cause_words(found)
        torque, = (item for item in found.compared if item.cause == "torque_offset")
        assert low < torque.left < high


@pytest.mark.parametrize(("known", "steps"), [(True, 0), (False, 1)])
def test_what_goes_with_a_cadence_is_no_step(known, steps):
    """Where no cadence is known, a change of it in the middle of the ride is a step of the error, and is said to be."""
    power, turns, noise = effort()
    turns = np.where(SECONDS < 1350, turns - BLOCKS + 75, turns - BLOCKS + 95)
    found = find_slow(power, power + by_cadence(power, turns) + noise, SECONDS.astype(float),
                      np.ones(power.size, bool), turns if known else None, ("step", "auto_zero_step"))
    assert len(found) == steps
