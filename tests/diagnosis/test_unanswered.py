"""Where no filter says how the two respond, what goes with power is taken from means over 4 minutes."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree import Pairs
from agree.core.data.matched import Matched
from agree.correction.find import correction
from agree.diagnosis.findings import findings
from agree.diagnosis.windows.long_windows import in_long_windows
from agree.report.story.cause import cause_words
from agree.verdict.columns import table
from tests.diagnosis.frames import framed


def named(power, device):
    """Causes of a pair whose response no filter fitted."""
    data = table(Pairs(reference=power, device=device, matched=Matched(reference=power, device=device, fits=False)), 30)
    return {item.cause: item for item in findings(data, correction(data, 0.95, 30))}


@pytest.mark.parametrize(("windows", "known"), [
    pytest.param(40, True, id="LONG_OF_WINDOWS LONG_LEFT_OVER"), pytest.param(39, False, id="LONG_OF_WINDOWS")])
def test_long_windows_enough(windows, known):
    """Two coefficients need five long windows of eight."""
    rows = np.stack([np.ones(windows), np.arange(windows, dtype=float)])
    data = framed(np.full(windows, 200.0))
    assert (in_long_windows(rows, np.sin(np.arange(windows)), data, 0.0) is not None) == known


def efforts(seed):
    """An hour whose power changes each minute."""
    rng = np.random.default_rng(seed)
    t = np.arange(3600)
    return rng, np.repeat(rng.uniform(110, 330, 60), 60) + 15 * np.sin(t / 13) + rng.normal(0, 8, t.size)


@pytest.mark.parametrize("seed", [0, 1, 3])
def test_an_unknown_lag_is_no_scale_and_no_zero(seed):
    """A lag of 25 s: in means over 30 s 28 to 33 % too little, beside 62 to 72 W too much."""
    rng, power = efforts(seed)
    late = lfilter([1 / 25], [1, -24 / 25], power, zi=[power[0] * 24 / 25])[0]
    assert not {"scale", "offset", "bend"} & set(named(power, late + rng.normal(0, 3, power.size)))


def test_a_scale_may_be_a_response_that_loses_energy():
    """8 s to more power, 2 s to less: 3.5 % too low over the hour, and the scale and the zero are right."""
    rng, power = efforts(1)
    device = power.copy()
    for at in range(1, power.size):
        device[at] = device[at - 1] + (power[at] - device[at - 1]) / (8 if power[at] > device[at - 1] else 2)
    scale = named(power, device + rng.normal(0, 3, power.size))["scale"]
    assert "uneven_response" in scale.rivals
    assert cause_words(scale).endswith("or a response that no kind of filter describes: the data cannot tell which")
