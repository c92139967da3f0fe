"""Ratio of error variances from replicates: F interval, scale, coverage, errors."""

import numpy as np
import pytest

from agree import InputError, SampleSizeError, variance_ratio


def made(seed, shape=(6, 5), ratio=2.0):
    rng = np.random.default_rng(seed)
    level = rng.uniform(100, 300, (shape[0], 1))
    return level + rng.normal(0, 2, shape), level + rng.normal(0, 2 * ratio**0.5, shape)


def test_interval_is_that_of_the_f_distribution(oracle):
    stats = oracle("scipy.stats")
    x, y = made(1)
    result = variance_ratio(x, y, level=0.9)
    vx, vy = (v.var(axis=1, ddof=1).mean() for v in (x, y))
    assert result.ratio.value == pytest.approx(vy / vx, rel=1e-12)
    assert result.ratio.low == pytest.approx(vy / vx / stats.f.ppf(0.95, 24, 24), rel=1e-10)
    assert result.ratio.high == pytest.approx(vy / vx * stats.f.ppf(0.95, 24, 24), rel=1e-10)
    assert (result.df_reference, result.df_device) == (24, 24)


def test_unlike_shapes_have_their_own_degrees_of_freedom(oracle):
    stats = oracle("scipy.stats")
    x, y = made(2)
    result = variance_ratio(x[:3, :2], y)
    assert (result.df_reference, result.df_device) == (3, 24)
    assert result.ratio.high == pytest.approx(result.ratio.value * stats.f.ppf(0.975, 3, 24), rel=1e-10)


@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
def test_exchange_inverts_and_scale_squares(sampling):
    x, y = made(3)
    one = variance_ratio(x, y, sampling=sampling).ratio
    other = variance_ratio(y, x, sampling=sampling).ratio
    assert [other.low, other.value, other.high] == pytest.approx([1 / one.high, 1 / one.value, 1 / one.low])
    for factor in (3.0, 1e150):
        wide = variance_ratio(x, factor * y, sampling=sampling).ratio
        assert [wide.low, wide.high] == pytest.approx([factor**2 * one.low, factor**2 * one.high])


@pytest.mark.parametrize("sampling", ["independent", "sessions"])
def test_interval_covers(sampling):
    items = [variance_ratio(*made(k, (15, 6)), sampling=sampling).ratio for k in range(500)]
    assert 0.92 <= np.mean([item.low <= 2 <= item.high for item in items]) <= 0.98


@pytest.mark.parametrize(("x", "y", "options", "text", "error"), [
    ([1, 2, 3], [[1, 2]], {}, "`reference_replicates` must have one row for each block and one column for each "
     "reading; got shape (3,)", InputError),
    ([[1, 2]], [[1], [2]], {}, "`device_replicates` needs at least 2 readings in each block; got 1", SampleSizeError),
    ([[1, 2]], [[5, 5]], {}, "`device_replicates` does not vary within any block: a resolution coarser than the error "
     "tells nothing of it", InputError),
    ([[1, 2]], [[1, float("nan")]], {}, "`device_replicates` holds 1 NaN or infinite value(s); leave the block out",
     InputError),
    ([[1, 2]], [[1, 2, 3]], {"sampling": "serial"}, "sampling='serial' needs both devices' readings of the same "
     "seconds; got shapes (1, 2) and (1, 3)", InputError),
    ([[1, 2]], [[1, 3]], {"sampling": "sessions"}, "sampling='sessions' needs at least 2 sessions; got 1",
     SampleSizeError),
])
def test_replicates_that_cannot_be_used(x, y, options, text, error):
    with pytest.raises(error) as caught:
        variance_ratio(x, y, **options)
    assert str(caught.value) == text
