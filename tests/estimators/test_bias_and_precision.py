"""Bias and precision beside a reference with an error of its own: twin, deletion, coverage, invariances, bad input."""

import math

import numpy as np
import pytest

from agree import InputError, SampleSizeError, bias_and_precision

NAMES = ("slope", "intercept", "bias", "reference_sd", "device_sd", "recalibrated_sd")


def drawn(rng, subjects=15, repeats=3, slope=1.05, sds=(6.0, 4.0, 3.0), least=1):
    """Pairs of one true value each; SDs of the reference, the device, and of a subject's own error of the device."""
    size = rng.integers(least, repeats + 1, subjects) if least < repeats else np.full(subjects, repeats)
    subject = np.repeat(np.arange(subjects), size)
    true = rng.normal(220, 30, subjects)
    own = rng.normal(0, sds[2], subjects)
    return (true[subject] + rng.normal(0, sds[0], subject.size),
            (slope * true - 4 + own)[subject] + rng.normal(0, sds[1], subject.size), subject)


def twin(x, y, subject):
    """Slope, intercept, bias at the mean, SDs, by one subject after the other."""
    groups = [(x[subject == s], y[subject == s]) for s in np.unique(subject)]
    mx, my = (np.array([g[k].mean() for g in groups]) for k in (0, 1))
    sizes = np.array([len(g[0]) for g in groups])
    within = [sum(((g[k] - g[k].mean()) ** 2).sum() for g in groups) / (len(x) - len(groups)) for k in (0, 1)]
    share = np.mean(1 / sizes)
    cov = np.cov(mx, my)
    slope = cov[0, 1] / (cov[0, 0] - within[0] * share)
    residual = my - my.mean() - slope * (mx - mx.mean())
    between = (residual**2).sum() / (len(groups) - 2) - (slope**2 * within[0] + within[1]) * share
    device = math.sqrt(within[1] + max(between, 0))
    return [slope, my.mean() - slope * mx.mean(), my.mean() - mx.mean(), math.sqrt(within[0]), device,
            device / abs(slope)]


def values(found):
    return [getattr(found, name).value for name in NAMES]


@pytest.mark.parametrize("least", [1, 3])
def test_equals_the_twin(least, rng):
    for _ in range(5):
        x, y, subject = drawn(rng, least=least)
        assert values(bias_and_precision(x, y, subject)) == pytest.approx(twin(x, y, subject), rel=1e-9)


def test_intervals_are_those_of_leaving_out_each_subject(rng):
    x, y, subject = drawn(rng, least=1)
    found = bias_and_precision(x, y, subject)
    rest = np.array([twin(x[subject != s], y[subject != s], subject[subject != s]) for s in np.unique(subject)])
    count = len(rest)
    error = math.sqrt((count - 1) / count * np.square(rest[:, 0] - rest[:, 0].mean()).sum())
    assert found.slope.standard_error == pytest.approx(error, rel=1e-9)
    turned = 1 / rest[:, 3]
    error = math.sqrt((count - 1) / count * np.square(turned - turned.mean()).sum())
    half = (found.slope.high - found.slope.value) / found.slope.standard_error * error
    for end, side in ((found.reference_sd.low, 1), (found.reference_sd.high, -1)):
        assert end == pytest.approx(1 / (1 / found.reference_sd.value + side * half), rel=1e-9)


def test_the_reference_s_sd_under_heavy_tails_and_without_scatter(rng):
    """300 studies of 25 subjects with t errors of 3 df: 86 % are covered (error 2); on the cube root 77 were."""
    hits, subject = 0, np.repeat(np.arange(25), 3)
    true = np.repeat(rng.normal(220, 30, 25), 3)
    for errors in rng.standard_t(3, (300, 75)) / math.sqrt(3):
        item = bias_and_precision(true + 6 * errors, true, subject).reference_sd
        hits += item.low <= 6 <= item.high
    assert hits >= 246
    exact = bias_and_precision(true, true + rng.normal(0, 1, 75), subject).reference_sd
    assert (exact.value, exact.low, exact.high) == (0, 0, 0)
    one = bias_and_precision(true + np.r_[-1, 0, 1, np.zeros(72)], true, subject).reference_sd
    assert (one.low, one.high) == (0, math.inf)
    assert one.value == pytest.approx(1 / 5)


def test_the_reference_is_not_taken_for_exact():
    """Least squares on a reference with half of its variance error halves the slope; this line does not."""
    rng, slopes = np.random.default_rng(8), []
    for _ in range(60):
        x, y, subject = drawn(rng, subjects=40, sds=(30.0, 2.0, 0.0), least=3)
        slopes.append((bias_and_precision(x, y, subject).slope.value, np.polyfit(x, y, 1)[0]))
    ours, least_squares = np.mean(slopes, axis=0)
    assert ours == pytest.approx(1.05, abs=4 * np.std(slopes, axis=0)[0] / 60**0.5)
    assert least_squares < 0.7


def test_intervals_cover():
    """200 studies of 15 subjects: the standard error of a share of 95 % is 1.5 points."""
    rng, hits = np.random.default_rng(9), np.zeros(6)
    for _ in range(200):
        found = bias_and_precision(*drawn(rng))
        truth = [1.05, -4, found.mean_level * 0.05 - 4, 6, 5, 5 / 1.05]
        hits += [item.low <= v <= item.high for item, v in zip((getattr(found, k) for k in NAMES), truth, strict=True)]
    assert (hits / 200 >= 0.915).all(), hits


def test_units_shifts_names_and_order(rng):
    x, y, subject = drawn(rng)
    one = bias_and_precision(x, y, subject)
    order = rng.permutation(x.size)
    for other, factor in ((bias_and_precision(x[order], y[order], [f"s{k}" for k in subject[order]]), 1.0),
                          (bias_and_precision(1e250 * x, 1e250 * y, subject), 1e250)):
        for name in NAMES:
            unit = 1.0 if name == "slope" else factor
            assert getattr(other, name).high == pytest.approx(getattr(one, name).high * unit, rel=1e-9)
    moved = bias_and_precision(x + 1000, y + 1000, subject)
    assert moved.bias.low == pytest.approx(one.bias.low + 0, rel=1e-6)
    assert moved.device_sd.high == pytest.approx(one.device_sd.high, rel=1e-6)


def test_what_tells_nothing_is_refused(rng):
    x, y, subject = drawn(rng, subjects=4)
    with pytest.raises(SampleSizeError, match="at least 5 subjects, two of them with 2 pairs, are needed; got 4"):
        bias_and_precision(x, y, subject)
    with pytest.raises(SampleSizeError, match="got 8 subjects, 0 with repeats"):
        bias_and_precision(x[:8], y[:8], range(8))
    noise = rng.normal(200, 5, 24)
    with pytest.raises(InputError, match="differ by no more than the repeats of `reference`"):
        bias_and_precision(np.r_[noise, 2 * noise.mean() - noise], np.r_[noise, noise], np.tile(range(24), 2))
    with pytest.raises(InputError, match="`subject`"):
        bias_and_precision(x, y, subject[:-1])
