"""Two recordings laid over one another: grids, clocks, reasons, notes and refusals."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from agree import Recording, pair_recordings
from agree.core.errors import InputError, MatchError, SampleSizeError
from agree.pairing.clocks.fine import Fine
from agree.pairing.grid import lay_over
from tests.said import said

RIDES = Path(__file__).parent.parent / "data" / "rides"
BIKE, PEDALS = RIDES / "pair-1-bike.csv", RIDES / "pair-1-pedals.csv"


@pytest.fixture(scope="module")
def road():
    return pd.read_csv(RIDES / "single-road-78min.csv")["power_W"].to_numpy(float)


def record(power, begin=0.0, step=1.0, **fields):
    return Recording(time=begin + step * np.arange(len(power)), power=power, **fields)


def bias(pairs):
    used = pairs.used
    u, v = pairs.matched_reference[used], pairs.matched_device[used]
    return 100 * float((v - u).sum() / u.sum())


def refused(*args, kind=InputError, **options):
    with pytest.raises(kind) as caught:
        pair_recordings(*args, **options)
    return str(caught.value)


# A real pair.

def test_real_pair():
    pairs = pair_recordings(BIKE, PEDALS)
    assert pairs.alignment.lag_s == pytest.approx(-7, abs=0.5)
    assert pairs.used.sum() >= 3700
    assert -7 < bias(pairs) < -5
    assert sum(count for name, count in pairs.counts().items() if name.startswith(("device", "reference"))) == 0
    assert pairs.start == "2022-12-20T00:00:24Z"
    assert (pairs.reference_name, pairs.device_name) == ("pair-1-bike", "pair-1-pedals")
    assert pairs.cadence is not None
    assert abs(pairs.alignment.drift_ppm) < 3 * pairs.alignment.drift_se_ppm


def test_real_pair_swapped():
    pairs, swapped = pair_recordings(BIKE, PEDALS), pair_recordings(PEDALS, BIKE)
    assert swapped.alignment.lag_s == pytest.approx(-pairs.alignment.lag_s, abs=0.01)
    assert bias(swapped) == pytest.approx(6.3, abs=0.2)
    # On which grid the mean of two seconds is taken must not matter.
    assert (1 + bias(swapped) / 100) * (1 + bias(pairs) / 100) == pytest.approx(1, abs=5e-4)


# Grids.

@pytest.mark.parametrize(("lag", "whole"), [(0.3, 0), (-0.3, 0), (5.5, 6), (6.5, 7), (4.95, 5), (-3.08, -3)])
def test_readings_are_moved_by_whole_seconds_and_never_mixed(lag, whole):
    y = np.random.default_rng(2).integers(0, 400, 300).astype(float)
    over = lay_over(np.zeros(300), y, Fine(lag, np.nan, np.nan, np.nan, 0, False))
    assert (over.nearest - over.place == whole).all()
    assert (over.device == y[over.place + whole]).all()


# Reasons.

def test_a_lag_with_a_fraction_is_part_of_the_matched_pair(road):
    y = np.rint(0.6 * np.r_[np.zeros(3), road[:-3]] + 0.4 * np.r_[np.zeros(4), road[:-4]])
    hit = np.flatnonzero(y[100:4600] > 100)[::60] + 100
    y[hit] = 0
    pairs = pair_recordings(record(road), record(y))
    assert pairs.alignment.lag_s == pytest.approx(3.4, abs=0.05)
    assert np.flatnonzero(pairs.reason == "device_dropout") == pytest.approx(hit - 3)
    assert pairs.matched.mean_delay_s == pytest.approx(0.4, abs=0.05)
    assert (pairs.matched.kind, pairs.matched.fits) == ("none", True)
    assert set(pairs.device[np.isfinite(pairs.device)]) <= set(y)  # as recorded, not mixed
    error = (pairs.matched_device - pairs.matched_reference)[pairs.used]
    assert np.abs(error).max() < 12
    assert np.abs(bias(pairs)) < 0.01


def test_faults_of_the_reference_are_named_so(road):
    x = road.copy()
    x[1000:1010] = 0
    pairs = pair_recordings(record(x), record(0.97 * road))
    assert (pairs.reason[1000:1010] == "reference_dropout").all()
    assert pairs.counts()["device_spike"] == 0


def test_drift_is_taken_out_and_said(road):
    place = np.arange(road.size)
    y = np.interp(place / (1 + 2.5e-4), place, road)
    pairs = pair_recordings(record(road), record(y))
    assert pairs.alignment.drift_ppm == pytest.approx(250, abs=25)
    assert "the clocks drift by" in " ".join(said(pairs))
    error = (pairs.device - pairs.reference)[pairs.used]
    still = pair_recordings(record(road), record(y), lag_s=pairs.alignment.lag_s)
    assert error.std() < 0.7 * (still.device - still.reference)[still.used].std()


# Clocks.

@pytest.mark.parametrize(("shift", "words"), [
    (3600, "differ by 1 h, as after a wrong time zone"), (-19800, "differ by 5 h 30 min, as after"),
    (2730, "differ by 45 min, as after"), (1200, "lag of 1200.0 s is unusual"), (30, "")])
def test_note_on_large_lags(road, shift, words):
    one = record(road, 1.6e9, clock="utc", start="2020-09-13T12:26:40Z")
    two = record(np.rint(0.97 * road), 1.6e9 + shift, clock="local", start="2020-09-13T12:26:40")
    pairs = pair_recordings(one, two)
    assert pairs.alignment.lag_s == pytest.approx(shift, abs=0.05)
    assert words in "; ".join(said(pairs))
    assert pairs.alignment.note == ("" if not words else "lag_unusual" if "unusual" in words else "zone")


def test_clocks_of_different_kinds_are_counted_from_their_starts(road):
    one = record(road, 1.6e9, clock="utc", start="2020-09-13T12:26:40Z")
    pairs = pair_recordings(one, record(np.rint(0.97 * road[100:]), 5000.0))
    assert pairs.alignment.lag_s == pytest.approx(-100, abs=0.05)
    assert pairs.start == "2020-09-13T12:28:20Z"
    assert "different kinds (utc and elapsed)" in " ".join(said(pairs))


def test_the_same_file_twice_is_noted():
    pairs = pair_recordings(BIKE, BIKE)
    assert pairs.alignment.lag_s == 0
    assert pairs.alignment.correlation == pytest.approx(1)
    assert any(note.startswith("the two recordings are identical") for note in said(pairs))
    assert not any("identical" in note for note in said(pair_recordings(BIKE, PEDALS)))


def test_given_lag_is_used_as_it_is(road):
    y = np.rint(0.97 * road)
    pairs = pair_recordings(record(road), record(y), lag_s=30)
    assert pairs.alignment.lag_s == 30
    assert "the lag was given: 30 s; the traces match best at 0.0 s" in " ".join(said(pairs))
    assert pairs.alignment.channel == "given"
    steady = pair_recordings(record(np.full(600, 200.0)), record(np.full(600, 202.0)), lag_s=0)
    assert steady.used.sum() == 600


def test_max_lag(road):
    late = record(road, 500.0)
    assert "do not match" in refused(record(road), late, max_lag_s=60, kind=MatchError)
    assert pair_recordings(record(road), late, max_lag_s=600).alignment.lag_s == 500


def test_notes_of_the_recordings_are_prefixed(road):
    pairs = pair_recordings(record(road, notes=("a",)), record(0.9 * road, notes=("b",)), session="7")
    assert said(pairs)[-2:] == ("reference: a", "device: b")
    assert pairs.session == "7"


def test_cadence_of_the_device_if_the_reference_has_none(road):
    cadence = np.arange(road.size) % 100.0
    pairs = pair_recordings(record(road), record(0.9 * road, 5.0, cadence=cadence))
    assert np.array_equal(pairs.cadence, cadence)


# Refusals.

def test_constant_and_zero_power(road):
    message = refused(record(np.full(600, 200.0)), record(road), kind=MatchError)
    assert message.startswith("a steady ride cannot be aligned: the reference reads 200 W throughout")
    for lag_s in (None, 0):
        message = refused(record(road), record(0 * road), lag_s=lag_s, kind=MatchError)
        assert message.startswith("the device reads 0 W throughout (4700 s)")


def test_too_little_in_common(road):
    assert "holds 50 power readings" in refused(record(road[:50]), record(road), kind=SampleSizeError)
    assert "10 s in common" in refused(record(road), record(road), lag_s=4690, kind=MatchError)
    assert "do not overlap" in refused(record(road), record(road, 9e4), max_lag_s=60, kind=MatchError)


def test_nothing_left_to_compare(road):
    y = np.zeros(road.size)
    y[-1] = 500
    working = np.maximum(road, 100)
    message = refused(record(working[:-1]), record(y), lag_s=0)
    assert "no second is left to compare: of 4699 s in common" in message
    assert "device_dropout 4699" in message


@pytest.mark.parametrize(("options", "words"), [
    ({"lag_s": "3"}, "`lag_s` must be a number"), ({"lag_s": float("nan")}, "`lag_s` must be"),
    ({"lag_s": 1e300}, "0 s in common"), ({"max_lag_s": -1}, "`max_lag_s` must be"),
    ({"power_columns": "power"}, "`power_columns` must be a pair"), ({"power_columns": 5}, "must be a pair")])
def test_bad_options(road, options, words):
    assert words in refused(record(road), record(road), **options)


def test_six_hours_are_paired_whole():
    rng = np.random.default_rng(3)
    x = np.maximum(200 + np.cumsum(rng.integers(-12, 13, 21600)) % 150, 0.0)
    y = np.rint(0.97 * x)
    pairs = pair_recordings(record(x), record(y))
    assert pairs.used.sum() == 21600
