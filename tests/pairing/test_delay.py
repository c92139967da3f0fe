"""A lag between stamps with dates: whose it is, by cadence and by what the response explains."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from agree import Recording, pair_recordings
from agree.core.data.matched import Matched
from agree.report.notes.sentence import note_text

RIDES = Path(__file__).parent.parent / "data" / "rides"
NONE = Matched(reference=[100.0], device=[101.0])


@pytest.fixture(scope="module")
def bike():
    table = pd.read_csv(RIDES / "pair-1-bike.csv")
    return table["power_W"].to_numpy(float), table["cadence_rpm"].to_numpy(float)


def stamped(power, begin, cadence=None, clock="utc"):
    return Recording(time=1.6e9 + begin + np.arange(power.size), power=power, cadence=cadence, clock=clock,
                     start="2020-09-13T12:26:40Z")


def late(x, seconds):
    return np.r_[np.full(seconds, x[0]), x[:x.size - seconds]]


@pytest.mark.parametrize(("power_late", "clock_late", "cadence", "cause"), [
    (8, 0, True, "device"), (0, 8, True, "clock"), (8, 0, False, "undecided"), (0, 0, True, "none"),
    (0, 90, False, "clock"), (0, -8, True, "clock")])
def test_whose_the_lag_is(bike, power_late, clock_late, cadence, cause):
    power, turns = bike
    y = np.rint(0.98 * late(power, power_late) + np.random.default_rng(1).standard_normal(power.size))
    pairs = pair_recordings(stamped(power, 0, turns if cadence else None),
                            stamped(np.maximum(y, 0), clock_late, turns if cadence else None))
    delay = pairs.alignment.delay
    assert delay.cause == cause
    assert delay.rest_s == pytest.approx(power_late + clock_late, abs=0.1)
    assert delay.explained_s == 0
    noted = [note for note in pairs.notes if getattr(note, "kind", "") == "pair_delay"]
    assert [note.values["cause"] for note in noted] == ([] if cause == "none" else [cause])
    for note in noted:
        assert f"is {abs(delay.rest_s):.1f} s late" in note_text(note)
    assert pairs.alignment.to_dict()["delay"]["cause"] == cause


@pytest.mark.parametrize("kind", ["running mean", "first order"])
def test_what_the_response_explains_is_no_delay(bike, kind):
    power, _ = bike
    if kind == "running mean":
        y, own = lfilter(np.ones(7) / 7, [1], power), 3.0
    else:
        f = 1 - np.exp(-1 / 4)
        y, own = lfilter([f], [1, f - 1], power), 3.52  # (1 - f)/f, of a lag that is stepped every second
    y = np.maximum(np.rint(0.98 * y + 2 * np.random.default_rng(2).standard_normal(y.size)), 0)
    delay = pair_recordings(stamped(power, 0), stamped(y, 12)).alignment.delay
    assert delay.rest_s == pytest.approx(12, abs=0.3)
    assert delay.explained_s == pytest.approx(own, abs=0.3)
    other = pair_recordings(stamped(y, 0), stamped(power, 12)).alignment.delay
    assert other.rest_s == pytest.approx(12, abs=0.3)
    assert other.explained_s == pytest.approx(-own, abs=0.3)


def test_no_dates_no_word(bike):
    power, turns = bike
    found = pair_recordings(stamped(power, 0, turns, "elapsed"), stamped(late(power, 8), 0, turns, "elapsed"))
    assert found.alignment.delay is None


@pytest.mark.parametrize(("width", "more", "differs"), [(8, 0, False), (1, 4, True), (8, 4, True)])
def test_a_witness_is_heard_with_what_the_response_explains(bike, width, more, differs):
    """A mean over 8 s delays power by 3.5 s, and not cadence; 4 s more of power alone are still said."""
    power, turns = bike
    y = late(lfilter(np.ones(width) / width, [1], power), more)
    y = np.maximum(np.rint(y + np.random.default_rng(1).normal(0, 2, power.size)), 0)
    pairs = pair_recordings(*(Recording(time=np.arange(p.size), power=p, cadence=turns) for p in (power, y)))
    kinds = {note.kind for note in pairs.notes if not isinstance(note, str)}
    assert ("pair_witness_differs" in kinds, "pair_witnesses_agree" in kinds) == (differs, not differs)
    assert [witness.agrees for witness in pairs.alignment.witnesses] == [not differs]
