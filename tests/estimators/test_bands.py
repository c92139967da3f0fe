"""Bias by band: ratio of sums, edges, resampling, and what each band may say."""

import math

import numpy as np
import pytest

from agree import InputError, bias_by_band
from agree.estimators.bands.together import correlations_between_sessions

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


def wide_errors(seed, n=400):
    rng = np.random.default_rng(seed)
    x = rng.uniform(100, 400, n)
    return x, x + rng.normal(0, 4, n)


def test_quantile_edges_share_the_pairs():
    x, y = wide_errors(1)
    result = bias_by_band(x, y, edges="quantiles", count=7)
    assert result.n_outside == 0
    assert max(band.n for band in result.bands) - min(band.n for band in result.bands) <= 2
    tied = bias_by_band(np.repeat([100.0, 200], 20), np.repeat([101.0, 203], 20), edges="quantiles", count=4)
    assert [band.n for band in tied.bands] == [20, 20] or [band.n for band in tied.bands] == [40]
    assert tied.n_outside == 0
    same = bias_by_band([5.0, 5, 5], [6.0, 6, 6], edges="quantiles")
    assert [band.n for band in same.bands] == [3]


def test_thin_and_empty_bands_are_named():
    notes = [band.note for band in bias_by_band(X, Y, edges=[0, 40, 60, 160, 400]).bands]
    assert notes == ["empty", "one pair", "thin", "thin"]
    alone = bias_by_band(X, Y, edges=[0, 200, 400], sampling="sessions", session=[1, 2, 2, 1, 1, 1, 1, 1])
    assert [band.note for band in alone.bands] == ["thin", "one session"]
    assert [band.note for band in bias_by_band(*wide_errors(2), edges=[100, 250, 400]).bands] == ["", ""]


@pytest.mark.parametrize("scale", ["difference", "percent"])
@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
def test_joint_intervals_are_wider_and_no_wider_than_sidaks_level(sampling, scale):
    x, y = wide_errors(3)
    result = bias_by_band(x, y, edges=[100, 200, 300, 400], joint=True, sampling=sampling, session=np.arange(400) // 50,
                          scale=scale)
    assert 0.95 < result.joint_level <= 0.95 ** (1 / 3)
    for band in result.bands:
        assert band.joint.value == band.bias.value
        assert band.joint.low < band.bias.low < band.bias.high < band.joint.high
        assert band.joint.standard_error >= band.bias.standard_error
        assert band.pooled is None


def test_independent_bands_have_sidaks_level():
    result = bias_by_band(*wide_errors(4, 3000), edges=[100, 150, 200, 250, 300, 350, 400], joint=True)
    assert result.joint_level == pytest.approx(0.95 ** (1 / 6), abs=0.0015)  # 4096 draws


def test_an_error_shared_by_all_bands_needs_less_than_sidaks_level():
    rng = np.random.default_rng(5)
    session = np.repeat(np.arange(12), 50)
    x = rng.uniform(100, 400, 600)
    y = x + rng.normal(0, 3, 12)[session] + rng.normal(0, 0.3, 600)
    result = bias_by_band(x, y, edges=[100, 200, 300, 400], joint=True, sampling="sessions", session=session,
                          scale="difference")
    assert result.joint_level < 0.965


def test_pooling_draws_towards_the_mean_and_helps_on_average():
    """Eight bands, true bias of SD 0.5, known to SD 1: pooled figures have the smaller error, and cover."""
    rng, raw, pooled, hits = np.random.default_rng(6), [], [], []
    edges = np.arange(9) * 10.0
    x = np.repeat(edges[:-1] + 5, 16)
    for _ in range(120):
        truth = np.repeat(rng.normal(0, 0.5, 8), 16)
        result = bias_by_band(x, x + truth + rng.normal(0, 4, 128), edges=edges, scale="difference", pool=True)
        for band, true in zip(result.bands, truth[::16], strict=True):
            raw.append(band.bias.value - true)
            pooled.append(band.pooled.value - true)
            hits.append(band.pooled.low <= true <= band.pooled.high)
    assert np.square(pooled).mean() < 0.7 * np.square(raw).mean()
    assert np.mean(hits) > 0.92


def test_bands_that_differ_by_more_than_chance_are_hardly_drawn():
    x, _ = wide_errors(7)
    result = bias_by_band(x, x + np.floor(x / 50) + np.tile([-0.1, 0.1], 200), edges=np.arange(100, 450, 50), pool=True,
                          scale="difference")
    assert result.between_sd > 1
    for band in result.bands:
        assert band.pooled.value == pytest.approx(band.bias.value, abs=0.01)


def test_three_bands_are_too_few_to_pool():
    result = bias_by_band(*wide_errors(8), edges=[100, 200, 300, 400], pool=True)
    assert [band.pooled for band in result.bands] == [None] * 3
    assert math.isnan(result.between_sd)


@pytest.mark.parametrize(("options", "text"), [
    ({"joint": 1}, "`joint` must be True or False; got 1"), ({"pool": "yes"},
                                                             "`pool` must be True or False; got 'yes'"),
    ({"edges": "quantiles", "count": 0}, "`count` must be a whole number of 1 or more; got 0"),
    ({"edges": "quantiles", "count": 2.0}, "`count` must be a whole number of 1 or more; got 2.0")])
def test_band_options_that_cannot_be_used(options, text):
    with pytest.raises(InputError) as caught:
        bias_by_band(X, Y, **{"edges": [0, 400], **options})
    assert str(caught.value) == text


def test_bands_that_go_with_the_session_alone_need_no_more_than_one(rng):
    """Over sessions whose shift is that of every band, the bands are one: all intervals hold at once at their level."""
    x = np.tile(np.linspace(100, 300, 400), 5)
    session = np.repeat(np.arange(5), 400)
    y = x + np.array([-2.0, 1.0, 0.5, 3.0, -1.0])[session]
    found = bias_by_band(x, y, edges=[100, 200, 301], joint=True, sampling="sessions", session=session)
    for band in found.bands:
        assert band.joint.high - band.joint.low == pytest.approx(band.bias.high - band.bias.low, rel=0.12)
    own = y + np.where(x < 200, 1, -1) * np.array([2.0, -3.0, 1.0, 2.0, -2.0])[session]
    for band in bias_by_band(x, own, edges=[100, 200, 301], joint=True, sampling="sessions", session=session).bands:
        assert band.joint.high - band.joint.low > 1.12 * (band.bias.high - band.bias.low)


def test_correlations_are_those_of_the_sessions_means(rng):
    """A band in all sessions, one that is wider, and one without scatter, which goes with nothing."""
    session = np.repeat(np.arange(6), 10)
    phi = np.stack([rng.normal(0, 1, 60), rng.normal(0, 5, 60), np.full(60, 2.0)])
    found = correlations_between_sessions(phi, np.ones((3, 60), bool), session)
    means = phi.reshape(3, 6, 10).mean(axis=2)
    assert found[:2, :2] == pytest.approx(np.corrcoef(means[:2]), abs=1e-12)
    assert found[2] == pytest.approx([0, 0, 0], abs=1e-12)
