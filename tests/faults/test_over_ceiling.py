"""The lag of a device that cuts sprints at a ceiling is found, and its mean with it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.faults.set_aside import set_aside


@pytest.mark.parametrize(("slow", "lag_s"), [("device", 2.0), ("reference", 3.0)])
def test_a_lag_is_found_beside_sprints_that_a_ceiling_cuts(slow: str, lag_s: float) -> None:
    rng = np.random.default_rng(5)
    power = np.maximum(150 + lfilter([6.5], [1, -0.905], rng.normal(0, 1, 1500)), 0)
    for start in range(100, 1450, 200):
        power[start:start + 10] = rng.uniform(750, 1000)
        power[start + 10:start + 25] = 0
    keep = np.exp(-1 / lag_s)
    cut = np.round(np.minimum(lfilter([1 - keep], [1, -keep], power) + rng.normal(0, 4, power.size), 500).clip(0))
    sharp = np.round(np.where(power > 0, power + rng.normal(0, 3, power.size), 0).clip(0))
    found = set_aside(*((sharp, cut) if slow == "device" else (cut, sharp)))
    used = found.reason == ""
    assert (found.reason == f"{slow}_saturation").sum() >= 40
    assert found.matched.size_s == pytest.approx(lag_s, rel=0.1)
    assert found.matched.device[used].sum() / found.matched.reference[used].sum() == pytest.approx(1.0, abs=0.003)
