"""Lines on a level over few sessions: leaving out a session, degrees of freedom, coverage where one has no range."""

import math

import numpy as np
import pytest

from agree import InputError, regression_limits
from agree.core.interval.engine import t_quantile
from agree.estimators.limits.level_lines import sessions_df, trend_of, trend_over_sessions


def sessions(rng, count, narrow=False, sizes=(40, 160)):
    """Errors with an offset and a slope of each session; the first may have hardly any range."""
    size = rng.integers(*sizes, count)
    label = np.repeat(np.arange(count), size)
    level = rng.uniform(100, 300, label.size)
    if narrow:
        level[label == 0] = rng.uniform(180, 220, size[0])
    error = (rng.normal(0, 3, count)[label] + rng.normal(0, 0.02, count)[label] * (level - 200)
             + rng.normal(0, 4, label.size))
    return level, level + error, label


@pytest.mark.parametrize("spread", ["line", "constant"])
def test_standard_error_is_that_of_leaving_out_each_session(spread, rng):
    x, y, label = sessions(rng, 5)
    found = regression_limits(x, y, against="reference", spread=spread, sampling="sessions", session=label)
    rest = []
    for k in range(5):
        keep = label != k
        part = regression_limits(x[keep], y[keep], against="reference", spread=spread, sampling="sessions",
                                 session=label[keep])
        rest.append([part.slope.value, part.intercept.value, part.sd_intercept.value])
    whole = np.array([found.slope.value, found.intercept.value, found.sd_intercept.value])
    about = 4 * (whole - rest)  # influences of the sessions
    expected = np.sqrt(np.square(about - about.mean(axis=0)).sum(axis=0) / (5 * 4))
    errors = [item.standard_error for item in (found.slope, found.intercept, found.sd_intercept)]
    assert errors == pytest.approx(expected.tolist(), rel=1e-8)


def test_degrees_of_freedom_count_the_sessions_that_tell():
    label = np.repeat(np.arange(4), 50)
    wide = np.tile(np.linspace(-1, 1, 50), 4)
    narrow = np.where(label == 0, wide / 100, wide)
    rng = np.random.default_rng(3)
    errors = rng.normal(size=200)
    for u, slope_df in ((wide, 3), (narrow, 2)):
        pull = trend_over_sessions(u, errors, label, bias=True, spread=True).pull
        assert sessions_df(pull, np.array([1.0, 0, 0, 0])) == pytest.approx(3, abs=1e-6)
        assert sessions_df(pull, np.array([0, 1.0, 0, 0])) == pytest.approx(slope_df, abs=1e-3)
        assert sessions_df(pull, np.array([0, 0, 0, 1.0])) == pytest.approx(slope_df, abs=1e-3)


def test_interval_has_these_degrees_of_freedom(rng):
    x, y, label = sessions(rng, 4, narrow=True)
    item = regression_limits(x, y, against="reference", sampling="sessions", session=label).slope
    assert 1 <= item.df < 2.5
    assert item.high - item.value == pytest.approx(t_quantile(0.95, item.df) * item.standard_error)


def test_sessions_count_alike_and_independent_pairs_are_as_before(rng):
    x, y, label = sessions(rng, 3, sizes=(40, 400))
    u, errors = (x - 200) / 100, y - x
    share = (1 / np.bincount(label))[label] / 3
    design = np.stack((np.ones(u.size), u), axis=1)
    expected = np.linalg.solve(design.T @ (share[:, None] * design), design.T @ (share * errors))
    assert trend_over_sessions(u, errors, label, bias=True, spread=True).coefficients[:2] == pytest.approx(expected)
    assert trend_of(u, errors, bias=True, spread=True).coefficients[:2] == pytest.approx(
        np.polynomial.polynomial.polyfit(u, errors, 1))


def test_a_slope_that_one_session_alone_tells_is_not_bounded():
    label = np.repeat([0, 1], 20)
    x = np.where(label == 0, 200.0, np.tile(np.linspace(100, 300, 20), 2))
    y = x + np.random.default_rng(2).normal(0, 3, 40)
    item = regression_limits(x, y, against="reference", sampling="sessions", session=label).slope
    assert [item.low, item.high] == [-np.inf, np.inf]
    assert np.isfinite(item.value)


def test_slopes_are_covered_where_a_session_hardly_ranges():
    """200 tests of 4 sessions: the standard error of a share of 95 % is 1.5 points; t with 3 degrees covered 91 %."""
    rng, hits = np.random.default_rng(5), 0
    for _ in range(200):
        x, y, label = sessions(rng, 4, narrow=True)
        item = regression_limits(x, y, against="reference", sampling="sessions", session=label).slope
        hits += item.low <= 0 <= item.high
    assert hits >= 184


def test_limits_by_another_covariate():
    """By the level itself they are those against it; what is not there for each pair is refused."""
    rng = np.random.default_rng(5)
    x = rng.uniform(100, 300, 80)
    y = x + rng.normal(0, 0.02 * x)
    y[3] = math.nan
    one, other = (regression_limits(x, y, nan_policy="omit", **options) for options in (
        {"against": "reference"}, {"by": x}))
    assert other.against == "by"
    assert other.at(200).to_dict() == one.at(200).to_dict()
    with pytest.raises(InputError, match="`by` must have one value for each pair; got 79 for 80 pairs"):
        regression_limits(x, y, by=x[1:], nan_policy="omit")


def test_limits_by_temperature_with_unequal_spread_cover_over_sessions():
    """60 studies of 12 rides that differ; errors rise and widen with temperature (error of a share 2.8 points)."""
    rng, hits, session = np.random.default_rng(2), np.zeros(2), np.repeat(np.arange(12), 40)
    for _ in range(60):
        x, warm = rng.uniform(100, 300, 480), rng.uniform(-1, 1, 480)
        y = x + 2 * warm + rng.normal(0, 1, 12)[session] + (4 + 2 * warm) * rng.normal(size=480)
        there = regression_limits(x, y, by=warm, session=session).at(0.5)
        truth = 1, 1 + 1.959964 * math.hypot(1, 5)
        items = there.bias, there.upper
        hits += [item.low <= value <= item.high for item, value in zip(items, truth, strict=True)]
    assert (hits >= 52).all()
