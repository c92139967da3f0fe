"""No "holds" for a device that fails over much of a ride, whatever it reads elsewhere."""

import numpy as np
import pytest

from agree import Pairs, check_claim
from agree.core.thresholds import MOST_LEFT_OUT


def ride(rng, share, factor):
    """A device that is right but for a share of the seconds, which are set aside as faulty."""
    n = 3000
    true = 200 + 60 * np.sin(np.arange(n) / 80)
    device = true + rng.normal(0, 2, n)
    bad = np.arange(n) < share * n
    device[bad] *= factor
    return Pairs(reference=true, device=device, reason=np.where(bad, "device_partial", ""))


@pytest.mark.parametrize(("share", "factor", "answer"), [
    (MOST_LEFT_OUT + 0.01, 0.5, "not settled"), (MOST_LEFT_OUT - 0.01, 0.5, "holds"),
    (MOST_LEFT_OUT + 0.01, 1.0, "holds")])
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
