"""No "holds" for a device that fails over much of a ride, whatever it reads elsewhere."""

import re

import numpy as np
import pytest

from agree import Pairs, check_claim


def ride(rng, share, factor):
    """A device that is right but for a share of the seconds, which are set aside as faulty."""
    n = 3000
    true = 200 + 60 * np.sin(np.arange(n) / 80)
    device = true + rng.normal(0, 2, n)
    bad = np.arange(n) < share * n
    device[bad] *= factor
    return Pairs(reference=true, device=device, reason=np.where(bad, "device_partial", ""))


# MOST_LEFT_OUT
@pytest.mark.parametrize(("share", "factor", "answer"), [
    (0.21, 0.5, "not settled"), (0.19, 0.5, "holds"),
    (0.21, 1.0, "holds")])
def test_what_is_left_speaks_for_the_device_only_if_it_is_most_of_it(rng, share, factor, answer):
    check = check_claim(ride(rng, share, factor), "1.5 %")
    assert check.verdict == answer
    kinds = {note.kind for note in check.notes if hasattr(note, "kind")}
    assert ("faults_too_many" in kinds) == (answer != "holds")
    if answer != "holds":
        assert not any(item.verdict == "holds" for item in check.readings)
        text = check.summary()
        assert text.startswith("NOT SETTLED")
        assert "all of it inside" in text.replace("\n", " ")
        assert "cannot speak for the device" in " ".join(text.split())


@pytest.mark.parametrize(("every", "other"), [(200, ""), (10, "does not hold")])
def test_the_verdict_with_the_faulty_seconds_is_stored_where_it_differs(rng, every, other):
    """Half of the power lost in each tenth second is a mean error of -5 %; in one of 200, of -0.25 %."""
    sound = ride(rng, 0, 1)
    bad = np.arange(sound.time.size) % every == 0
    check = check_claim(Pairs(reference=sound.reference, device=np.where(bad, 0.5, 1) * sound.device,
                              reason=np.where(bad, "device_partial", "")), "1.5 %")
    notes = [note for note in check.notes if getattr(note, "kind", "") == "verdict_with_faults"]
    assert [note.values["verdict"] for note in notes] == [other] * bool(other)
    for note in notes:
        assert (note.values["without"], note.values["unit"]) == ("holds", "%")
        assert note.values["error"] == pytest.approx(check.bias_with_faults.value)
        assert note.values["low"] < note.values["error"] < note.values["high"] < -1.5


def test_a_device_that_fails_is_not_saved_by_it(rng):
    pairs = ride(rng, 0.3, 0.5)
    worse = Pairs(reference=pairs.reference, device=0.95 * pairs.device, reason=pairs.reason)
    assert check_claim(worse, "1.5 %").verdict == "does not hold"


def gap(rng, lost):
    true = 200 + 60 * np.sin(np.arange(3000) / 80)
    return Pairs(reference=true, device=np.where(lost(true), np.nan, true + rng.normal(0, 2, true.size)))


@pytest.mark.parametrize(("share", "answer"), [(0.205, "not settled"), (0.195, "holds")])
def test_seconds_missing_at_an_end_of_the_range_count_as_lost(rng, share, answer):
    """The device has no reading at the highest powers, just over and just under a fifth of the ride."""
    check = check_claim(gap(rng, lambda true: true > np.quantile(true, 1 - share)), "1.5 %")
    assert check.verdict == answer
    if answer == "holds":
        return
    assert not any(item.verdict == "holds" for item in check.readings)
    text = " ".join(check.summary().split())
    assert re.search(r"Warnings? 2\d % of the riding is missing or faulty, and that goes with the power", text)
    assert check.next_step.kind == "next_mend_recording"
    assert check.next_step.values["role"] == "device"
    assert "why the device lost" in text
    assert "such riding" not in text


# SMALL_MISSING_SHARE
@pytest.mark.parametrize(("share", "said"), [(0.052, True), (0.048, False), (0.25, True)])
def test_a_gap_at_any_power_is_counted_and_changes_no_answer(rng, share, said):
    pairs = gap(rng, lambda true: np.abs(np.arange(true.size) - 1500) < share * true.size / 2)
    check = check_claim(pairs, "1.5 %")
    assert check.verdict == "holds"
    assert " only" not in check.summary().splitlines()[0]
    found = [note for note in check.notes if getattr(note, "kind", "") == "used_with_gaps"]
    assert [note.values["seconds"] for note in found] == [int(np.isnan(pairs.device).sum())] * said
    assert ("are missing in one of the two recordings" in " ".join(check.summary().split())) == said


def test_the_reason_comes_first_and_more_of_the_same_is_not_advised(rng):
    sound = ride(rng, 0, 1)
    bad = sound.reference > np.quantile(sound.reference, 0.75)
    check = check_claim(Pairs(reference=np.where(bad, 0, sound.reference), device=sound.device,
                              reason=np.where(bad, "reference_dropout", "")), "1.5 %")
    text = " ".join(check.summary().split())
    assert check.verdict == "not settled"
    assert "Warnings 25 % of the riding was set aside as faulty" in text
    assert "first find out why the reference lost 25 % of the riding" in text
    assert "such riding" not in text
