"""An answer is withheld where other faults, as likely beside a slow trace, would not give it."""

import numpy as np
import pytest

from agree import Pairs, check_claim
from agree.core.results.note import Note


def asked(scale, low, high):
    rng = np.random.default_rng(1)
    power = 200 + 60 * np.sin(np.arange(3600) / 50) + rng.normal(0, 5, 3600)
    told = Note(kind="pair_faults_untold", severity="trust", values={"low": low, "high": high})
    return check_claim(Pairs(reference=power, device=scale * power + rng.normal(0, 2, 3600), notes=(told,)), "2 %")


@pytest.mark.parametrize(("scale", "low", "high", "verdict"), [
    (1.0, -0.015, 0.0, "holds"), (1.0, -0.03, 0.0, "not settled"), (1.0, 0.0, 0.03, "not settled"),
    (1.04, -0.01, 0.0, "does not hold"), (1.04, -0.03, 0.0, "not settled"), (0.96, 0.0, 0.03, "not settled")])
def test_an_answer_stands_whichever_seconds_are_faulty(scale, low, high, verdict):
    found = asked(scale, low, high)
    told = [note.values for note in found.notes if isinstance(note, Note) and note.kind == "used_faults_untold"]
    assert found.verdict == verdict
    assert bool(told) == (verdict == "not settled")
    said, mean = " ".join(str(found).split()), found.readings[0].estimate
    assert ("is about as likely" in said) == (verdict == "not settled")
    assert "does not tell which seconds of the other are faulty" in said
    assert found.budget[0].name == "seconds that may be faulty"
    assert mean.low < 100 * (scale - 1 + low) + 0.1
    assert mean.high > 100 * (scale - 1 + high) - 0.1
    for values in told:
        assert values["low"] == pytest.approx(100 * (scale - 1 + low), abs=0.1)
