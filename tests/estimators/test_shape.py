"""Errors that show they are not normal: the tests' values, their boundary, and where a warning is given."""

import math
import warnings

import numpy as np
import pytest
from scipy import special
from scipy.signal import lfilter

import agree
from agree import AssumptionWarning
from agree.core.thresholds import KURTOSIS_PASSES, LEAST_SHAPE, SHAPE_P, SKEWNESS_PASSES
from agree.estimators import shape

SKEWED = special.ndtri((np.arange(60) + 0.5) / 60)
SKEWED = np.exp(0.8 * SKEWED)
HEAVY = special.stdtrit(2, (np.arange(60) + 0.5) / 60)
EVEN = special.ndtri((np.arange(60) + 0.5) / 60)
CALLS = {
    "limits": agree.limits_of_agreement,
    "tolerance": agree.tolerance_limits,
    "index": agree.deviation_index,
    "share": lambda x, y, **more: agree.coverage_probability(x, y, limit=3, **more),
    "trials": agree.typical_error,
}


def mixed(error):
    return error[np.random.default_rng(1).permutation(error.size)]


@pytest.mark.parametrize("error", [SKEWED, -SKEWED, HEAVY, EVEN, SKEWED[:20], HEAVY[:25] ** 2])
def test_values_are_those_of_scipy(error, oracle):
    stats, found = oracle("scipy.stats"), shape.shape_of(error)
    assert found.skewness_z == pytest.approx(stats.skewtest(error).statistic, rel=1e-9)
    assert found.kurtosis_z == pytest.approx(stats.kurtosistest(error).statistic, rel=1e-9)
    assert found.skewness == pytest.approx(stats.skew(error))
    assert found.kurtosis == pytest.approx(3 + stats.kurtosis(error))


@pytest.mark.parametrize("name", CALLS)
def test_errors_that_are_skewed_or_heavy_are_warned_of_where_normal_ones_are_assumed(name):
    x = np.full(60, 256.0)
    for error in (SKEWED, -SKEWED, HEAVY):
        with pytest.warns(AssumptionWarning, match="not normal"):
            CALLS[name](x, x + mixed(error))
    CALLS[name](x, x + mixed(EVEN))
    CALLS[name](x, x + np.random.default_rng(2).uniform(-1, 1, 60))  # light tails do no harm
    if name == "limits":
        with pytest.warns(AssumptionWarning, match="not normal.*quantile_limits counts"):
            CALLS[name](x, x + mixed(SKEWED), sampling="serial")
    else:
        CALLS[name](x, x + mixed(SKEWED), sampling="serial")
    if name in ("index", "share"):
        CALLS[name](x, x + mixed(SKEWED), distribution="any")


def warned(error):
    with warnings.catch_warnings(record=True) as found:
        warnings.simplefilter("always")
        shape.warn_of_shape(error, "independent", "")
    return bool(found)


def test_at_the_threshold(monkeypatch):
    """SHAPE_P, LEAST_SHAPE, SKEWNESS_PASSES and KURTOSIS_PASSES: just inside and just outside."""
    limit = -float(special.ndtri(SHAPE_P))
    for change, expected in ((-1e-6, False), (1e-6, True)):
        for made in (shape.Shape(SKEWNESS_PASSES + 1, 3, limit + change, 0),
                     shape.Shape(-SKEWNESS_PASSES - 1, 3, -limit - change, 0),
                     shape.Shape(0, KURTOSIS_PASSES + 1, 0, limit + change),
                     shape.Shape(SKEWNESS_PASSES + change, 3, 9, 0), shape.Shape(0, KURTOSIS_PASSES + change, 0, 9)):
            monkeypatch.setattr(shape, "shape_of", lambda error, made=made: made)
            assert warned(EVEN) == expected
    monkeypatch.undo()
    assert shape.shape_of(SKEWED[:LEAST_SHAPE]) is not None
    assert shape.shape_of(SKEWED[:LEAST_SHAPE - 1]) is None
    assert shape.shape_of(np.full(60, 0.1)) is None


def test_normal_errors_are_hardly_ever_warned_of():
    """A thousand samples of 30: three in a thousand at most, one for each of the three ways."""
    rng = np.random.default_rng(4)
    assert sum(warned(error) for error in rng.normal(size=(1000, 30))) <= 3 + 3 * math.sqrt(3)


def warned_of_dependent(error, group, serial):
    with warnings.catch_warnings(record=True) as found:
        warnings.simplefilter("always")
        shape.warn_of_dependent_shape(error, group, serial, "")
    return bool(found)


def test_limits_of_repeats_and_sessions_warn_of_shapes_that_they_do_not_hold():
    """Skewed errors about a subject's mean, and skewed means of subjects beside normal errors: both were silent."""
    rng, subject = np.random.default_rng(5), np.repeat(np.arange(60), 5)
    x, about, means = np.full(300, 256.0), rng.normal(size=300), rng.normal(size=60)
    for error, words in ((means[subject] + rng.exponential(size=300), "about the mean of their group"),
                         (rng.exponential(size=60)[subject] * 2 + about / 9, "groups' mean errors")):
        for call in (lambda e: agree.repeated_limits(x, x + e, subject),
                     lambda e: agree.limits_of_agreement(x, x + e, session=subject)):
            with pytest.warns(AssumptionWarning, match=words) as caught:
                call(error)
            assert caught[0].filename == __file__
    for found in (agree.repeated_limits(x, x + means[subject] + about, subject),
                  agree.limits_of_agreement(x, x + means[subject] + about, session=subject)):
        assert found.upper.method.endswith("normal errors")


@pytest.mark.parametrize(("along", "n"), [(0.8, 300), (0.95, 600)])
def test_serial_and_grouped_normal_errors_are_hardly_ever_warned_of(along, n):
    """Of 200 each 5 % at most, although neighbours that are alike make moments wander."""
    rng, serial, grouped = np.random.default_rng(6), 0, 0
    group = np.repeat(np.arange(n // 5), 5)
    for _ in range(200):
        error = lfilter([1], [1, -along], rng.normal(size=n + 100))[100:]
        serial += warned_of_dependent(error, None, True)
        grouped += warned_of_dependent(rng.normal(size=n // 5)[group] + rng.normal(size=n), group, False)
    assert max(serial, grouped) <= 10
    assert shape.worth_of(error) < n / 2 < shape.worth_of(rng.normal(size=n)) <= n
