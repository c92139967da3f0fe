"""How stamps become seconds, on both sides of each limit of `agree.pairing.grid`: inputs are literal."""

import numpy as np
import pytest

from agree import InputError, Recording
from agree.pairing.grid import integrate, to_grid


def note(steps):
    """One word of what is said of a recording with such steps between its readings: refused, mean, between or none."""
    time = np.cumsum(np.r_[0.0, steps])
    try:
        found = to_grid(Recording(time=time, power=200 + time % 7, clock="elapsed"), "device").note
    except InputError:
        return "refused"
    return next((word for word in ("mean", "between") if word in found.replace("averaged", "")), "")


def stray(number, by):
    """Steps of 200 readings every second, of which so many come late by a part of a second."""
    time = np.arange(200.0)
    time[10:10 + 8 * number:8] += by
    return np.diff(time)


def uneven(number, by):
    """100 steps of half a second, of which so many are longer."""
    steps = np.full(100, 0.5)
    steps[:number] += by
    return steps


@pytest.mark.parametrize(("steps", "said"), [
    pytest.param(np.full(200, 2.19), "between", id="MAX_GAP_S, GAP_JITTER_S"),
    pytest.param(np.full(200, 2.21), "refused", id="MAX_GAP_S, GAP_JITTER_S"),
    pytest.param(np.full(200, 1.048), "mean", id="STEP_S"), pytest.param(np.full(200, 1.052), "between", id="STEP_S"),
    pytest.param(stray(20, 0.36), "", id="PHASE_S"), pytest.param(stray(20, 0.38), "between", id="PHASE_S"),
    pytest.param(stray(9, 0.45), "", id="PHASE_SHARE"), pytest.param(stray(11, 0.45), "between", id="PHASE_SHARE"),
    pytest.param(uneven(20, 0.12), "mean", id="EVEN"), pytest.param(uneven(20, 0.13), "between", id="EVEN"),
    pytest.param(uneven(9, 0.2), "mean", id="EVEN_SHARE"), pytest.param(uneven(11, 0.2), "between", id="EVEN_SHARE")])
def test_how_readings_become_seconds(steps, said):
    assert note(steps) == said


@pytest.mark.parametrize(("last", "known"), [pytest.param(0.51, True, id="HALF"), pytest.param(0.49, False, id="HALF")])
def test_a_second_that_is_covered(last, known):
    means, _ = integrate(np.array([0.0, last]), np.array([200.0, 210.0]), 1)
    assert np.isfinite(means[0]) == known
