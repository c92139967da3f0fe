"""A device that is precise, but off by watts where per cent are claimed or the other way round, gets its answer."""

from pathlib import Path

import numpy as np
import pytest

from agree import Pairs, check_claim, read_recording
from agree.verdict.columns import table
from agree.verdict.meanings import mean_error

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")
RIDES = Path(__file__).parents[1] / "data" / "rides"


def ride(rng, error):
    watts = read_recording(RIDES / "pair-1-bike.csv").values
    watts = watts[np.isfinite(watts) & (watts > 0)]
    return Pairs(reference=watts, device=watts + error(watts) + rng.normal(0, 3, watts.size))


@pytest.mark.parametrize(("error", "claim", "answer"), [
    (lambda watts: 5.0, "3 %", "holds"), (lambda watts: 5.0, "1.5 %", "does not hold"),
    (lambda watts: 0.03 * watts, "8 W", "holds"), (lambda watts: 0.03 * watts, "5 W", "does not hold")])
def test_the_other_unit(rng, error, claim, answer):
    """The power that was ridden is what it was: how per cent change with it is no doubt about the mean error."""
    check = check_claim(ride(rng, error), claim)
    item = check.reading.estimate
    assert check.verdict == answer
    assert (item.high - item.low) / 2 < 0.1 * item.value


def test_bands_too(rng):
    check = check_claim(ride(rng, lambda watts: 5.0), "1.5 %", bands=[0, 250, 700], meaning="bands")
    low = check.bands[0]
    assert (low.deciding.high - low.deciding.low) / 2 < 0.15 * low.deciding.value


@pytest.mark.parametrize(("error", "unit"), [(lambda watts: 0.03 * watts, "W"), (lambda watts: 5.0, "%")])
def test_what_goes_with_the_power_is_a_doubt_only_if_the_power_may_be_another(rng, error, unit):
    data = table(ride(rng, error), 30)
    held, free = (mean_error(data, unit, 0.95, hold_level=held) for held in (True, False))
    assert held.value == free.value
    assert free.high - free.low > 3 * (held.high - held.low)
