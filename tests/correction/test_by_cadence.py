"""Nothing is entered for an error that goes with cadence where the mean is right, nor a factor that is not known."""

from dataclasses import replace

import numpy as np
import pytest

from agree import Claim, Pairs, check_claim, find_correction
from agree.assessment.find_correction import unless_caused_otherwise
from agree.verdict.columns import table

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def intervals(scale=1.0, gain=0.002, zero=0.0, count=3):
    """Invented sessions: intervals at 300 to 350 W between 150 W, cadence higher in them."""
    made = []
    for number in range(count):
        rng = np.random.default_rng(number)
        long = 60 + 30 * number
        power = np.where(np.arange(1800) // long % 2, 310.0 + 15 * number, 150) + rng.normal(0, 9, 1800)
        turns = 83 + (power - 150) * 0.03 + 3 * np.sin(np.arange(1800) / 60) + rng.normal(0, 1, 1800)
        read = power * scale * (1 + gain * (turns - 87)) + zero + rng.normal(0, 5, 1800)
        made.append(Pairs(reference=power, device=read, cadence=turns, start=f"2026-03-{3 + 3 * number:02d}T09:30:00"))
    return made


@pytest.mark.parametrize("claim", ["1.5 %", None])
def test_nothing_is_entered_where_the_mean_is_inside(claim):
    for found in (find_correction(intervals(), claim=claim), find_correction(intervals(0.994), claim=claim)):
        assert (found.action, found.entered, found.factor) == ("none", None, None)
        assert found.reason.kind == "correction_cadence"


def test_the_check_says_the_same():
    check = check_claim(intervals(), "1.5 %")
    assert check.findings[0].cause == "cadence_gain"
    assert (check.correction.action, check.correction.reason.kind) == ("none", "correction_cadence")


@pytest.mark.parametrize(("scale", "zero"), [(0.96, 0), (1, -9)])
def test_a_scale_or_a_zero_that_is_larger_is_still_entered(scale, zero):
    found = find_correction(intervals(scale, 0.0006, zero), claim="1.5 %")
    assert found.entered is not None


@pytest.mark.parametrize(("low", "high", "entered"), [(0.0, 0.986, False), (0.97, np.inf, False), (0.97, 0.99, True)])
def test_a_factor_whose_interval_makes_no_sense_is_not_entered(low, high, entered):
    data = table(intervals(0.96, 0), 30)
    fix = find_correction(data.pairs)
    value = 0.5 * (low + 0.986)
    made = unless_caused_otherwise(replace(fix, factor=replace(fix.factor, value=value, low=low, high=high)), (), data,
                                   Claim.parse("1.5 %"))
    assert (made.entered is not None) == (made.factor is not None) == entered
