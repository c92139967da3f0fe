"""Sample size of limits, correlation within subjects, folded distribution: definitions, slow twins, bad input."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agree import (
    InputError,
    SampleSizeError,
    folded_distribution,
    limits_of_agreement,
    limits_sample_size,
    repeated_correlation,
)


@pytest.mark.parametrize("width", [0.5, 1.0, 2.0])
@pytest.mark.filterwarnings("ignore:the errors are not normal")  # one in a thousand looks so
def test_mean_width_of_the_limits_is_the_one_foretold(width):
    found = limits_sample_size(width=3 * width, sd=3.0)
    rng = np.random.default_rng(1)
    items = [limits_of_agreement(np.zeros(n), rng.normal(0, 3, n), interval="exact").upper
             for n in [found.n] * 400 if n >= 3]
    widths = np.array([item.high - item.low for item in items])
    assert widths.mean() == pytest.approx(found.expected_width, rel=4 * widths.std() / widths.mean() / 20)
    assert (widths <= 3 * width).mean() == pytest.approx(found.chance, abs=3 * 0.5 / 20)
    assert found.expected_width <= 3 * width


@pytest.mark.parametrize("chance", [None, 0.5, 0.9])
def test_one_pair_fewer_is_not_enough(chance):
    found = limits_sample_size(width=0.8, chance=chance)
    fewer = limits_sample_size(width=found.expected_width * (1 + 1e-12)) if chance is None else None
    if fewer is not None:
        assert fewer.n == found.n
        assert limits_sample_size(width=found.expected_width * (1 - 1e-9)).n == found.n + 1
    else:
        assert found.chance >= chance
        assert limits_sample_size(width=0.8, chance=found.chance * (1 + 1e-9)).n > found.n


def test_a_surer_width_needs_more_pairs():
    assert limits_sample_size(width=1).n < limits_sample_size(width=1, chance=0.8).n < limits_sample_size(
        width=1, chance=0.95).n


@pytest.mark.parametrize(("options", "text"), [
    ({"width": 0}, "`width` must be a positive number; got 0"),
    ({"width": 1, "sd": -1}, "`sd` must be a positive number; got -1"),
    ({"width": 1, "chance": 1}, "`chance` must be a fraction between 0 and 1, such as 0.95; got 1"),
    ({"width": 1e-6}, "`width`=1e-06 needs more than 1,000,000 pairs at sd=1.0; ask for a wider interval"),
])
def test_sizes_that_cannot_be_had(options, text):
    with pytest.raises(InputError) as caught:
        limits_sample_size(**options)
    assert str(caught.value) == text


def subjects(seed=1, sizes=(3, 5, 4, 8)):
    rng = np.random.default_rng(seed)
    subject = np.repeat(np.arange(len(sizes)), sizes)
    x = rng.normal(200, 40, len(sizes))[subject] + rng.normal(0, 5, subject.size)
    return x, 0.8 * x + rng.normal(0, 60, len(sizes))[subject] + rng.normal(0, 5, subject.size), subject


def test_correlation_is_that_of_an_analysis_of_covariance(oracle):
    x, y, subject = subjects()
    dummies = (subject[:, None] == np.arange(4)).astype(float)
    loss = [float(np.linalg.lstsq(design, y, rcond=None)[1][0]) for design in (dummies, np.c_[dummies, x])]
    slope = np.linalg.lstsq(np.c_[dummies, x], y, rcond=None)[0][-1]
    found = repeated_correlation(x, y, subject)
    assert found.correlation.value == pytest.approx(math.copysign(math.sqrt(1 - loss[1] / loss[0]), slope), rel=1e-10)
    assert found.slope == pytest.approx(slope, rel=1e-10)
    assert (found.df, found.n, found.subjects) == (15, 20, 4)
    f = (loss[0] - loss[1]) / (loss[1] / 15)
    assert found.p_value == pytest.approx(oracle("scipy.stats").f.sf(f, 1, 15), rel=1e-9)


def test_levels_and_units_do_not_matter():
    x, y, subject = subjects(2)
    one = repeated_correlation(x, y, subject)
    other = repeated_correlation(x + 1000 * subject, -3e5 * (y + 7 * subject), [f"s{k}" for k in subject])
    assert other.correlation.value == pytest.approx(-one.correlation.value, rel=1e-9)
    assert other.correlation.high == pytest.approx(-one.correlation.low, rel=1e-9)


def test_correlation_covers():
    """Within-subject correlation 0.6; 600 runs, Monte-Carlo error 0.9 %."""
    rng, subject, inside = np.random.default_rng(3), np.repeat(np.arange(6), 5), 0
    for _ in range(600):
        a, b = rng.normal(size=(2, 30))
        shift = rng.normal(0, 9, (2, 6))
        item = repeated_correlation(a + shift[0][subject], 0.6 * a + 0.8 * b + shift[1][subject], subject).correlation
        inside += item.low <= 0.6 <= item.high
    assert inside / 600 == pytest.approx(0.95, abs=3 * 0.009)


def test_correlations_that_cannot_be_found():
    with pytest.raises(SampleSizeError) as caught:
        repeated_correlation([1, 2, 3, 4], [1, 2, 3, 5], list("aabb"))
    assert str(caught.value) == "at least 2 subjects, and 3 pairs more than subjects, are needed; got 4 pairs of 2"
    with pytest.raises(InputError) as refused:
        repeated_correlation([1, 1, 1, 2, 2, 2], [1, 2, 3, 5, 4, 3], list("aaabbb"))
    assert str(refused.value) == "no correlation: `reference` does not vary within any subject"
    assert repeated_correlation([1, 2, 3, 4, 5, 6], [1, 2, 3, 5, 6, 7], list("aaabbb")).correlation.low == 1


@given(st.lists(st.integers(-9, 9), min_size=3, max_size=30))
def test_folded_share_by_counting(errors):
    folded = folded_distribution(np.zeros(len(errors)), errors)
    for value, share in zip(folded.error, folded.share, strict=True):
        beyond = min(sum(e <= value for e in errors), sum(e >= value for e in errors)) / len(errors)
        assert share == min(beyond, 0.5)
    assert folded.median == np.median(errors)
    low, high = folded.reach(0.1)
    assert sum(e < low for e in errors) <= 0.1 * len(errors)
    assert sum(e > high for e in errors) <= 0.1 * len(errors)


def test_serial_interval_agrees_with_a_block_bootstrap():
    """Stationary bootstrap (Politis & Romano 1994) of a mean and an upper limit, 20 recordings, mean blocks of 60 s."""
    rng = np.random.default_rng(4)
    ratios = []
    for _ in range(20):
        noise = rng.normal(size=1400)
        d = np.zeros(1400)
        for t in range(1, 1400):
            d[t] = 0.8 * d[t - 1] + noise[t]
        d = d[200:]
        n = d.size
        draws = []
        for _ in range(200):
            restart = rng.uniform(size=n) < 1 / 60
            restart[0] = True
            start = rng.integers(0, n, n)
            last = np.maximum.accumulate(np.where(restart, np.arange(n), 0))
            again = d[(start[last] + np.arange(n) - last) % n]
            draws.append((again.mean(), again.mean() + 1.96 * again.std()))
        result = limits_of_agreement(np.zeros(n), d, sampling="serial")
        ours = np.array([result.bias.standard_error, result.upper.standard_error])
        ratios.append(ours**2 / np.var(draws, axis=0))
    # A variance from 8 cosines has a relative error of 0.5: of the mean of 20 ratios 0.11, and as much from the blocks.
    assert np.mean(ratios, axis=0) == pytest.approx([1.0, 1.0], abs=0.4)
