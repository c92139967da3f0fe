"""Smooth bias: spline space, least squares, unit, coverage at one place and everywhere."""

import math

import numpy as np
import pytest

from agree import InputError, SampleSizeError, bias_by_band, bias_curve
from agree.estimators import joint
from agree.estimators.bands.curve import _basis


def made(seed, n=120):
    rng = np.random.default_rng(seed)
    x = rng.uniform(100, 400, n)
    return x, x + 3 - 0.02 * x + rng.normal(0, 4, n)


def test_basis_is_straight_beyond_the_outer_knots_and_smooth_at_all():
    knots = np.array([0.0, 1.0, 2.5, 4.0])
    for far in (np.linspace(-3, 0, 20), np.linspace(4, 9, 20)):
        assert np.abs(np.diff(_basis(far, knots), 2, axis=0)).max() < 1e-10
    fine = np.linspace(-1, 5, 60_001)
    assert np.abs(np.diff(_basis(fine, knots), 2, axis=0) / 1e-8).max() < 50  # second derivative stays finite
    assert np.abs(np.diff(_basis(fine, knots), 3, axis=0) / 1e-8).max() < 1e-2  # and does not jump


def test_two_knots_are_least_squares():
    x, y = made(1)
    curve = bias_curve(x, y, knots=2, at=[150, 300], scale="difference")
    b, a = np.polyfit(x, y - x, 1)
    assert curve.value == pytest.approx([a + 150 * b, a + 300 * b], rel=1e-9)


def test_a_cubic_error_that_the_space_holds_is_found_exactly():
    x = np.linspace(100, 400, 60)
    curve = bias_curve(x, x + 2 - 0.01 * x, at=[120, 250, 390], scale="difference")
    assert curve.value == pytest.approx(2 - 0.01 * np.array([120, 250, 390]), abs=1e-9)
    assert curve.high - curve.low == pytest.approx(0, abs=1e-7)


def test_standard_error_agrees_with_the_bootstrap():
    x, y = made(2, 300)
    options = {"at": [130, 250, 380], "scale": "difference"}
    rng = np.random.default_rng(0)
    draws = np.std([bias_curve(x[k], y[k], **options).value for k in rng.integers(0, 300, (300, 300))], axis=0)
    curve = bias_curve(x, y, **options)
    assert (curve.high - curve.low) / 2 / 1.97 == pytest.approx(draws, rel=0.15)


def test_percent_is_of_the_level():
    x, y = made(3)
    one, other = (bias_curve(x, y, at=[200.0], scale=scale) for scale in ("difference", "percent"))
    assert other.value[0] == pytest.approx(one.value[0] / 2)
    assert other.joint_high[0] == pytest.approx(one.joint_high[0] / 2)


def test_percent_over_another_column_is_of_the_reference_there():
    x, _ = made(4)
    curve = bias_curve(x, 1.03 * x, by=x / 75, at=[2, 4], knots=3)
    assert curve.value == pytest.approx([3, 3], abs=1e-9)


def test_joint_band_holds_everywhere_and_is_the_wider():
    hits, alone = [], []
    for k in range(200):
        curve = bias_curve(*made(k), scale="difference")
        truth = 3 - 0.02 * curve.at
        hits.append(((curve.joint_low <= truth) & (truth <= curve.joint_high)).all())
        alone.append(curve.low[20] <= truth[20] <= curve.high[20])
        assert (curve.joint_low <= curve.low).all()
    assert 0.9 <= np.mean(hits) <= 0.99
    assert 0.9 <= np.mean(alone) <= 0.99


@pytest.mark.parametrize("factor", [1e-290, 1e290])
def test_a_change_of_unit(factor):
    x, y = made(5)
    one, other = bias_curve(x, y), bias_curve(x * factor, y * factor)
    assert other.joint_low == pytest.approx(one.joint_low, rel=1e-7, abs=1e-8)


@pytest.mark.parametrize(("options", "text", "error"), [
    ({"knots": 1}, "`knots` must be a whole number from 2 to 10; got 1", InputError),
    ({"at": [math.nan]}, "`at` must hold at least one finite level", InputError),
    ({"at": [-5.0, 5.0]}, "scale='percent' needs a positive reference; got -5 at a level of -5: set `at`, or use "
     "scale='difference'", InputError),
    ({"by": [1, 2]}, "`by` must have one value for each pair; got 2 for 6 pairs", InputError),
    ({"by": [3] * 6},
     "no curve: the level does not vary between its 5th and 95th percentile; record a wider range of power",
     InputError),
    ({"by": [1, 2, 3, 4, 5, math.inf]}, "`by` must hold finite numbers; got inf", InputError),
    ({"by": [1, 1, 2, 2, 3, 3]}, "no curve: too few distinct levels for 4 knots; ask for fewer", InputError),
    ({"knots": 10}, "a curve with 10 knots needs more than 10 pairs; got 6", SampleSizeError),
])
def test_options_that_cannot_be_used(options, text, error):
    with pytest.raises(error) as caught:
        bias_curve([100, 150, 200, 250, 300, 350], [103, 151, 208, 254, 312, 357], **options)
    assert str(caught.value) == text


def test_law_of_the_largest_t_against_what_is_known(oracle):
    """One estimate: Student's t. Unrelated ones: Sidak's. The same one twice: as one."""
    stats = oracle("scipy.stats")
    for df in (8, 30, 200, math.inf):
        for root, one in ((np.ones((1, 1)), 0.95), (np.eye(5), 0.95**0.2), (np.ones((4, 1)), 0.95)):
            found = np.quantile(joint.largest_t(root, df), 0.95)
            # The level that this t has is known to 3 Monte-Carlo errors of 4096 draws.
            level = 1 - 2 * stats.t.sf(found, df)
            assert (1 - level) / (1 - one) == pytest.approx(1, abs=3 * math.sqrt(0.95 / 0.05 / 4096) + 0.01)


def test_correlation_by_chance_is_taken_out():
    rng = np.random.default_rng(1)
    draws = rng.normal(size=(6, 8))
    chance = joint.shrunk(draws @ draws.T, 8)
    assert np.abs(chance - np.eye(6)).max() < 0.6 * np.abs(np.corrcoef(draws) - np.eye(6)).max()
    common = rng.normal(size=(1, 400)) + 0.1 * rng.normal(size=(6, 400))
    assert joint.shrunk(common @ common.T, 400)[0, 1] > 0.95


def test_bands_jointly_hold_at_once():
    """Independent pairs: 95 % of 200 runs within 3 Monte-Carlo errors."""
    hits = []
    for k in range(200):
        x, y = made(k, 200)
        rng = np.random.default_rng([k, 1])
        y = x + rng.normal(0, 4, 200)
        bands = bias_by_band(x, y, edges=[0, 150, 200, 250, 300, 350, 500], joint=True, scale="difference").bands
        hits.append(all(band.joint.low <= 0 <= band.joint.high for band in bands))
    assert 0.9 <= np.mean(hits) <= 0.99
