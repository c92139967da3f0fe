"""What long recordings are made fast by, against the same written plainly."""

import math

import numpy as np
import pytest
from scipy import fft, ndimage

from agree import InputError, read_recording
from agree.faults.slow.coefficient import BAND, coefficient
from agree.pairing.clocks.lag_path import correlations
from agree.pairing.clocks.smoothness import alike_changes

RNG = np.random.default_rng(5)


def with_gaps(size):
    return np.where(RNG.random(size) < 0.1, np.nan, RNG.normal(size=size))


@pytest.mark.parametrize("lag", [-190, -3, 0, 7, 300])
def test_likeness_near_a_lag(lag):
    a, b = with_gaps(200), with_gaps(180)
    found = []
    for by in range(lag - 2, lag + 3):
        both = [(a[k], b[k + by]) for k in range(200) if 0 <= k + by < 180 and np.isfinite(a[k] + b[k + by])]
        u, v = np.array(both).T if both else (np.zeros(1), np.zeros(1))
        found.append(u @ v / math.sqrt(u @ u * (v @ v)) if u @ u * (v @ v) > 0 else -1.0)
    assert alike_changes(a, b, lag) == pytest.approx(max(found))


def test_correlation_of_each_window_at_each_lag():
    u, v = with_gaps(150), with_gaps(160)
    r, count = correlations(u, v, np.array([-20, 0, 31]))
    assert r.shape == (4, 3)
    for window, k in np.ndindex(4, 3):
        lag = (-20, 0, 31)[k]
        both = [(u[t], v[t + lag]) for t in range(30 * window, min(30 * window + 60, 150))
                if 0 <= t + lag < 160 and np.isfinite(u[t] + v[t + lag])]
        one, two = np.array(both).T
        assert r[window, k] == pytest.approx(one @ two / math.sqrt(one @ one * (two @ two)), abs=1e-6)
        assert count[window, k] == len(both)


def test_coefficient_beside_a_base():
    """By one QR of base and row, and the cosines of all of them, as its docstring has it."""
    t = np.arange(300)
    base = np.stack([np.ones(300), t / 300, np.cos(np.pi * (t + 0.5) / 300)])
    error, row = RNG.normal(size=300).cumsum(), (t >= 170).astype(float)
    basis, _ = np.linalg.qr(np.vstack([base, row]).T)
    free, basis = basis[:, -1], basis[:, :-1]
    rest = error - basis @ (basis.T @ error)
    squares = fft.dct(np.vstack([rest - free @ rest * free, free, basis.T]), norm="ortho") ** 2
    left = ndimage.uniform_filter1d(np.maximum(1 - squares[1:].sum(axis=0), 0), 2 * BAND + 1)
    level = ndimage.uniform_filter1d(squares[0], 2 * BAND + 1) / np.maximum(left, 1 / (2 * BAND + 1))
    found = coefficient(row, base, error)
    assert found.value == pytest.approx(free @ rest / (free @ row))
    assert found.se == pytest.approx(math.sqrt(squares[1] @ level) / abs(free @ row))
    assert coefficient(2 * base[0] - base[1], base, error) == (0.0, math.inf)


def stamped(*cells):
    return read_recording("\n".join(["time,power", *(f"{cell},200" for cell in cells), ""]).encode())


def test_stamps_all_alike_are_read_as_others_are():
    plain = stamped("2024-02-28T23:59:59Z", "2024-02-29T00:00:00Z", "2024-03-01T00:00:01Z")
    mixed = stamped("2024-02-28T23:59:59Z", "2024-02-29T00:00:00.0Z", "2024-03-01T00:00:01Z")
    assert plain.time.tolist() == mixed.time.tolist()
    assert (plain.clock, plain.start) == (mixed.clock, mixed.start) == ("utc", "2024-02-28T23:59:59Z")
    for bad in ("2024-02-30T00:00:00Z", "2024-02-29T24:00:01Z", "2024-02-29T00:60:00Z", "2024-13-01T00:00:00Z",
                "2024-03-01T00:00:00"):
        with pytest.raises(InputError, match="row 4: found"):
            stamped("2024-02-28T23:59:59Z", "2024-02-29T00:00:00Z", bad)
