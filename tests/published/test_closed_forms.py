"""Formulas that publications print for special cases, which functions of the package must then meet to rounding.

Each test names the publication; all are recalled from memory. They stand beside the printed figures: a formula holds at
every value, so that these tests fail at errors far below the last digit of any print.
"""

import numpy as np
import pytest

from agree import concordance, deming, split_errors, variance_ratio
from agree.core.interval.engine import t_quantile

HERMITE = np.repeat([-(3**0.5), 0.0, 3**0.5], [1, 4, 1])  # moments of a normal value up to the fifth


def shuffled(*columns):
    """Columns in another order, so that neighbours are not alike."""
    order = np.random.default_rng(3).permutation(columns[0].size)
    return tuple(np.asarray(column, dtype=float)[order] for column in columns)


def variance_on_z(found):
    """(n - 1) times the variance of Fisher's z of the concordance, from its interval."""
    low, high = np.arctanh([found.concordance.low, found.concordance.high])
    return ((high - low) / 2 / t_quantile(0.95, found.n - 1)) ** 2 * (found.n - 1)


@pytest.mark.parametrize(("r", "scale", "shift"), [(0.95, 1, 0), (0.9, 1.1, 0.3), (0.5, 0.8, 0.5), (0.99, 1, 0.05),
                                                   (-0.4, 1.3, 0.2)])
def test_concordance_interval_is_lins_where_readings_have_the_moments_of_normal_ones(r, scale, shift):
    """Lin LI-K (1989) Biometrics 45:255-268, variance of Z, as corrected in (2000) Biometrics 56:324-325."""
    first, second = (grid.ravel() for grid in np.meshgrid(HERMITE, HERMITE))
    reading = shift + scale * (r * first + (1 - r * r) ** 0.5 * second)
    reference, device = shuffled(200 + 10 * first, 200 + 10 * reading)
    found = concordance(reference, device)
    c, u2 = found.concordance.value, shift**2 / scale
    lin = ((1 - r * r) * c * c / ((1 - c * c) * r * r) + 2 * c**3 * (1 - c) * u2 / (r * (1 - c * c) ** 2)
           - c**4 * u2 * u2 / (2 * r * r * (1 - c * c) ** 2))
    assert variance_on_z(found) == pytest.approx(lin, rel=1e-9)


@pytest.mark.parametrize(("both", "one", "none"), [(40, 5, 50), (30, 10, 20), (60, 3, 7)])
def test_concordance_of_yes_and_no_is_kappa_with_its_printed_variance(both, one, none):
    """Kappa of two raters with equal margins: Bloch DA, Kraemer HC (1989) Biometrics 45:269-287."""
    found = concordance(*shuffled(np.repeat([1, 1, 0, 0], [both, one, one, none]),
                                  np.repeat([1, 0, 1, 0], [both, one, one, none])))
    n, yes = both + 2 * one + none, (both + one) / (both + 2 * one + none)
    chance = yes**2 + (1 - yes) ** 2
    k = ((both + none) / n - chance) / (1 - chance)
    assert found.concordance.value == pytest.approx(k, rel=1e-12)
    variance = (1 - k) * ((1 - k) * (1 - 2 * k) + k * (2 - k) / (2 * yes * (1 - yes)))
    assert variance_on_z(found) * (1 - k * k) ** 2 == pytest.approx(variance, rel=1e-9)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_concordance_of_scores_is_weighted_kappa_with_its_printed_variance(seed):
    """Squares of distances as weights: Fleiss JL, Cohen J, Everitt BS (1969) Psychol Bull 72:323-327, for any law."""
    counts = np.random.default_rng(seed).integers(0, 12, (4, 4)) + 15 * np.eye(4, dtype=int)
    first, second = np.indices(counts.shape).reshape(2, -1)
    found = concordance(*shuffled(first.repeat(counts.ravel()), second.repeat(counts.ravel())))
    p, score = counts / counts.sum(), np.arange(4)
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    w = 1 - np.subtract.outer(score, score) ** 2 / 9
    seen, chance = (p * w).sum(), rows @ w @ columns
    assert found.concordance.value == pytest.approx((seen - chance) / (1 - chance), rel=1e-12)
    by_cell = w * (1 - chance) - (1 - seen) * np.add.outer(w @ columns, rows @ w)
    variance = ((p * by_cell**2).sum() - (seen * chance - 2 * chance + seen) ** 2) / (1 - chance) ** 4
    assert variance_on_z(found) * (1 - found.concordance.value**2) ** 2 == pytest.approx(variance, rel=1e-9)


def test_error_variances_of_devices_have_the_residual_square_as_mean():
    """Two-way analysis of variance, Snedecor & Cochran, Statistical Methods: its residual is free of both effects."""
    table = np.random.default_rng(5).normal([0, 3, 1, -2, 5], [1, 2, 3, 1, 2], (12, 5)).T + np.arange(12) ** 2
    residual = table - table.mean(axis=0) - table.mean(axis=1)[:, None] + table.mean()
    mean_square = np.square(residual).sum() / (4 * 11)
    assert np.mean(split_errors(*table, sampling="independent").variance) == pytest.approx(mean_square, rel=1e-12)


def line_of_duplicates(x, y):
    """Slope and intercept as printed: errors from duplicates, sum d^2/(2 N), and sums of squares of their means."""
    (x1, x2), (y1, y2) = x, y
    n = x1.size
    ratio = (np.square(x1 - x2).sum() / (2 * n)) / (np.square(y1 - y2).sum() / (2 * n))  # lambda: reference over device
    mx, my = (x1 + x2) / 2, (y1 + y2) / 2
    dx, dy = mx - mx.mean(), my - my.mean()
    u, q, p = dx @ dx, dy @ dy, dx @ dy
    slope = ((ratio * q - u) + np.sqrt((u - ratio * q) ** 2 + 4 * ratio * p**2)) / (2 * ratio * p)
    return np.array([slope, my.mean() - slope * mx.mean()])


def test_deming_line_of_duplicates_and_its_jackknife_are_as_printed():
    """Linnet K (1990) Stat Med 9:1463-1473 and (1993) Clin Chem 39:424-432: slope, and its error by pseudo-values."""
    rng = np.random.default_rng(11)
    true = rng.uniform(100, 300, 20)
    x, y = true + rng.normal(0, 4, (2, 20)), 5 + 1.03 * true + rng.normal(0, 7, (2, 20))
    line = deming(x.mean(axis=0), y.mean(axis=0), error_variance_ratio=variance_ratio(x.T, y.T).ratio.value)
    printed = line_of_duplicates(x, y)
    assert [line.slope.value, line.intercept.value] == pytest.approx(printed, rel=1e-9)
    ratio = variance_ratio(x.T, y.T).ratio.value
    left_out = [deming(*(np.delete(item.mean(axis=0), k) for item in (x, y)), error_variance_ratio=ratio)
                for k in range(20)]
    for item, values in ((line.slope, [one.slope.value for one in left_out]),
                         (line.intercept, [one.intercept.value for one in left_out])):
        pseudo = 20 * item.value - 19 * np.array(values)
        assert item.standard_error == pytest.approx(pseudo.std(ddof=1) / 20**0.5, rel=1e-9)
