"""Errors that show they are not normal: the tests' values, their boundary, and where a warning is given."""

import math
import warnings

import numpy as np
import pytest
from scipy import special

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
