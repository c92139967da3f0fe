"""Readings that are held for some seconds at the end of pedalling: no frozen run, and no dropout of the other trace."""

import numpy as np
import pytest

from agree.core.thresholds import STOP_AGAIN, STOP_HELD_S
from agree.estimators.response.matching import NOTHING, Filter
from agree.faults.claim import Claim
from agree.faults.dropout import alike
from agree.faults.held import held
from agree.faults.real_stop import is_stop
from agree.faults.view import views

ALONE = Filter(NOTHING, "device", None)
STOP, LAST = 600, 660  # s of the one stop


def two(again, after=0.0):
    """A fast trace with one stop, and one that shows the last reading again for so many seconds of it."""
    rng = np.random.default_rng(3)
    one = np.rint(200 + 40 * np.sin(np.arange(1200) / 7) + rng.normal(0, 5, 1200))
    one[STOP:LAST] = 0
    other = np.where(one > 0, one + np.rint(rng.normal(0, 3, 1200)), 0)
    other[STOP:STOP + again], other[STOP + again] = other[STOP - 1], after
    return one, other


@pytest.mark.parametrize(("again", "after", "told"), [
    (STOP_HELD_S, 0.0, []), (STOP_HELD_S + 1, 0.0, [(STOP, STOP + STOP_HELD_S + 1)]), (STOP_HELD_S, 14.0, []),
    (STOP_HELD_S, 16.0, [(STOP, STOP + STOP_HELD_S)])])
def test_a_reading_held_as_pedalling_ends_is_not_frozen(again, after, told):
    """STOP_HELD_S on both sides; and WORKING_W of what comes after."""
    assert held(views(*two(again, after), ALONE)["device"]) == told


@pytest.mark.parametrize("role", ["reference", "device"])
@pytest.mark.parametrize("again", [STOP_AGAIN, STOP_HELD_S])
def test_zeros_beside_a_last_reading_that_comes_again_are_a_stop(role, again):
    """Whichever trace holds it."""
    one, other = two(again)
    seen = views(*((one, other) if role == "reference" else (other, one)), ALONE)[role]
    assert is_stop(seen, claim(again))


@pytest.mark.parametrize("again", [STOP_AGAIN - 1, STOP_HELD_S + 1])
def test_zeros_of_a_device_beside_other_readings_are_not(again):
    """STOP_AGAIN and STOP_HELD_S: by so few readings chance might do it, and so many none holds."""
    assert not is_stop(views(*two(again)[::-1], ALONE)["device"], claim(again))


def test_zeros_of_a_device_beside_readings_that_go_on_as_usual_are_not():
    one, other = two(4)
    other[STOP:STOP + 4] += [3, -2, 4, -1]
    assert not is_stop(views(other, one, ALONE)["device"], claim(4))


def claim(seconds):
    return Claim(STOP, STOP + seconds, 200.0 * seconds, 200.0 * seconds, 10.0, 0.0, 200.0 * seconds, 10.0)


@pytest.mark.parametrize(("shared", "told"), [(0.61, 4), (0.59, 1)])
def test_zeros_that_may_each_be_dropouts_must_lack_their_energy_together(shared, told):
    """CLAIM_SHARE: else one counts alone that shows it by itself."""
    claims = [Claim(at, at + 1, 100.0, budget, error, 0.0, budget, error) for at, budget, error in (
        (10, 90.0, 20.0), (20, 400 * shared - 170, 60.0), (30, 40.0, 60.0), (40, 40.0, 60.0))]
    assert len(alike(claims)) == told
