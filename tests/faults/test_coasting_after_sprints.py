"""Coasting after sprints beside a slow device is no dropout of the reference; a true one beside it is found."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.core.checks import FloatArray
from agree.faults.behind_slow.coasting import Fit, fitted, with_coasting
from agree.faults.screen import hide
from agree.faults.set_aside import set_aside

EVERY_S, FIRST_S, LATE_S = 190, 150, 5


def ride(seed: int, coast_s: int) -> FloatArray:
    """Twenty-five minutes at 150 W with sprints of 7 to 15 s, each followed by coasting."""
    rng = np.random.default_rng(seed)
    power = 150 + lfilter([10 * 0.43], [1, -0.905], rng.normal(0, 1, 1500))
    for start in range(FIRST_S, 1400, EVERY_S):
        length = int(rng.integers(7, 16))
        power[start:start + length] = rng.uniform(650, 1000) * np.exp(-np.arange(length) / 25)
        power[start + length:start + length + coast_s] = 0
    return np.maximum(power, 0.0)


def lags(power: FloatArray, constants: tuple[float, ...]) -> FloatArray:
    for tau in constants:
        keep = np.exp(-1 / tau)
        power = lfilter([1 - keep], [1, -keep], power)
    return power


def read(power: FloatArray, noise: float, seed: int) -> FloatArray:
    rng = np.random.default_rng(seed)
    return np.round(np.maximum(power + np.where(power > 0.5, rng.normal(0, noise, power.size), 0), 0))


def pair(seed: int, coast_s: int, constants: tuple[float, ...], gain: float = 1.0) -> tuple[FloatArray, FloatArray]:
    """Reference and device, set forward by the seconds by which the clocks are matched."""
    power = ride(seed, coast_s)
    device = read(gain * lags(power, constants), 4.0, seed + 1)
    return read(power, 3.0, seed + 2)[:-LATE_S], device[LATE_S:]


@pytest.mark.parametrize(("seed", "coast_s", "constants", "gain"), [
    (1, 15, (6.0,), 1.032), (2, 10, (5.0, 2.0), 1.0), (3, 15, (8.0,), 1.0)])
def test_coasting_after_sprints_beside_a_slow_device_is_no_dropout(
        seed: int, coast_s: int, constants: tuple[float, ...], gain: float) -> None:
    reference, device = pair(seed, coast_s, constants, gain)
    found = set_aside(reference, device)
    assert not found.faults
    used = found.reason == ""
    mean = float(found.matched.device[used].sum() / found.matched.reference[used].sum())
    assert mean == pytest.approx(gain, abs=0.003)


@pytest.mark.parametrize("constants", [(6.0,), (8.0,)])
def test_true_dropouts_amid_work_are_found_beside_it(constants: tuple[float, ...]) -> None:
    reference, device = pair(4, 15, constants)
    lost = [(300, 306), (660, 670), (1050, 1054), (1240, 1252)]
    for start, stop in lost:
        reference[start:stop] = 0
    found = set_aside(reference, device)
    assert [(one.reason, one.start, one.stop) for one in found.faults] == [
        ("reference_dropout", start, stop) for start, stop in lost]


def screened(reference: FloatArray, device: FloatArray) -> Fit:
    hidden = hide(reference, device)
    return Fit(fitted(reference, device, hidden), hidden)


def test_the_filter_is_sought_with_the_zeros_that_it_explains_and_without_all_others() -> None:
    reference, device = pair(1, 15, (6.0,))
    reference[300:312] = 0
    first = screened(reference, device)
    made, hidden = with_coasting(reference, device, first)
    assert first.hidden[0].sum() > 80  # the screen takes the coasting for dropouts
    assert np.flatnonzero(hidden[0]).tolist() == list(range(300, 312))
    assert made.choice is not None
    assert made.choice.size is not None
    assert made.choice.size.value == pytest.approx(6.0, abs=0.3)


def test_a_fit_without_zeros_stays_where_the_other_trace_goes_on_at_its_level() -> None:
    power = 200 + lfilter([18 * 0.43], [1, -0.905], np.random.default_rng(5).normal(0, 1, 1500))
    reference, device = read(power, 3.0, 6), read(lags(power, (4.0,)), 4.0, 7)
    for start in range(100, 1400, 150):
        reference[start:start + 10] = 0
    first = screened(reference, device)
    assert with_coasting(reference, device, first) is first


@pytest.mark.parametrize("seed", [0, 2, 3])
def test_dropouts_of_an_exact_device_are_no_stops_at_which_the_reference_holds_its_reading(seed: int) -> None:
    """Each zero of the device fits a reference that keeps its reading for 3 s: they passed for coasting, 5 % low."""
    rng = np.random.default_rng(seed)
    power = np.rint(np.maximum(220 + lfilter([1], [1, -0.95], rng.normal(0, 14, 2000)), 0))
    for start in rng.choice(np.arange(60, 1900, 70), 6, replace=False):
        power[start:start + rng.integers(5, 25)] = 0
    device, work = power.copy(), np.flatnonzero(power > 100)
    for start in rng.choice(work[(work > 20) & (work < 1950)], 70, replace=False):
        device[start:start + int(rng.choice([1, 1, 1, 3]))] = 0
    found = set_aside(power, device)
    assert {fault.kind for fault in found.faults} == {"dropout"}
    assert found.matched.held_s == 0
