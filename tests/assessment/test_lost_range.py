"""A device that cannot measure an end of the range holds below it only, and the first screen says so."""

import numpy as np
import pytest

from agree import Pairs, check_claim
from agree.assessment.doubts.lost_range import lost_ranges
from agree.core.data.lost_end import lost_end

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


# LOST_S
@pytest.mark.parametrize(("seconds", "lost"), [(30, True), (29, False)])
def test_how_many_seconds_make_a_range(rng, seconds, lost):
    pairs = ride(rng, lambda true: true > np.sort(true)[-seconds - 1])
    assert bool(lost_ranges([pairs])) == lost


@pytest.mark.parametrize(("every", "lost"), [(0.56, True), (0.44, False)])
def test_most_of_the_range_must_be_lost(rng, every, lost):
    pairs = ride(rng, lambda true: (true > np.percentile(true, 80)) & (rng.random(true.size) < every))
    assert bool(lost_ranges([pairs])) == lost


def silent(rng, lost, n=3600, of="device"):
    """A device right at 0.1 %; one recording has no reading where `lost` says so."""
    true = 200 + 80 * np.sin(np.arange(n) / 80) + rng.normal(0, 5, n)
    bad = lost(true)
    reference, device = true.copy(), 1.001 * true
    {"reference": reference, "device": device}[of][bad] = np.nan
    return Pairs(reference=reference, device=device)


@pytest.mark.parametrize("of", ["device", "reference"])
@pytest.mark.parametrize(("share", "side"), [(0.14, "above"), (0.14, "below")])
def test_seconds_that_one_recording_misses_are_lost_as_faulty_ones_are(rng, of, share, side):
    def lost(true):
        return true > np.quantile(true, 1 - share) if side == "above" else true < np.quantile(true, share)

    pairs = silent(rng, lost, of=of)
    found = lost_ranges([pairs])
    assert [(item.side, item.seconds, item.missing) for item in found] == [(side, 504, 504)]
    assert found[0].percent > 98  # the level is read from either trace, and they differ by 0.1 %
    check = check_claim(pairs, "1.5 %")
    assert check.verdict == "holds"
    text = " ".join(check.summary().split())
    other = "below" if side == "above" else "above"
    assert text.startswith(f"HOLDS claim ±1.5 % {other} {found[0].watts:g} W only")
    assert "(504 s) is missing." in text


def test_scattered_faults_do_not_hide_a_lost_end_nor_do_scattered_gaps(rng):
    faulty = ride(rng, lambda true: rng.random(true.size) < 0.3)
    end = faulty.reference > np.percentile(faulty.reference, 92)
    device = np.where(end, np.nan, faulty.device)
    found = lost_ranges([Pairs(reference=faulty.reference, device=device,
                               reason=np.where(end, "missing", faulty.reason))])
    assert [item.side for item in found] == ["above"]


def test_few_or_scattered_missing_seconds_lose_no_range_and_coasting_none(rng):
    for lost in (lambda true: rng.random(true.size) < 0.15, lambda true: true > np.sort(true)[-30]):
        assert lost_ranges([silent(rng, lost)]) == ()
    rest = silent(rng, lambda true: true < np.quantile(true, 0.1))
    coasting = Pairs(reference=np.where(np.isnan(rest.device), 0, rest.reference), device=rest.device)
    assert lost_ranges([coasting]) == ()


def end_of(*, top, sound=0, below=0, elsewhere=0, size=1000):
    """Length of the lost upper end: `top` seconds lost there, under it `sound` ones, `below` lost ones, and others."""
    lost = np.zeros(size, bool)
    lost[size - top:] = True
    lost[size - top - sound - below:size - top - sound] = True
    lost[:elsewhere] = True
    found = lost_end("above", np.arange(size, dtype=float), lost)
    return 0 if found is None else found.size


# LOST_HALF
def test_half_of_the_seconds_decides_what_a_lost_end_is():
    assert (end_of(top=40, sound=39, below=40), end_of(top=40, sound=41, below=40)) == (119, 40)  # most of each stretch
    assert (end_of(top=40, elsewhere=40), end_of(top=40, elsewhere=41)) == (40, 0)  # half of all that are lost
    assert (end_of(top=500), end_of(top=501)) == (500, 0)  # half of the range
