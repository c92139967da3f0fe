"""Responses that no linear filter describes: a lag slower one way, and readings held after pedalling ends."""

from pathlib import Path

import numpy as np
import pytest

from agree import Pairs, pair_recordings
from agree.core.data.held_readings import held
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matched_columns import matched, with_energy
from agree.estimators.response.matching import find_filter
from agree.estimators.response.nonlinear import fit_uneven
from agree.estimators.response.nonlinear.any_filter import answered, through
from agree.estimators.response.nonlinear.fit_holding import held_seconds, may_hold
from agree.estimators.response.nonlinear.holding import Holding
from agree.estimators.response.nonlinear.uneven import Uneven
from agree.faults.detect import find_faults

NONE = Kernel(0, np.ones(1))

RIDES = Path(__file__).parents[1] / "data" / "rides"


def ride(seconds=1800, stops=20, seed=1):
    """Power that changes, with stops of 6 to 20 s."""
    rng = np.random.default_rng(seed)
    x = 200 + 40 * np.sin(np.arange(seconds) / 30) + np.repeat(rng.normal(0, 45, seconds // 10), 10)
    for start in np.linspace(60, seconds - 80, stops).astype(int):
        x[start:start + rng.integers(6, 21)] = 0
    return np.where(x > 0, np.maximum(x, 20), 0), rng


def noisy(x, sd, rng):
    return np.rint(np.where(x >= 0.5, np.maximum(x + rng.normal(0, sd, x.size), 1), 0))


def uneven(x, up, down):
    y = np.zeros(x.size)
    for i in range(1, x.size):
        y[i] = y[i - 1] + (x[i] - y[i - 1]) * -np.expm1(-1 / (up if x[i] > y[i - 1] else down))
    return y


def test_it_is_worked_out_in_pieces_as_second_by_second():
    x, _ = ride(1000)
    assert np.abs(Uneven(4.0, 1.5, 0.0).through(x)[1:] - uneven(np.r_[x[0], x], 4.0, 1.5)[2:])[60:].max() < 0.01
    late = Uneven(4.0, 1.5, 2.0)
    assert np.allclose(late.through(x)[200:], Uneven(4.0, 1.5, 0.0).through(x)[198:-2], atol=0.01)


def test_what_is_unknown_stays_so_until_it_is_forgotten():
    x, _ = ride(600)
    x[300] = np.nan
    y = answered(x, Uneven(2.0, 1.0, 0.0))
    assert np.isnan(y[300:312]).all()
    assert np.isfinite(y[330:]).all()
    assert np.isnan(held(np.array([100, np.nan, 0, 0, 0, 90.0]), 2)).tolist() == [0, 1, 1, 1, 0, 0]
    assert through(np.array([100.0, 100, 0, 0, 0]), Holding(2, Kernel(1, np.ones(1)))).tolist() == [100] * 4 + [100.0]


@pytest.mark.parametrize(("up", "down"), [(4.0, 1.5), (1.5, 5.0)])
@pytest.mark.parametrize("swapped", [False, True])
def test_two_constants_are_found_either_way_round(up, down, swapped):
    true, rng = ride()
    x, y = noisy(true, 4, rng), noisy(uneven(true, up, down), 3, rng)
    made = find_filter(*((y, x) if swapped else (x, y)))
    assert made.smoother == ("reference" if swapped else "device")
    assert made.constants.up.low <= up <= made.constants.up.high
    assert made.constants.down.low <= down <= made.constants.down.high
    assert made.constants.up.high - made.constants.up.low < 0.15 * up


@pytest.mark.parametrize("tau", [2.5, 4.0])
def test_an_even_lag_has_one(tau):
    true, rng = ride()
    made = find_filter(noisy(true, 4, rng), noisy(uneven(true, tau, tau), 3, rng))
    assert made.choice.kind == "first order"
    assert made.constants is None


@pytest.mark.parametrize("seconds", [1, 2, 3, 5])
@pytest.mark.parametrize("swapped", [False, True])
def test_seconds_held_at_stops_are_found(seconds, swapped):
    true, rng = ride()
    x, y = noisy(true, 4, rng), noisy(held(true, seconds), 3, rng)
    made = find_filter(*((y, x) if swapped else (x, y)))
    assert (made.kernel.seconds, made.smoother) == (seconds, "reference" if swapped else "device")


def test_held_and_slow():
    true, rng = ride()
    made = find_filter(noisy(true, 4, rng), noisy(uneven(held(true, 3), 2.0, 2.0), 3, rng))
    assert made.kernel.seconds == 3
    assert made.choice.size.value == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize("device", [lambda x: held(x, 3), lambda x: uneven(x, 4.0, 1.5)])
def test_what_the_response_does_to_energy_stays_in_the_mean_whichever_seconds_are_used(device):
    true, rng = ride()
    x, y = noisy(true, 4, rng), noisy(device(true), 3, rng)
    made = find_filter(x, y)
    record = matched(made, x, y)
    known = np.isfinite(record.reference) & np.isfinite(record.device)
    error = 100 * (y[known].sum() / x[known].sum() - 1)
    assert abs(error) > 2
    tails = (x == 0) & (y > 0)
    for used in (known, known & ~tails, known & (np.arange(x.size) // 100 % 3 > 0)):
        record = with_energy(matched(made, x, y), made, (x, y), used)
        assert record.energy == pytest.approx(1 + error / 100, abs=0.003)
        u, v = record.reference[used], record.device[used]
        assert 100 * (v.sum() / u.sum() - 1) == pytest.approx(error, abs=0.1)
    u, v = (column[known] for column in record.answered)
    assert v.sum() / u.sum() == pytest.approx(1, abs=0.003)  # noise of the sharper trace is answered unevenly too


def test_a_linear_filter_keeps_energy():
    x, _ = ride()
    made = find_filter(x, uneven(x, 3.0, 3.0))
    record = matched(made, x, uneven(x, 3.0, 3.0))
    assert with_energy(record, made, (x, x), x > 0) is record


@pytest.mark.parametrize("swapped", [False, True])
def test_beside_a_device_that_holds_the_dropouts_are_its_own(swapped):
    """Each was told of the reference too, and the mean was off by up to 0.7 points."""
    true, rng = ride()
    x, y = noisy(true, 4, rng), noisy(held(true, 3), 3, rng)
    error = 100 * (y.sum() / x.sum() - 1)
    work = np.flatnonzero(y > 60)
    for start in rng.choice(work[(work > 50) & (work < 1700)], 45, replace=False):
        y[start:start + int(rng.integers(1, 5))] = 0
    frames = [{"time_s": np.arange(x.size), "power_W": trace} for trace in (x, y)]
    pairs = pair_recordings(*(frames[::-1] if swapped else frames))
    assert {fault.kind for fault in pairs.faults} == {"reference_dropout" if swapped else "device_dropout"}
    u, v = (column[pairs.used] for column in (pairs.matched_reference, pairs.matched_device))
    mean = 100 * (u.sum() / v.sum() - 1) if swapped else 100 * (v.sum() / u.sum() - 1)
    assert mean == pytest.approx(error, abs=0.15)


def test_many_stops_in_one_part_of_a_ride_are_no_drift():
    """Stops that a device shows 3 s later, all in the second half, passed for a drift of 234 ppm."""
    true, rng = ride(3600, stops=70, seed=3)
    steady = ride(3600, stops=1, seed=4)[0]
    true[:1800] = steady[:1800]
    pairs = pair_recordings(*({"time_s": np.arange(3600), "power_W": trace}
                              for trace in (noisy(true, 4, rng), noisy(held(true, 3), 3, rng))))
    assert pairs.matched.held_s == 3
    assert abs(pairs.alignment.drift_ppm) < 30


# --- thresholds ---

@pytest.mark.parametrize(("slope", "t", "fitted"), [  # UNEVEN_SCREEN, UNEVEN_SCREEN_T
    (-0.081, -10.1, True), (-0.079, -10.1, False), (-0.081, -9.9, False)])
def test_two_constants_are_tried_where_errors_go_with_changes(slope, t, fitted, monkeypatch):
    x, _ = ride()
    y = uneven(x, 4.0, 1.5)
    monkeypatch.setattr(fit_uneven, "unevenness", lambda made, smooth: (slope, t))
    made = fit_uneven.two_constants(x, y, answered(x, Kernel(0, 0.7 ** np.arange(20) * 0.3)), 2.6, 0.0)
    assert (made is not None) == fitted


@pytest.mark.parametrize(("down", "two"), [(4.8, False), (5.2, True)])  # UNEVEN_RATIO
def test_constants_that_are_nearly_one_are_one(down, two):
    x, _ = ride()
    assert (find_filter(x, uneven(x, 4.0, down)).constants is not None) == two


@pytest.mark.parametrize(("sd", "two"), [(3, True), (45, False)])  # UNEVEN_LEFT
def test_two_constants_that_leave_hardly_less_are_none(sd, two, monkeypatch):
    x, rng = ride()
    monkeypatch.setattr(fit_uneven, "unevenness", lambda made, smooth: (0.3, 20.0))
    y = uneven(x, 2.0, 3.0)
    made = find_filter(x, y)
    found = fit_uneven.two_constants(x, y + rng.normal(0, sd, x.size), uneven(x, 2.45, 2.45), 2.45, 0.0)
    assert made.constants is not None
    assert (found is not None) == two


def stopping(holding, lengths):
    """A ride with stops of given lengths; the device holds 2 s at the first `holding` ones."""
    x = np.full(40 * len(lengths) + 40, 200.0)
    y = x.copy()
    for k, length in enumerate(lengths):
        start = 40 * (k + 1)
        x[start:start + length] = 0
        y[start + (2 if k < holding else 0):start + length] = 0
    return x, y


@pytest.mark.parametrize(("holding", "lengths", "seconds"), [
    (3, [8] * 3, 0), (4, [8] * 4, 2),                                  # HOLD_STOPS
    (6, [12] * 10, 0), (7, [12] * 10, 2),                              # HOLD_LEFT
    (5, [3] * 5 + [12] * 5, 0), (6, [3] * 6 + [12] * 4, 2)])           # HOLD_STOPS_SHARE
def test_most_stops_must_show_it(holding, lengths, seconds):
    assert held_seconds(*stopping(holding, lengths), NONE) == seconds


@pytest.mark.parametrize(("share", "tried"), [(0.44, False), (0.46, True)])  # HOLD_SCREEN: 0.15 over 3 s
def test_holding_is_tried_where_stops_leave_enough(share, tried):
    x, y = stopping(0, [8] * 6)
    y[(x == 0) & (np.r_[0, x[:-1]] > 0)] = 200 * share
    assert may_hold(x, y, NONE) == tried


def test_pairs_without_a_match_are_as_recorded():
    from agree.core.data.answered_pairs import answered_columns
    pairs = Pairs(reference=[100, 200], device=[101, 201])
    assert answered_columns(pairs) == (pairs.reference, pairs.device)


def test_a_device_that_is_slow_above_some_power_makes_no_dropouts():
    """Above 200 W it shows a mean over 10 s; at the end of stops its budgets lack a lot: 12 dropouts were told."""
    rng, n = np.random.default_rng(8), 3800
    table = np.genfromtxt(RIDES / "single-road-stops.csv", delimiter=",", names=True)
    true = np.zeros(n)
    at = table["time_s"].astype(int)
    true[at[at < n]] = np.nan_to_num(table["power_W"][at < n])
    slow, slower = (np.convolve(np.r_[np.zeros(width - 1), true], np.ones(width) / width, "valid") for width in (8, 10))
    device = np.where(true > 200, slower, true)
    x, y = (np.rint(np.where(one > 0.5, np.maximum(one + rng.normal(0, sd, n), 1), 0.0)) for one, sd in (
        (slow, 3), (device, 2)))
    found = find_faults(x, y, find_filter(x, y)).found
    assert sum(one.kind == "dropout" for one in found) <= 3
