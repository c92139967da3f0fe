"""A device that cannot measure an end of the range holds below it only, and the first screen says so."""

import numpy as np
import pytest

from agree import Pairs, check_claim
from agree.assessment.doubts.lost_range import lost_ranges
from agree.core.thresholds import LOST_S

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def ride(rng, faulty, n=3600, kind="device_saturation"):
    true = 200 + 80 * np.sin(np.arange(n) / 80) + rng.normal(0, 5, n)
    bad = faulty(true)
    return Pairs(reference=true, device=np.where(bad, 0.9, 1.001) * true, reason=np.where(bad, kind, ""))


def test_a_ceiling(rng):
    """14 % of the riding lies above 265 W and reads at a ceiling."""
    pairs = ride(rng, lambda true: true > np.percentile(true, 86))
    check = check_claim(pairs, "1.5 %")
    edge = np.percentile(pairs.reference, 86)
    found = lost_ranges([pairs])
    assert [(item.side, item.percent, item.seconds) for item in found] == [("above", 100, 504)]
    assert abs(found[0].watts - edge) <= 2.5
    assert check.verdict == "holds"
    text = " ".join(check.summary().split())
    assert text.startswith(f"HOLDS claim ±1.5 % below {found[0].watts:g} W only, judged by the mean error")
    assert f"The answer does not speak of power above {found[0].watts:g} W: most of it (504 s) was set aside" in text


def test_no_low_power(rng):
    pairs = ride(rng, lambda true: true < np.percentile(true, 12), kind="device_dropout")
    assert [item.side for item in lost_ranges([pairs])] == ["below"]
    assert "above" in check_claim(pairs, "1.5 %").summary().splitlines()[0]


def test_faults_of_the_reference_lie_where_the_device_reads(rng):
    pairs = ride(rng, lambda true: true > np.percentile(true, 90), kind="reference_dropout")
    sound = pairs.reason == ""
    broken = Pairs(reference=np.where(sound, pairs.reference, 0), device=pairs.reference * 1.001, reason=pairs.reason)
    assert [item.side for item in lost_ranges([broken])] == ["above"]


def test_scattered_faults_lose_no_range(rng):
    pairs = ride(rng, lambda true: rng.random(true.size) < 0.15)
    assert lost_ranges([pairs]) == ()
    assert " only" not in check_claim(pairs, "1.5 %").summary().splitlines()[0]


@pytest.mark.parametrize(("seconds", "lost"), [(LOST_S, True), (LOST_S - 1, False)])
def test_how_many_seconds_make_a_range(rng, seconds, lost):
    pairs = ride(rng, lambda true: true > np.sort(true)[-seconds - 1])
    assert bool(lost_ranges([pairs])) == lost


@pytest.mark.parametrize(("every", "lost"), [(0.56, True), (0.44, False)])
def test_most_of_the_range_must_be_lost(rng, every, lost):
    pairs = ride(rng, lambda true: (true > np.percentile(true, 80)) & (rng.random(true.size) < every))
    assert bool(lost_ranges([pairs])) == lost
