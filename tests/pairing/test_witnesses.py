"""Cadence and speed bear witness to the lag; two columns of one file have one clock."""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from agree import Recording, pair_recordings
from agree.core.errors import InputError, MatchError
from tests.said import said

RIDES = Path(__file__).parent.parent / "data" / "rides"
BIKE, PEDALS = RIDES / "pair-1-bike.csv", RIDES / "pair-1-pedals.csv"


@pytest.fixture(scope="module")
def bike():
    table = pd.read_csv(BIKE)
    return table["power_W"].to_numpy(float), table["cadence_rpm"].to_numpy(float)


def record(power, begin=0.0, **fields):
    return Recording(time=begin + np.arange(power.size), power=power, **fields)


def steady(size, seed):
    return np.rint(200 + 4 * np.random.default_rng(seed).standard_normal(size))


def late(values, seconds):
    return np.r_[np.full(seconds, values[0]), values[:values.size - seconds]]


# Witnesses.

def test_cadence_agrees_in_the_real_pair():
    pairs = pair_recordings(BIKE, PEDALS)
    (witness,) = pairs.alignment.witnesses
    assert witness.channel == "cadence"
    assert witness.lag_s == pytest.approx(pairs.alignment.lag_s, abs=1)
    assert witness.agrees
    assert witness.strength > 50
    assert 0 < witness.lag_se_s < 0.2
    assert "the lag by other channels, which agree: cadence" in " ".join(said(pairs))
    assert pairs.alignment.to_dict()["witnesses"] == [{
        "channel": "cadence", "lag_s": witness.lag_s, "lag_se_s": witness.lag_se_s, "agrees": True,
        "correlation": witness.correlation, "strength": witness.strength}]


@pytest.mark.parametrize(("seconds", "agrees"), [(0, True), (2, True), (6, False)])
def test_power_later_than_cadence_is_said(bike, seconds, agrees):
    power, cadence = bike
    pairs = pair_recordings(record(power, cadence=cadence), record(late(power, seconds), cadence=cadence))
    (witness,) = pairs.alignment.witnesses
    assert pairs.alignment.lag_s == pytest.approx(seconds, abs=0.05)
    assert witness.lag_s == pytest.approx(0, abs=0.05)
    assert witness.agrees == agrees
    assert ("cadence says +0.0 s, 6.0 s before the lag of power" in " ".join(said(pairs))) == (not agrees)


def test_contradiction_is_refused(bike):
    power, cadence = bike
    one, two = record(power, cadence=cadence), record(power, cadence=late(cadence, 40))
    with pytest.raises(MatchError) as caught:
        pair_recordings(one, two)
    message = str(caught.value)
    assert message.startswith("power and cadence match at different lags: power at +0.0 s (correlation 1.00")
    assert "cadence at +40.0 s (correlation" in message
    assert "lag_s=... (--lag ...)" in message
    assert pair_recordings(one, two, lag_s=0).alignment.channel == "given"


@pytest.mark.parametrize("channel", ["cadence", "speed"])
def test_a_witness_decides_where_power_is_steady(bike, channel):
    power, cadence = bike
    one = record(steady(power.size, 1), **{channel: cadence})
    two = record(steady(power.size, 2), 100.0, **{channel: cadence})
    pairs = pair_recordings(one, two)
    assert pairs.alignment.lag_s == pytest.approx(100, abs=0.02)
    assert pairs.alignment.channel == channel
    assert said(pairs)[0].startswith(f"the lag comes from {channel}, of which the match is clear")
    assert "a steady ride cannot be aligned" in said(pairs)[0]
    assert pairs.alignment.witnesses == ()


def test_cadence_chooses_between_lags_of_power(bike):
    """30-s intervals match at every 60 s; cadence tells which, and power to the second."""
    rng = np.random.default_rng(6)
    cadence = bike[1][:2400]
    x, y = (np.rint(np.where(np.arange(2400) // 30 % 2 == 0, 120.0, 300.0) + 3 * rng.standard_normal(2400))
            for _ in range(2))
    with pytest.raises(MatchError, match="several lags almost equally well"):
        pair_recordings(record(x), record(y, 1000.0))
    pairs = pair_recordings(record(x, cadence=cadence), record(late(y, 61), 1000.0, cadence=late(cadence, 60)))
    assert pairs.alignment.channel == "cadence"
    assert pairs.alignment.lag_s == pytest.approx(1061, abs=0.02)
    with pytest.raises(MatchError, match="several lags almost equally well"):  # cadence at a lag at which power is not
        pair_recordings(record(x, cadence=cadence), record(y, 1000.0, cadence=late(cadence, 31)))


def test_cadence_goes_before_speed(bike):
    power, cadence = bike
    rng = np.random.default_rng(3)
    speed = 8 + np.convolve(rng.standard_normal(power.size), np.ones(30) / 5, "same")
    one = record(steady(power.size, 1), cadence=cadence, speed=speed)
    two = record(steady(power.size, 2), 100.0, cadence=cadence, speed=late(speed, 2))
    alignment = pair_recordings(one, two).alignment
    assert alignment.channel == "cadence"
    assert [(w.channel, round(w.lag_s), w.agrees) for w in alignment.witnesses] == [("speed", 102, True)]


def test_weak_witnesses_are_not_heard(bike):
    power, cadence = bike
    other = np.random.default_rng(4).permutation(cadence)
    for channel in (other, np.full(power.size, 80.0), np.full(power.size, np.nan)):
        pairs = pair_recordings(record(power, cadence=cadence), record(power, cadence=channel))
        assert pairs.alignment.witnesses == ()
    with pytest.raises(MatchError, match="steady ride cannot be aligned"):
        pair_recordings(record(steady(900, 1), cadence=cadence[:900]), record(steady(900, 2), cadence=other[:900]))


def test_cadence_of_wrong_pieces_does_not_decide(bike):
    """Pieces of different rides of steady power must not be joined by a chance likeness of cadence."""
    rng = np.random.default_rng(5)
    others = [pd.read_csv(RIDES / name)["cadence_rpm"].to_numpy(float) for name in (
        "single-road-78min.csv", "single-road-stops.csv")]
    joined = 0
    for _ in range(40):
        one, two = bike[1], others[int(rng.integers(2))]
        one, two = (v[i:i + 1200] for v in (one, two) for i in [int(rng.integers(v.size - 1200))])
        try:
            pair_recordings(record(steady(1200, 1), cadence=one), record(steady(1200, 2), cadence=two))
            joined += 1
        except MatchError:
            pass
    assert joined == 0


# Channels of the pairs.

def test_cadence_and_temperature_of_the_pairs(bike):
    power, cadence = bike
    warm, cold = np.linspace(20, 30, power.size), np.full(power.size, 5.0)
    one = record(power, cadence=cadence, temperature=cold)
    both = pair_recordings(one, record(power, 7.0, cadence=cadence + 1, temperature=warm))
    assert np.array_equal(both.cadence, cadence)
    assert np.array_equal(both.temperature, warm)
    assert np.array_equal(pair_recordings(one, record(power)).temperature, cold)
    assert pair_recordings(record(power), record(power)).temperature is None


# One file.

@pytest.fixture
def joined(tmp_path, bike):
    power = bike[0]
    file = tmp_path / "both.csv"
    pd.DataFrame({"time_s": np.arange(power.size), "power crank [W]": power, "power pedals [W]": late(0.98 * power, 2),
                  "power steady [W]": steady(power.size, 1),
                  "heart": 120, "power other [W]": power[::-1]}).to_csv(file, index=False)
    return file


def test_two_columns_of_one_file(joined):
    for device in (None, joined, str(joined)):
        pairs = pair_recordings(joined, device, power_columns=("power crank [W]", "power pedals [W]"))
        assert pairs.alignment.lag_s == pytest.approx(2, abs=0.05)
        assert (pairs.reference_column, pairs.device_column) == ("power crank [W]", "power pedals [W]")
        assert (pairs.reference_name, pairs.device_name) == ("both, power crank [W]", "both, power pedals [W]")
        assert pairs.alignment.channel == "power"


@pytest.mark.parametrize(("column", "why"), [("power steady [W]", "steady ride"), ("power other [W]", "do not match")])
def test_lag_of_0_is_taken_in_one_file(joined, column, why):
    pairs = pair_recordings(joined, None, power_columns=("power crank [W]", column), faults="keep")
    assert pairs.alignment.lag_s == 0
    assert pairs.alignment.channel == "assumed"
    assert math.isnan(pairs.alignment.lag_se_s)
    assert said(pairs)[0].startswith("both columns have one clock: a lag of 0 s is taken; ")
    assert why in said(pairs)[0]


def test_one_frame_and_one_column(joined):
    frame = pd.read_csv(joined)
    names = ("power crank [W]", "power pedals [W]")
    assert pair_recordings(frame, frame, power_columns=names).alignment.lag_s == pytest.approx(2, abs=0.05)
    assert pair_recordings(frame, None, power_columns=names).device_name == "device, power pedals [W]"
    same = pair_recordings(joined, None, power_columns=(names[0], names[0]))
    assert any(note.startswith("the two recordings are identical") for note in said(same))


def test_columns_must_be_named(joined, bike):
    for columns in ((None, None), ("power crank [W]", None)):
        with pytest.raises(InputError) as caught:
            pair_recordings(joined, None, power_columns=columns)
        message = str(caught.value)
        assert "columns that may be power are 'power crank [W]', 'power pedals [W]', 'power steady [W]'" in message
        assert "power_columns=('power crank [W]', 'power pedals [W]')" in message
        assert "heart" not in message
    with pytest.raises(InputError, match="no column is called power; there are 'a', 'b'"):
        pair_recordings(pd.DataFrame({"a": [1.0], "b": [2.0]}), None)
    with pytest.raises(InputError, match="a Recording holds one power column"):
        pair_recordings(record(bike[0]), None)


# Options of reading.

def test_options_of_reading_are_passed(tmp_path, bike):
    power = bike[0]
    one, two = tmp_path / "one.csv", tmp_path / "two.csv"
    one.write_text("t;a;b\n" + "".join(f"{i};{p:.1f};{200 + i % 3}\n".replace(".", ",") for i, p in enumerate(power)))
    two.write_text("t,power\n" + "".join(f"{i + 5},{p}\n" for i, p in enumerate(power)))
    pairs = pair_recordings(one, two, reference_read={"power_column": "a", "decimal": ",", "name": "crank"})
    assert pairs.alignment.lag_s == pytest.approx(5, abs=0.02)
    assert (pairs.reference_name, pairs.device_name) == ("crank", "two")


@pytest.mark.parametrize(("options", "words"), [
    ({"device_read": {"colour": "red"}}, "got 'colour'"), ({"reference_read": 3}, "`reference_read` must be a mapping"),
    ({"reference_read": {"power_column": "a"}, "power_columns": ("b", None)}, "named twice: 'b' in `power_columns`")])
def test_wrong_options_of_reading(options, words):
    with pytest.raises(InputError, match=words):
        pair_recordings(BIKE, PEDALS, **options)


def test_a_recording_is_read_already(bike):
    with pytest.raises(InputError, match="the device is a Recording, which is read already"):
        pair_recordings(BIKE, record(bike[0]), device_read={"decimal": ","})
