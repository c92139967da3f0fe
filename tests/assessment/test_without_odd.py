"""What the answer would be without the odd session is what the others answer by themselves."""

from dataclasses import replace

import numpy as np

from agree import Note, check_claim
from agree.assessment.doubts import without_odd as without
from tests.rides import session


def note(check):
    return next((one.values for one in check.notes if getattr(one, "kind", "") == "without_odd"), None)


def test_the_others_are_judged_as_by_themselves():
    rng = np.random.default_rng(3)
    rides = [session(rng, scale=scale, seconds=900, label=str(k + 1))
             for k, scale in enumerate((0.997, 0.994, 0.999, 0.998, 0.95))]
    for meaning in ("average", "next_session"):
        alone = check_claim(rides[:4], "1.5 %", meaning=meaning)
        told = note(check_claim(rides, "1.5 %", meaning=meaning))
        assert told == {"sessions": "5", "meaning": meaning, "verdict": alone.verdict}
    assert note(check_claim(rides, "1.5 %", meaning="readings")) is None
    assert note(check_claim(rides[:4], "1.5 %")) is None


def test_what_withholds_holds_from_the_others_withholds_it_here(monkeypatch):
    """Too little of the riding used, or sessions like one ride: the others alone would get no "holds" either."""
    rng = np.random.default_rng(3)
    rides = [session(rng, scale=scale, seconds=900, label=str(k + 1))
             for k, scale in enumerate((0.997, 0.998, 0.999, 0.998, 0.95))]
    assert note(check_claim(rides, "1.5 %"))["verdict"] == "holds"
    hardly = [replace(ride, ridden_s=20 * ride.used.sum()) for ride in rides]
    assert check_claim(hardly[:4], "1.5 %").verdict == "not settled"
    assert note(check_claim(hardly, "1.5 %"))["verdict"] == "not settled"
    monkeypatch.setattr(without, "refuse_repeats", lambda pairs: (Note(kind="sessions_alike", values={
        "sessions": "1 and 2", "rides": 1}),))
    assert note(check_claim(rides, "1.5 %"))["verdict"] == "not settled"
