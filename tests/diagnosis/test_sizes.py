"""Sizes of causes and what is uncertain about them, against derivatives taken in steps and blocks left out in turn."""

import numpy as np
import pytest

from agree import Estimate
from agree.diagnosis.by_second import PIECE_S, Changes, delay
from agree.diagnosis.windows.causes import of_reference


@pytest.mark.parametrize("scale", [True, False])
def test_from_the_mean_of_both_to_the_reference(scale):
    """A slope s on (x + y)/2 is s/(1 - s/2) on x, an offset o is o/(1 - s/2): errors go by the derivatives."""
    slope, error, step = -0.25, 0.01, 1e-6
    size = slope if scale else 3.0
    found = of_reference(Estimate(value=size, low=0, high=0, level=0.95, method="t", standard_error=error, df=20),
                         slope, scale=scale)

    def turned(value):
        return value / (1 - (value if scale else slope) / 2)

    assert found.value == pytest.approx(turned(size))
    derivative = (turned(size + step) - turned(size - step)) / (2 * step)
    assert found.standard_error == pytest.approx(derivative * error, rel=1e-6)


def test_variance_of_a_delay_errs_as_blocks_left_out_say(rng):
    """Blocks of unlike weight: the standard error of their weighted mean of products, by the jackknife."""
    blocks, each = 400, 12
    square = np.repeat(rng.uniform(1, 9, blocks), each) * rng.uniform(0.8, 1.2, blocks * each)
    late = np.repeat(rng.normal(0, 0.5, blocks), each) + rng.normal(0, 0.2, blocks * each)
    sums = np.stack([-late * square, square, np.ones(blocks * each), np.full(blocks * each, float(PIECE_S))])
    made = Changes(sums, np.arange(blocks * each) * PIECE_S / 3600)
    found = delay([made])

    def without(k):
        keep = np.repeat(np.arange(blocks) != k, each)
        return delay([Changes(sums[:, keep], made.hours[keep])]).variance.value

    left = np.array([without(k) for k in range(blocks)])
    jackknife = np.sqrt((blocks - 1) / blocks * np.sum((left - left.mean()) ** 2))
    assert found.variance.value == pytest.approx(0.25, abs=4 * jackknife)
    assert found.variance.standard_error == pytest.approx(jackknife, rel=0.1)
