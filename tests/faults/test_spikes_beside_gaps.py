"""Spikes whose neighbours a trace lacks, and sprints that begin or end beside a gap."""

import numpy as np
import pytest

from agree.estimators.response.matching import find_filter
from agree.faults.detect import find_faults
from agree.faults.spike import is_weighed, spikes
from tests.faults.test_thresholds import claim, seen

AT = 200


def found(before=0, after=0, *, of="device", height=1900.0, sprint=False):
    """Kinds and places in a ride whose device jumps at 200 s, or that sprints there, beside gaps of so many seconds."""
    rng = np.random.default_rng(1)
    x = 200 + 40 * np.sin(np.arange(400) / 9) + rng.normal(0, 9, 400)
    if sprint:
        x[AT:AT + 6] += [700, 800, 700, 600, 400, 200]
    y = x + rng.normal(0, 2, 400)
    if not sprint:
        y[AT] = height
    for trace in [y] * (of != "reference") + [x] * (of != "device"):
        trace[AT - before:AT] = trace[AT + 1:AT + 1 + after] = np.nan
    return [(one.reason, one.start, one.stop) for one in find_faults(x, y, find_filter(x, y)).found]


@pytest.mark.parametrize(("before", "after"), [(2, 0), (0, 5), (30, 0), (3, 3)])
def test_a_spike_is_found_beside_a_gap_of_any_length(before, after):
    assert found(before, after) == [("device_spike", AT, AT + 1)]


@pytest.mark.parametrize("of", ["reference", "both"])
def test_above_the_top_of_the_ride_it_is_a_spike_beside_a_gap_of_the_reference_too(of):
    assert found(5, 0, of=of) == [("device_spike", AT, AT + 1)]


@pytest.mark.parametrize("of", ["device", "reference", "both"])
def test_a_sprint_after_a_gap_or_before_one_is_none(of):
    assert found(5, 0, of=of, sprint=True) == found(0, 5, of=of, sprint=True) == []


@pytest.mark.parametrize(("lacks", "weighed"), [("own", True), ("other", False)])
def test_what_the_other_trace_lacks_may_hold_the_energy(lacks, weighed):
    """Of 11 s about a claim of 5 s three are unknown: more than CLAIM_UNKNOWN, 0.2."""
    usual = np.full(50, 200.0)
    y, judge = usual.copy(), usual.copy()
    (y if lacks == "own" else judge)[17:20] = np.nan
    view = seen(y, usual, judge)
    view.known[17:20] = False
    assert is_weighed(view, claim(unknown=3 / 11)) == weighed
    assert is_weighed(view, claim(unknown=0.2))


def test_the_energy_of_a_gap_is_the_usual_one():
    usual = np.full(400, 200.0)
    y = usual.copy()
    y[AT], y[AT - 5:AT] = 900.0, np.nan
    view = seen(y, usual)
    view.known[AT - 5:AT] = False
    assert [(one.start, one.stop, round(one.budget)) for one in spikes(view)] == [(AT, AT + 1, 700)]
