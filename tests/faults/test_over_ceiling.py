"""The lag of a device that cuts sprints at a ceiling is found, and its mean with it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.faults import set_aside as module
from agree.faults.behind_slow.over_ceiling import over_ceiling
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


def sprints(seed: int, top: float) -> np.ndarray:
    """A ride of 20 min at 10 readings a second, with sprints of 500 to 1000 W that begin and end within a second."""
    rng = np.random.default_rng(seed)
    power = np.repeat(np.maximum(170 + lfilter([6.5], [1, -0.905], rng.normal(0, 1, 1200)), 0), 10)
    for start in range(1000, 11500, 1100):
        begin = start + int(rng.integers(10))
        power[begin:begin + int(rng.integers(80, 140))] = rng.uniform(1.1, 1.5) * top
    return power


def each_second(power: np.ndarray) -> np.ndarray:
    return np.round(power.reshape(-1, 10).mean(axis=1))


@pytest.mark.parametrize("within", [True, False])
def test_a_delay_by_half_a_second_moves_no_mean_beside_a_ceiling(within: bool) -> None:
    """Whether readings are cut within the second or after it."""
    power = sprints(4, 650)
    late = np.r_[np.full(5, power[0]), power[:-5]]
    device = each_second(np.minimum(late, 650)) if within else np.minimum(each_second(late), 650)
    found = set_aside(each_second(power), device)
    used = found.reason == ""
    assert (found.reason == "device_saturation").sum() >= 70
    assert found.matched.mean_delay_s % 1 == pytest.approx(0.5, abs=0.05)
    assert found.matched.device[used].sum() / found.matched.reference[used].sum() == pytest.approx(1.0, abs=0.0006)


def test_a_mean_over_4_s_is_found_beside_sprints_that_the_other_one_cuts() -> None:
    power = sprints(5, 700)
    reference = each_second(np.convolve(power, np.ones(40) / 40)[:power.size])
    found = set_aside(reference, each_second(np.minimum(power, 700)))
    used = found.reason == ""
    assert (found.matched.kind, found.matched.smoother) == ("running mean", "reference")
    assert found.matched.size_s == pytest.approx(4.0, abs=0.25)
    assert found.matched.device[used].sum() / found.matched.reference[used].sum() == pytest.approx(1.0, abs=0.002)


def test_the_filter_is_found_anew_where_all_of_a_ceiling_was_hidden_at_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing seemed changed then, and a mean of 2 s was left in place of a lag of 1.6 s: 0.3 points off."""
    rng = np.random.default_rng(0)
    power = np.maximum(170 + lfilter([6.5], [1, -0.905], rng.normal(0, 1, 600)), 0)
    for start in range(100, 550, 110):
        power[start:start + 11] = 800
    keep = np.exp(-1 / 1.5)
    slow = np.round(lfilter([1 - keep], [1, -keep], power, zi=[keep * power[0]])[0] + rng.normal(0, 2, 600))
    device, asked = np.minimum(np.round(power), 600), []
    at = (device == 600) & (np.roll(device, 1) == 600)  # what is found with the first filter
    monkeypatch.setattr(module, "hide", lambda *_: (np.zeros(600, bool), at))
    monkeypatch.setattr(module, "over_ceiling", lambda *given: asked.append(given) or over_ceiling(*given))
    made = set_aside(slow, device)
    assert (made.reason[device == 600] == "device_saturation").all()
    assert asked
