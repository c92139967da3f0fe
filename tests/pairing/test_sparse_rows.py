"""Recordings with a row every 2 s: compared where their readings are, not on lines between them."""

import numpy as np
import pandas as pd
import pytest

from agree import pair_recordings
from agree.pairing.grid import Grid, as_read


@pytest.fixture(scope="module")
def power():
    """20 min with stops of 2 to 20 s."""
    rng = np.random.default_rng(4)
    course = 210 + np.convolve(rng.normal(0, 60, 1220), np.exp(-np.arange(21) / 6) / 3, "valid")[:1200]
    for start, seconds in zip(range(80, 1200, 97), (20, 2, 7, 12) * 3, strict=True):
        course[start:start + seconds] = 0
    return np.maximum(course, 0)


def noisy(power, seed):
    noise = np.random.default_rng(seed).normal(0, 3, power.size)
    return np.rint(np.where(power > 0, np.maximum(power + noise, 1), 0))


def rows(power, every):
    at = np.arange(0, power.size, every)
    return pd.DataFrame({"time_s": at, "power_W": power[at]})


@pytest.mark.parametrize(("sparse", "mean"), [("reference", True), ("device", False)])
def test_stops_and_dropouts_beside_a_row_every_two_seconds(power, sparse, mean):
    """Zeros of single rows are dropouts as a whole, and beside none of them power is made up."""
    whole = noisy(power, 2)
    if mean:
        whole = np.rint(np.convolve(whole, [0.5, 0.5])[:power.size])
    lost = whole.copy()
    places = np.arange(30, 1190, 40)
    places = places[(whole[places] > 50) & (whole[places - 4] > 50) & (whole[places + 4] > 50)]
    lost[places] = 0
    traces = rows(noisy(power, 1), 1), rows(lost, 2)
    pairs = pair_recordings(*traces[::1 if sparse == "device" else -1])
    assert {found.kind for found in pairs.faults} == {f"{sparse}_dropout"}
    assert sum(found.seconds for found in pairs.faults) == 2 * places.size
    beside = traces[0].power_W[:: 1 if mean else 2]  # a mean of 2 s stands for all seconds, a reading for its own
    want = 100 * (whole[::2].mean() / beside.mean() - 1) * (1 if sparse == "device" else -1)
    u, v = pairs.matched_reference[pairs.used], pairs.matched_device[pairs.used]
    assert 100 * (v.sum() / u.sum() - 1) == pytest.approx(want, abs=0.15)
    assert pairs.alignment.delay is None or pairs.alignment.delay.cause == "none"


def test_a_stop_between_two_rows_is_no_fault(power):
    pairs = pair_recordings(rows(noisy(power, 1), 1), rows(noisy(power, 2), 2))
    assert not pairs.faults
    assert pairs.matched.device_every_s == 2


def test_a_reading_stands_until_the_next_one_and_for_no_longer_over_a_gap():
    read = np.full(61, np.nan)
    read[np.r_[0:20:2, 21:41:2, 46:61:2]] = 100.0 + np.arange(28)
    found = as_read(Grid(0.0, np.zeros(61), read=read))
    assert found[:4].tolist() == [100, 100, 101, 101]
    assert found[18:23].tolist() == [109, 109, 109, 110, 110]  # a second late
    assert np.flatnonzero(np.isnan(found)).tolist() == [41, 42, 43, 44, 45]
    assert found[60] == 127


def test_uneven_rows_and_those_of_each_second_are_left_as_they_are():
    line = np.arange(61.0)
    uneven = np.full(61, np.nan)
    uneven[np.cumsum([0, 1, 2, 3] * 10)[:40] % 61] = 1.0
    for read in (None, uneven):
        assert as_read(Grid(0.0, line, read=read)) is line
