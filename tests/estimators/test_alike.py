"""Pairs called independent whose neighbours are alike: named by every function that takes them for independent."""

import warnings

import numpy as np
import pytest

import agree
from agree import AssumptionWarning

N = 400
CALLS = {
    "limits_of_agreement": {}, "tolerance_limits": {}, "quantile_limits": {}, "regression_limits": {},
    "look_at_errors": {}, "deming": {}, "passing_bablok": {}, "york": {"u_reference": 5.0, "u_device": 5.0},
    "linearity": {}, "bias_by_band": {"edges": [0, 200, 400], "scale": "difference"},
    "bias_curve": {"scale": "difference"}, "concordance": {}, "typical_error": {},
    "deviation_index": {}, "coverage_probability": {"limit": 10.0}, "equivalence": {"margin": 5.0},
}
RATIO = ("equivalence", {"margin": 0.05, "scale": "ratio"})


def smooth(noise, seconds):
    return np.convolve(noise, np.ones(seconds) / seconds, "valid") * seconds**0.5


def recorded(rng, seconds):
    """Power that moves slowly, and errors that last so many seconds."""
    level = 220 + 60 * smooth(rng.normal(size=N + 29), 30)
    return level, level + 3 + 5 * smooth(rng.normal(size=N + seconds - 1), seconds)


def warned(name, reference, device, options):
    with warnings.catch_warnings(record=True) as found:
        warnings.simplefilter("always")
        getattr(agree, name)(reference, device, **options)
    return any("neighbouring errors are alike" in str(item.message) for item in found
               if issubclass(item.category, AssumptionWarning))


@pytest.mark.parametrize(("name", "options"), [*CALLS.items(), RATIO])
def test_dependence_is_named_and_independence_is_not(name, options, rng):
    assert warned(name, *recorded(rng, 6), options)
    assert not warned(name, *recorded(rng, 1), options)
    assert not warned(name, *recorded(rng, 6), options | {"sampling": "serial"})


@pytest.mark.parametrize("name", ["deming", "passing_bablok", "linearity", "bias_by_band", "bias_curve", "concordance"])
def test_a_bend_or_bands_that_differ_are_no_dependence(name, rng):
    """Slow power and an error that hangs on the level: alike neighbours, but only through the level."""
    level, device = recorded(rng, 1)
    bent = device + (level - 220) ** 2 / 1500
    assert not warned(name, level, bent, CALLS[name])
    order = np.argsort(level)
    assert not warned(name, level[order], bent[order], CALLS[name])


def test_several_devices_and_repeats(rng):
    level = 220 + 60 * smooth(rng.normal(size=N + 29), 30)
    for seconds in (6, 1):
        own = np.stack([2 * smooth(rng.normal(size=N + seconds - 1), seconds), *rng.normal(size=(2, N))])
        with warnings.catch_warnings(record=True) as found:
            warnings.simplefilter("always")
            agree.split_errors(*(level + own))
            agree.variance_ratio(own[1].reshape(-1, 100), own[0].reshape(-1, 100))
        assert len([item for item in found if "neighbouring" in str(item.message)]) == (2 if seconds == 6 else 0)


@pytest.mark.parametrize("name", ["limits_of_agreement", "deming", "york"])
def test_false_alarms_are_rare(name):
    """One in a thousand is meant; of 150 sets without dependence 3 or more would come with probability 0.0005."""
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(150):
        level = rng.uniform(100, 300, 60)
        hits += warned(name, level, level + rng.normal(0, 5, 60), CALLS[name])
    assert hits <= 2
