"""A value that stands for no reading and is no marker we know: every second of it is set aside, however short."""

import numpy as np
import pandas as pd
import pytest

from agree import pair_recordings
from agree.core.thresholds import MARKER_BEYOND, MARKER_HELD, MARKER_RUNS
from agree.faults.held import with_marker
from tests.faults.test_more_thresholds import seen

LOST = ((100, 20), (300, 3), (420, 11), (800, 1), (1000, 26))  # first second and length, s


def two_traces():
    rng = np.random.default_rng(4)
    true = np.repeat(rng.uniform(90, 290, 40), 30) + rng.normal(0, 8, 1200)
    true[600:610] = 400
    return np.rint(true), np.rint(true + rng.normal(0, 1, 1200))


@pytest.mark.parametrize("swapped", [False, True])
@pytest.mark.parametrize("marker", [255, 500, 999, 2000, -99])
def test_an_unknown_marker_leaves_no_trace_in_the_mean(marker, swapped):
    traces = list(two_traces())
    for start, length in LOST:
        traces[not swapped][start:start + length] = marker
    pairs = pair_recordings(*(pd.DataFrame({"time_s": np.arange(1200), "power_W": trace}) for trace in traces))
    for start, length in LOST:
        assert (pairs.reason[start:start + length] != "").all()
    used = pairs.reason == ""
    assert abs(pairs.device[used].mean() / pairs.reference[used].mean() - 1) < 1e-3


def test_what_is_frozen_twice_and_read_often_is_a_reading_elsewhere():
    reference, device = two_traces()
    value = float(np.median(device))
    device[100:120] = device[700:720] = value
    pairs = pair_recordings(*(pd.DataFrame({"time_s": np.arange(1200), "power_W": one}) for one in (reference, device)))
    elsewhere = (device == value) & ~np.isin(np.arange(1200), [*range(95, 125), *range(695, 725)])
    assert elsewhere.sum() >= 3
    assert set(pairs.reason[elsewhere]) == {""}


def judged(value=999.0, usual=300.0, beyond=0, more=0):
    """Two runs of 10 s at a value, of which so many seconds are foretold beyond it, and single seconds of it more."""
    y, foretold = 200 + np.arange(400) % 7, np.full(400, usual)
    y = y.astype(float)
    y[20:30] = y[50:60] = value
    y[100:100 + 2 * more:2] = value
    foretold[20:20 + beyond] = 2000
    return seen(y, foretold), [(21, 30), (51, 60)]


def seconds(spans):
    return sum(stop - start for start, stop in spans)


@pytest.mark.parametrize(("beyond", "found"), [pytest.param(2, 20, id="MARKER_BEYOND"),
                                               pytest.param(3, 18, id="MARKER_BEYOND")])
def test_the_highest_value_is_no_ceiling(beyond, found):
    view, spans = judged(beyond=beyond)
    assert MARKER_BEYOND == 0.9
    assert seconds(with_marker(view, spans)) == found


@pytest.mark.parametrize(("more", "found"), [pytest.param(2, 22, id="MARKER_HELD"),
                                             pytest.param(3, 18, id="MARKER_HELD")])
def test_a_value_within_the_others_is_hardly_read_else(more, found):
    view, spans = judged(more=more)
    view.y[300] = 1500
    assert MARKER_HELD == 0.8
    assert seconds(with_marker(view, spans)) == found


def test_one_run_says_nothing_of_a_value():
    view, spans = judged()
    assert MARKER_RUNS == 2
    assert with_marker(view, spans[:1]) == spans[:1]
