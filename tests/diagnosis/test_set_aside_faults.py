"""Seconds set aside as causes: those of which the data do not tell whose they are, too."""

import numpy as np
import pytest

from agree import Pairs
from agree.core.data.fault import REASONS
from agree.diagnosis.set_aside_faults import set_aside_faults


def halves(*runs):
    """A ride of 600 s at 200 W with runs (start, stop, factor of the device, reason)."""
    power = np.full(600, 200.0)
    device, reason = power.copy(), np.full(600, "", dtype=f"U{max(map(len, REASONS))}")
    for start, stop, factor, why in runs:
        device[start:stop] *= factor
        reason[start:stop] = why
    return Pairs(reference=power, device=device, reason=reason)


@pytest.mark.parametrize(("runs", "values"), [
    ([(100, 160, 0.5, "either_partial"), (300, 360, 0.52, "either_partial")],
     {"lower": "device", "part_percent": 51.0}),
    ([(100, 160, 2.0, "either_partial")], {"lower": "reference", "part_percent": 50.0}),
    ([(100, 160, 0.5, "either_partial"), (300, 360, 2.0, "either_partial")], {})])
def test_a_half_whose_side_is_not_told_is_a_cause(runs, values):
    (found,) = set_aside_faults([halves(*runs)], 0.0)
    assert (found.cause, found.role) == ("partial", "either")
    own = {name: found.values[name] for name in found.values if name not in ("seconds", "events", "effect_percent")}
    assert own == pytest.approx(values)
    assert found.values["seconds"] == 60 * len(runs)
    assert found.percent == pytest.approx(abs(found.values["effect_percent"]))


def test_what_it_does_to_the_mean_error():
    (found,) = set_aside_faults([halves((100, 160, 0.5, "either_partial"))], 0.0)
    assert found.values["effect_percent"] == pytest.approx(-5.0)


def test_each_side_has_its_own():
    runs = [(50, 60, 0.5, "device_partial"), (100, 160, 0.5, "either_partial"), (300, 305, 0.0, "device_dropout")]
    assert [(one.cause, one.role) for one in set_aside_faults([halves(*runs)], 0.0)] == [
        ("dropout", "device"), ("partial", "device"), ("partial", "either")]
