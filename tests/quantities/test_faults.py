"""Faults that fit the quantity: found where they were put, and nowhere else."""

import numpy as np
import pytest

from agree.core.quantities.known import quantity
from agree.quantities.faults import find_trace_faults
from agree.quantities.overlay import lay_over

N = 3600


def heart(seed=1, cadence=168.0):
    """Reference, device and cadence of a clean session."""
    rng = np.random.default_rng(seed)
    t = np.arange(N, dtype=float)
    true = 125 + 18 * np.sin(t / 170) + 6 * np.sin(t / 41)
    steps = cadence + 3 * np.sin(t / 90) + rng.normal(0, 1, N)
    return t, np.round(true + rng.normal(0, 0.5, N)), np.round(true + rng.normal(0, 1.5, N)), np.round(steps)


def kinds(t, x, y, of="heart rate", steps=None):
    over = lay_over((t, x), (t, y), quantity(of), absolute=True, shadow=None if steps is None else (t, steps))
    return [(fault.kind, fault.start_s, fault.seconds) for fault in find_trace_faults(over)]


@pytest.mark.parametrize("seed", range(6))
def test_clean_sessions_have_none(seed):
    t, x, y, steps = heart(seed)
    assert kinds(t, x, y, steps=steps) == []


@pytest.mark.parametrize("times", [0.5, 1.0])
def test_lock_to_steps(times):
    t, x, y, steps = heart()
    y[1000:1400] = np.round(times * steps[1000:1400] + np.random.default_rng(2).normal(0, 1, 400))
    found = kinds(t, x, y, steps=steps)
    locked = sum(seconds for kind, _, seconds in found if kind == "cadence_lock")
    clear = np.abs(y[1000:1400] - x[1000:1400]) > 8
    assert locked >= 0.9 * clear.sum()
    assert {kind for kind, *_ in found} == {"cadence_lock"}


@pytest.mark.parametrize(("length", "found"), [(24, 0), (40, 1)])
def test_a_short_crossing_is_no_lock(length, found):
    t, x, y, steps = heart()
    y[1000:1000 + length] = steps[1000:1000 + length]
    assert sum(kind == "cadence_lock" for kind, *_ in kinds(t, x, y, steps=steps)) == found


def test_half_counts_lost_contact_and_frozen():
    t, x, y, steps = heart()
    y[500:540] = np.round(y[500:540] / 2)
    y[900:960] = 0
    y[1500:1750] = y[1500]
    found = kinds(t, x, y, steps=steps)
    assert [kind for kind, *_ in found] == ["half_or_double", "lost_contact", "lost_contact"]
    assert [abs(start - at) <= 2 for (_, start, _), at in zip(found, (500, 900, 1500), strict=True)] == [True] * 3


def test_speed_drops_out_and_jumps():
    t, x, y, _ = heart()
    x, y = x / 40, y / 40 + 0.001 * (np.arange(N) % 7)
    y[700:720] = 0
    y[2000] = 14
    assert [kind for kind, *_ in kinds(t, x, y, "speed")] == ["dropout", "spike"]


def test_sides():
    rng = np.random.default_rng(3)
    t = np.arange(N, dtype=float)
    x = np.round(2 * (47 + 0.8 * rng.normal(size=N))) / 2
    lost = x.copy()
    lost[300:330] = 100
    assert kinds(t, x, lost, "balance") == [("side_lost", 300, 30)]
    turned = 100 - x
    assert {kind for kind, *_ in kinds(t, x, turned, "balance")} == {"sides_exchanged"}
    assert kinds(t, x, x + 1.2, "balance") == []


def test_a_cough():
    rng = np.random.default_rng(4)
    t = np.cumsum(2 + 0.3 * rng.random(900))
    breaths = 3 + 0.05 * rng.normal(size=900)
    coughed = breaths + 0.03 * rng.normal(size=900)
    coughed[400] += 4
    assert [kind for kind, *_ in kinds(t, breaths, coughed, "oxygen uptake")] == ["cough"]
    assert kinds(t, breaths, breaths + 0.03 * rng.normal(size=900), "oxygen uptake") == []


def test_stops_and_sprints_are_no_faults():
    # A runner stops, and sprints; the watch shows both 3 s later. Stops were called a held value, sprints jumps.
    t = np.arange(N, dtype=float)
    x = 3 + 0.3 * np.sin(t / 50)
    for at in range(300, 3300, 300):
        x[at:at + 40] = 0
        x[at + 120:at + 125] = 9
    y = np.r_[x[:3], x[:-3]] + np.where(np.r_[x[:3], x[:-3]] > 0, 0.01 * (t % 7), 0)
    assert kinds(t, x, y, "speed") == []
    y[1100:1110] = 0  # between two stops the satellites are lost
    assert kinds(t, x, y, "speed") == [("dropout", 1100, 10)]
    y[1110:1160] = y[1110]  # and then one value is held
    x[1110:1160] = np.linspace(2, 4, 50)
    assert [kind for kind, *_ in kinds(t, x, y, "speed")] == ["dropout", "lost_contact"]


@pytest.mark.parametrize(("apart", "found"), [(4, 0), (6, 1)])
def test_a_zero_near_a_stop_is_the_stop(apart, found):
    t = np.arange(N, dtype=float)
    x = 3 + 0.3 * np.sin(t / 50)
    x[1000:1040] = 0
    y = x + 0.01 * (t % 7) * (x > 0)
    y[1039 + apart:1049] = 0
    assert len(kinds(t, x, y, "speed")) == found


def test_twice_a_high_heart_rate_is_named_though_no_heart_has_it():
    t, x, y, steps = heart()
    y[1000:1060] *= 2  # up to 290 bpm: not plausible, and no lost contact
    found = kinds(t, x, y, steps=steps)
    assert [(kind, abs(start - 1000) <= 3, abs(seconds - 60) <= 6) for kind, start, seconds in found] == [
        ("half_or_double", True, True)]


@pytest.mark.parametrize(("scatter", "found"), [(0.03, 1), (0.25, 0)])
def test_breaths_that_scatter_make_no_cough(scatter, found):
    rng = np.random.default_rng(4)
    t = np.arange(N, dtype=float)
    x, y = (np.repeat(3 * (1 + scatter * rng.normal(size=N // 3)), 3) for _ in range(2))
    y[1200:1203] += 1.5
    assert len([kind for kind, *_ in kinds(t, x, y, "oxygen uptake")]) == found
