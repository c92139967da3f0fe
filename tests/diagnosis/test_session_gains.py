"""Sessions whose scales differ: that is the cause, and no slope within the sessions; true slopes are still named."""

import numpy as np
import pytest

from agree import Estimate, Pairs
from agree.correction.find import correction
from agree.diagnosis.findings import findings
from agree.diagnosis.windows.frame import frame
from agree.diagnosis.windows.gains import gains
from agree.diagnosis.windows.session_gains import gains_differ, unlike
from agree.verdict.columns import table

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")
SECONDS = np.arange(1500)
OF_POWER = {"scale", "offset", "torque_offset", "drift", "cadence_gain", "bend"}


def sessions(seed, factors, adds=lambda power, turns: 0.0):
    """Invented sessions in blocks of 60 to 300 s at 110 to 280 W, a factor each; noise of 5 W."""
    rng, made = np.random.default_rng(seed), []
    for factor in factors:
        power = np.repeat(rng.uniform(110, 280, 30), rng.integers(60, 300, 30))[:SECONDS.size]
        power = power + rng.normal(0, 8, power.size)
        turns = 80 + 0.04 * power + 4 * np.sin(SECONDS / 90 + rng.uniform(0, 6)) + rng.normal(0, 2, power.size)
        read = power * factor + adds(power, turns) + rng.normal(0, 5, power.size)
        made.append(Pairs(reference=power, device=read, cadence=turns))
    return made


def named(*args):
    data = table(sessions(*args), 30)
    return [item.cause for item in findings(data, correction(data, 0.95, 30))]


@pytest.mark.parametrize("factors", [1 - 0.008 * np.arange(5), 1 - 0.005 * np.arange(5), (1, 1, 1.03, 1, 1)])
@pytest.mark.parametrize("seed", range(2))
def test_scales_that_differ_are_no_other_cause(factors, seed):
    found = named(seed, factors)
    assert found[0] == "sessions_differ"
    assert not OF_POWER & set(found)


@pytest.mark.parametrize(("adds", "cause"), [
    (lambda power, turns: -9.0, "offset"), (lambda power, turns: 0.003 * (turns - 88) * power, "cadence_gain"),
    (lambda power, turns: -18 * SECONDS / 1500, "drift"), (lambda power, turns: -20.0 * (SECONDS > 700), "step")])
@pytest.mark.parametrize("factors", [(1, 1, 1), (1, 0.985, 1.01)])
def test_a_cause_within_sessions_is_named_beside_it(adds, cause, factors):
    assert cause in named(3, factors, adds)


# NAMED_STRENGTH: chi-squared with 1 degree of freedom is 6.635 at 0.99, 3.643 standard errors apart
@pytest.mark.parametrize(("apart", "differ"), [(3.66, True), (3.62, False)])
def test_how_far_apart_two_sessions_are(apart, differ):
    one, other = (Estimate(value=x, low=x - 2, high=x + 2, level=0.95, method="", standard_error=1.0, df=np.inf)
                  for x in (0.0, apart))
    assert (unlike([one, other])[-1] >= 0.99) == differ


def test_gains_that_differ():
    for factors, differ in (((1, 1, 1), False), ((1, 1, 1.02), True)):
        data = frame(table(sessions(5, factors), 30))
        assert gains_differ(gains(data), data.error) == differ
