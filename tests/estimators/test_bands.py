"""Bias by band: ratio of sums, edges, resampling, and what each band may say."""

import math

import numpy as np
import pytest

from agree import InputError, bias_by_band

X = np.array([100.0, 150, 199, 200, 250, 299.5, 300, 50])
Y = X * 1.02 + np.array([1.0, -1, 2, -2, 1, 0, 3, 5])


def test_a_band_holds_its_low_edge_and_not_its_high():
    result = bias_by_band(X, Y, edges=[100, 200, 300])
    assert [band.n for band in result.bands] == [3, 3]
    assert result.n_outside == 2
    for band, chosen in zip(result.bands, (X[:3], X[3:6]), strict=True):
        pick = np.isin(X, chosen)
        assert band.bias.value == pytest.approx(100 * (Y[pick] - X[pick]).sum() / X[pick].sum(), rel=1e-13)


def test_difference_scale_is_the_mean_error_with_its_t_interval(oracle):
    weightstats = oracle("statsmodels.stats.weightstats")
    band = bias_by_band(X, Y, edges=[-math.inf, math.inf], scale="difference", level=0.9).bands[0]
    other = weightstats.DescrStatsW(Y - X)
    assert band.bias.value == pytest.approx(other.mean)
    assert (band.bias.low, band.bias.high) == pytest.approx(other.tconfint_mean(alpha=0.1))


def test_ratio_standard_error_agrees_with_jackknife_and_bootstrap():
    rng, n = np.random.default_rng(1), 300
    x = rng.uniform(100, 300, n)
    y = 1.01 * x + rng.normal(0, 6, n)

    def percent(i):
        return 100 * ((y[i] - x[i]).sum() / x[i].sum())

    out = np.array([percent(np.delete(np.arange(n), i)) for i in range(n)])
    jackknife = math.sqrt((n - 1) / n * np.square(out - out.mean()).sum())
    bootstrap = np.std([percent(i) for i in rng.integers(0, n, (1500, n))])
    found = bias_by_band(x, y, edges=[0, 1000]).bands[0].bias.standard_error
    assert found == pytest.approx(jackknife, rel=0.01)
    assert found == pytest.approx(bootstrap, rel=0.06)


def test_below_two_pairs_a_band_is_unbounded():
    empty, single, _ = bias_by_band(X, Y, edges=[0, 40, 60, 400]).bands
    assert (empty.n, single.n) == (0, 1)
    assert math.isnan(empty.bias.value)
    assert single.bias.value == pytest.approx(12.0)
    for band in (empty, single):
        assert (band.bias.low, band.bias.high) == (-math.inf, math.inf)


def test_a_band_seen_in_one_session_is_unbounded():
    result = bias_by_band(X, Y, edges=[0, 200, 400], sampling="sessions", session=[1, 2, 2, 1, 1, 1, 1, 1])
    low, high = (band.bias for band in result.bands)
    assert math.isfinite(low.low)
    assert (high.low, high.high) == (-math.inf, math.inf)


def test_banding_by_another_column():
    by = np.arange(8.0)
    first, second = bias_by_band(X, Y, edges=[0, 4, 8], by=by, scale="difference").bands
    assert (first.bias.value, second.bias.value) == pytest.approx(((Y - X)[:4].mean(), (Y - X)[4:].mean()))


def test_omitted_pairs_take_their_band_with_them():
    y = Y.copy()
    y[0] = math.nan
    kept = bias_by_band(X, y, edges=[0, 4, 8], by=np.arange(8.0), nan_policy="omit")
    assert [band.n for band in kept.bands] == [3, 4]


@pytest.mark.parametrize(("edges", "shown"), [([100], "[100.0]"), ([200, 100], "[200.0, 100.0]"),
                                              ([1, 1], "[1.0, 1.0]"), ([0, math.nan], "[0.0, nan]")])
def test_edges_must_increase(edges, shown):
    with pytest.raises(InputError) as caught:
        bias_by_band(X, Y, edges=edges)
    assert str(caught.value) == f"`edges` must be at least two increasing numbers; got {shown}"


def test_percent_of_no_positive_reference_is_nothing():
    low, high = bias_by_band([0, 0, 100, 110], [0, 1, 100, 111], edges=[0, 50, 150]).bands
    assert math.isnan(low.bias.value)
    assert (low.n, low.bias.low, low.bias.high) == (2, -math.inf, math.inf)
    assert low.bias.method == "no positive reference"
    assert high.bias.value == pytest.approx(100 / 210)


def test_by_must_have_one_value_a_pair():
    with pytest.raises(InputError) as caught:
        bias_by_band(X, Y, edges=[0, 400], by=[1, 2, 3])
    assert str(caught.value) == "`by` must have one value for each pair; got 3 for 8 pairs"
