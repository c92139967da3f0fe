"""What a filter leaves, made fast, against the formula as it stands in the module's words."""

import numpy as np
import pytest

from agree.estimators.response import transfer
from agree.estimators.response.kernels import Kernel, weights_alike
from agree.estimators.response.linear.lowpass import lowpass

KINDS = {"none": 1.0, "running mean": 4.3, "first order": 2.7}


@pytest.fixture(scope="module")
def data():
    rng = np.random.default_rng(5)
    true = np.cumsum(rng.normal(size=900)) + 200
    return transfer.seen(transfer.cross(true + rng.normal(size=900), np.roll(true, 2) + rng.normal(size=900)))


def slow(data, kind, size, delay, share):
    """Weighted squares about b F D c, with complex numbers throughout."""
    h = lowpass(kind, size, data.frequency)
    other = (1 - share) / np.abs(h) ** 2
    s = 2 * share * data.noise / (share + other + np.sqrt((share + other) ** 2 + 4 * share * other * data.noise))
    made = h / (1 + s) * np.exp(-2j * np.pi * data.frequency * delay)
    scale = max(float((data.weight * (data.ratio * made.conj()).real).sum()), 0) / float(
        (data.weight * np.abs(made) ** 2).sum())
    return float((data.weight * np.abs(data.ratio - scale * made) ** 2).sum()), scale


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("share", [0.0, 0.4, 1.0])
def test_one_filter(data, kind, share):
    for delay in (-3.2, 0.0, 1.7):
        assert transfer.misfit_of(data, kind)(KINDS[kind], delay, share) == pytest.approx(
            slow(data, kind, KINDS[kind], delay, share), rel=1e-10)


@pytest.mark.parametrize("kind", KINDS)
def test_all_filters_of_the_grid(data, kind):
    sizes = np.array([KINDS[kind], 1.5 * KINDS[kind]])
    early = sizes if kind == "first order" else np.zeros(2)
    grid = transfer.misfits(data, kind, sizes, early)
    assert grid.shape == (2, transfer.DELAYS_S.size, transfer.SHARES.size)
    for i, j, k in ((0, 0, 0), (1, 30, 2), (0, 64, 4), (1, 11, 3)):
        assert grid[i, j, k] == pytest.approx(
            slow(data, kind, sizes[i], transfer.DELAYS_S[j] - early[i], transfer.SHARES[k])[0], rel=1e-10)


def test_filters_are_alike_within_the_sum_that_is_asked_for_whatever_second_they_begin_at():
    one = Kernel(0, np.array([0.5, 0.5]))
    assert weights_alike(one, Kernel(-1, np.array([0.0, 0.5, 0.5])), 0)  # a weight of zero more is no difference
    other = Kernel(0, np.array([0.49, 0.51]))
    assert weights_alike(one, other, 0.021)
    assert not weights_alike(one, other, 0.019)
    assert not weights_alike(one, Kernel(1, np.array([0.5, 0.5])), 0.9)  # one second later
