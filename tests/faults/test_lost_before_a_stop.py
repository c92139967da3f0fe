"""A reference that is lost in the last seconds before a stop, which the device shows when it comes."""

import numpy as np
import pytest

from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter
from agree.faults.detect import find_faults


def found(goes_on):
    """Seconds lost before the last stop of a reference whose device goes on for so long at each of the others."""
    rng = np.random.default_rng(1)
    x = 200 + 30 * np.sin(np.arange(1200) / 7) + rng.normal(0, 4, 1200)
    stops = 40 + 45 * np.arange(len(goes_on) + 1)
    y = x.copy()
    for start, late in zip(stops, [*goes_on, 0], strict=True):
        x[start:start + 20], y[start + late:start + 20] = 0, 0
    x[stops[-1] - 5:stops[-1]] = 0
    y += rng.normal(0, 2, 1200) * (y > 0)
    reason = find_faults(x, y, Filter(Kernel(0, np.ones(1)), "device", None)).reason
    return int((reason[stops[-1] - 5:stops[-1]] == "reference_dropout").sum())


def late_at(places, late):
    """Of 24 stops before, the device goes on at some, counted from the last one."""
    return [late if 24 - k in places else 0 for k in range(24)]


@pytest.mark.parametrize(("goes_on", "lost"), [
    pytest.param([0] * 4, 5, id="STOPS_TOLD least"), pytest.param([0] * 3, 0, id="STOPS_TOLD least"),
    pytest.param(late_at((7, 8, 9), 3), 5, id="STOPS_TOLD most"),
    pytest.param(late_at((6, 7, 8), 3), 0, id="STOPS_TOLD most"),
    pytest.param(late_at((1, 2, 3), 1), 5, id="STOP_TOGETHER_S"),
    pytest.param(late_at((1, 2, 3), 2), 0, id="STOP_TOGETHER_S")])
def test_a_device_holds_its_reading_at_most_stops_or_works_on(goes_on, lost):
    assert found(goes_on) == lost
