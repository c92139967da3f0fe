"""Thresholds of several devices, each tried just inside and just outside; its name stands beside it."""

import numpy as np
import pytest

from agree import Pairs
from agree.core.data.alignment import Alignment
from agree.devices.closure import closures
from agree.devices.line_up import LinedUp
from agree.devices.voices import one_voice

TRUE = 220 + 90 * np.sin(np.arange(300) / 20)


# ONE_VOICE_W: quartiles at -d and d are those of an SD of 2 d/1.349
@pytest.mark.parametrize(("apart", "same"), [(0.50, True), (0.51, False)])
def test_two_recordings_of_one_sensor_differ_by_rounding(apart, same):
    assert one_voice(Pairs(reference=TRUE, device=TRUE + apart * np.tile([1.0, 0.0, -1.0], 100))) is same


# CLOSURE_PERCENT, CLOSURE_LAG_S
@pytest.mark.parametrize(("percent", "lag", "closes"), [
    (0.29, 0.0, True), (0.31, 0.0, False), (-0.31, 0.0, False), (0.0, 0.95, True), (0.0, 1.05, False)])
def test_triangles_close_or_not(percent, lag, closes):
    def pairing(ratio, at):
        return Pairs(reference=TRUE, device=ratio * TRUE, alignment=Alignment(
            lag_s=at, lag_se_s=0.1, drift_ppm=0.0, drift_se_ppm=0.0, correlation=1.0, runner_up=0.0))

    found = closures(LinedUp(("a", "b", "c"), np.zeros((3, 1)), {
        (0, 1): pairing(1.01, 2.0), (1, 2): pairing((1 + percent / 100) * 0.98, 3.0),
        (0, 2): pairing(1.01 * 0.98, 5.0 - lag)}))[0]
    assert (found.percent, found.lag_s) == (pytest.approx(percent), pytest.approx(lag))
    assert found.closes is closes
