"""What a caller may say about reading, zones and the hours when clocks change, and the channels beside power."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agree import InputError, read_recording
from agree.recordings.options import READ_KEYS, options_from_text
from agree.recordings.read import read_table_of, recording_of_table
from tests.each import each
from tests.said import said

AMBIGUOUS = "03/04/2024 10:00:0{},1.050"


def write(folder, *cells: str, header: str = "time,power"):
    file = folder / "ride.csv"
    file.write_text("\n".join([header, *cells]) + "\n", encoding="utf-8")
    return file


def refused(path, **options) -> str:
    with pytest.raises(InputError) as caught:
        read_recording(path, **options)
    return str(caught.value)


def test_text_says_the_same_as_arguments():
    assert options_from_text([]) == {}
    assert options_from_text(["power=Power 2", "time= t ", "cadence=column 3", "speed=v=x", "delimiter=semicolon",
                              "decimal=comma", "dates=month-first", "zone=Europe/Berlin"]) == {
        "power_column": "Power 2", "time_column": "t", "cadence_column": "column 3", "speed_column": "v=x",
        "delimiter": ";", "decimal": ",", "day_first": False, "zone": "Europe/Berlin"}
    signs = {"comma": ",", "tab": "\t", "\\t": "\t", "pipe": "|", "space": " ", " ": " ", ";": ";", "|": "|"}
    for word, sign in signs.items():
        assert options_from_text([f"DELIMITER={word}"]) == {"delimiter": sign}
    assert options_from_text(["decimal=."]) == options_from_text(["decimal=Point"]) == {"decimal": "."}
    assert set(READ_KEYS) == {"power", "time", "cadence", "speed", "delimiter", "decimal", "dates", "zone", "column",
                              "quantity"}


@pytest.mark.parametrize(("texts", "message"), [
    (["power"], "'power' does not say how to read; expected KEY=VALUE with a key of power, time, cadence, speed, "
                "delimiter, decimal, dates, zone, column, quantity, such as power='Power 2' or decimal=comma"),
    (["colour=red"], "'colour=red' does not say how to read; expected KEY=VALUE with a key of power, time, cadence, "
                     "speed, delimiter, decimal, dates, zone, column, quantity, such as power='Power 2' or "
                     "decimal=comma"),
    (["power=a", "power=b"], "power is told twice, the second time in 'power=b'; expected once; leave one out"),
    (["decimal=dot"], "'decimal=dot' is not understood; expected decimal= one of point, comma"),
    (["dates=True"], "'dates=True' is not understood; expected dates= one of day-first, month-first"),
    (["delimiter=x"], "'delimiter=x' is not understood; expected delimiter= one of comma, semicolon, tab, pipe, space"),
    (["delimiter="], "'delimiter=' is not understood; expected delimiter= one of comma, semicolon, tab, pipe, space"),
    (["power="], "`power_column` must be the header of a column, or 'column 2'; got ''"),
    (["zone=Mars"], "`zone` must be the IANA name of a time zone, such as 'Europe/Berlin'; got 'Mars'"),
])
def test_text_that_cannot_be_meant(texts, message):
    with pytest.raises(InputError) as caught:
        options_from_text(texts)
    assert str(caught.value) == message


@pytest.mark.parametrize(("options", "message"), [
    ({"power_column": 2}, "`power_column` must be the header of a column, or 'column 2'; got '2'"),
    ({"speed_column": " "}, "`speed_column` must be the header of a column, or 'column 2'; got ' '"),
    ({"delimiter": "comma"}, "`delimiter` must be one of ',', ';', '\\t', '|', ' '; got 'comma'"),
    ({"decimal": ";"}, "`decimal` must be one of '.', ','; got ';'"),
    ({"day_first": 1}, "`day_first` must be True, False or None; got '1'"),
    *[({"zone": zone}, f"`zone` must be the IANA name of a time zone, such as 'Europe/Berlin'; got {str(zone)[:40]!r}")
      for zone in ("Nowhere/Town", "../../etc/passwd", "Europe", "", 2, "x" * 300, "a\0b")],
])
def test_arguments_that_cannot_be_meant(tmp_path, options, message):
    assert refused(write(tmp_path, "0,1", "1,2", "2,3"), **options) == message


def test_what_is_told_is_done_and_stands_in_the_notes(tmp_path):
    file = write(tmp_path, *[AMBIGUOUS.format(k) for k in range(3)])
    found = read_recording(file, day_first=False, decimal=",", zone="America/New_York")
    assert (found.power.tolist(), found.start) == ([1050] * 3, "2024-03-04T15:00:00Z")
    assert said(found) == (
        "power: column 'power'", "time: column 'time' (date month first, local time of America/New_York)",
        "delimiter: ','", "column 'power': points group thousands")
    assert read_recording(file, day_first=True, decimal=".").power.tolist() == [1.05] * 3
    assert read_recording(file, day_first=True).start == "2024-04-03T10:00:00"
    file.write_text("time;power;power 2\n0;1,5;2\n1;1,5;3\n2;1,5;4\n", encoding="utf-8")
    assert read_recording(file, power_column="POWER 2").power.tolist() == [2, 3, 4]
    assert refused(file, decimal=".", power_column="power") == (
        "ride.csv, row 2: found '1,5' in column 'power'; expected a number; correct the cell, or leave it blank if "
        "there is no reading")
    assert refused(file, delimiter=",").startswith("ride.csv, row 2: found 2 cells; expected 1, as in the first row; ")
    given = {"power_column": "power 2"}
    table, given, _ = read_table_of(file, given)
    assert recording_of_table(table, "x", given).power.tolist() == [2, 3, 4]
    assert refused(write(tmp_path, *["13/04/2024 1:00,1"] * 3), day_first=False) == (
        "ride.csv, row 2: found '13/04/2024 1:00' in column 'time'; expected a date with the month first; correct "
        "day_first, or the stamp")


ZONES = ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "America/Santiago", "Asia/Kolkata",
         "Europe/Lisbon", "Pacific/Auckland", "UTC"]


def changes(zone: str):
    """Return the seconds in UTC since 1970 at which the clocks of a zone changed in 2024."""
    offset = [datetime.fromtimestamp(1_704_067_200 + 1800 * k, ZoneInfo(zone)).utcoffset() for k in range(17_568)]
    return [1_704_067_200 + 1800 * k for k in range(1, 17_568) if offset[k] != offset[k - 1]] or [1_704_067_200]


@given(st.sampled_from(ZONES), st.integers(0, 3), st.integers(-9000, 9000), st.integers(3, 60),
       st.sampled_from([1, 60]))
def test_zone_gives_back_utc(one_folder, zone, which, begin, count, step):
    change = changes(zone)
    start = change[which % len(change)] + begin
    utc = start + step * np.arange(count)
    local = [datetime.fromtimestamp(int(t), ZoneInfo(zone)) for t in utc]
    file = write(one_folder, *[f"{t:%Y-%m-%d %H:%M:%S},{200 + k}" for k, t in enumerate(local)])
    found = read_recording(file, zone=zone)
    assert found.clock == "utc"
    offset = found.time - utc
    if not any("the first taken" in note for note in said(found)):
        assert (offset == 0).all()
    else:  # all within an hour that comes twice: which one it is, nothing tells
        assert {t.replace(fold=0).utcoffset() for t in local} != {t.replace(fold=1).utcoffset() for t in local}
        assert len(set(offset.tolist())) == 1


def local_rows(before: datetime, after: datetime, count: int = 5) -> list[str]:
    """Return rows second by second up to one local stamp, and on from another."""
    stamps = [before - timedelta(seconds=k) for k in reversed(range(count))]
    stamps += [after + timedelta(seconds=k) for k in range(count)]
    return [f"{t:%Y-%m-%d %H:%M:%S},{200 + k}" for k, t in enumerate(stamps)]


@pytest.mark.parametrize(("before", "after", "word"), [
    ("2024-10-27 02:59:59", "2024-10-27 02:00:00", "end"), ("2024-11-03 01:59:59", "2024-11-03 01:00:00", "end"),
    ("2024-04-07 02:59:59", "2024-04-07 02:00:00", "end"), ("2024-10-27 01:59:57", "2024-10-27 01:00:02", "end"),
    ("2024-03-31 01:59:59", "2024-03-31 03:00:00", "start"), ("2024-03-31 00:59:59", "2024-03-31 02:00:00", "start"),
    ("2024-03-10 01:59:59", "2024-03-10 03:00:00", "start"), ("2024-10-06 01:59:59", "2024-10-06 03:00:00", "start"),
])
def test_change_of_the_clock_is_bridged(tmp_path, before, after, word):
    first, then = map(datetime.fromisoformat, (before, after))
    found = read_recording(write(tmp_path, *local_rows(first, then)))
    real = (then - first).total_seconds() % 3600
    assert np.diff(found.time).tolist() == [1] * 4 + [real] + [1] * 4
    assert (found.clock, found.start) == ("local", (first - timedelta(seconds=4)).isoformat())
    what = "an hour added" if word == "end" else "an hour taken out"
    assert f"time: the {word} of daylight saving at {first:%H:%M:%S}: {what} from there on" in said(found)


@pytest.mark.parametrize(("before", "after"), [
    ("2024-03-31 01:59:58", "2024-03-31 03:00:00"),  # a second too much
    ("2024-03-30 01:59:59", "2024-03-30 03:00:00"),  # Saturday
    ("2024-06-02 01:59:59", "2024-06-02 03:00:00"),  # June
    ("2024-03-31 11:59:59", "2024-03-31 13:00:00"),  # noon
    ("2024-03-31 01:29:59", "2024-03-31 02:30:00"),  # half past
])
def test_a_pause_of_an_hour_stays(tmp_path, before, after):
    first, then = map(datetime.fromisoformat, (before, after))
    found = read_recording(write(tmp_path, *local_rows(first, then)))
    assert np.diff(found.time).max() == (then - first).total_seconds()
    assert not any("daylight" in note for note in said(found))


@pytest.mark.parametrize(("before", "after"), [
    ("2024-06-02 02:59:59", "2024-06-02 02:00:00"), ("2024-10-26 02:59:59", "2024-10-26 02:00:00"),
    ("2024-10-27 10:59:59", "2024-10-27 10:00:00"), ("2024-10-27 02:59:00", "2024-10-27 02:00:00"),
    ("2024-10-27 02:59:59", "2024-10-27 01:00:00"),
])
def test_other_steps_back_are_refused(tmp_path, before, after):
    message = refused(write(tmp_path, *local_rows(*map(datetime.fromisoformat, (before, after)))))
    assert message.startswith(f"ride.csv, row 7: found '{after}' after '{before}' in column 'time'")


@pytest.mark.parametrize(("cells", "seconds"), [
    (["2024-10-27 02:59:59 CEST", "2024-10-27 02:00:00 CET", "2024-10-27 02:00:01 cet"], [0, 1, 2]),
    (["27.10.2024 02:59:59 MESZ", "27.10.2024 02:00:00 MEZ", "27.10.2024 02:00:01 MEZ"], [0, 1, 2]),
    (["2024-10-27 00:59:59 GMT", "2024-10-27 01:00:00 WET", "2024-10-27 03:00:01 EET"], [0, 1, 2]),
    (["2024-10-27 03:59:59 EEST", "2024-10-27 02:00:00 WEST", "2024-10-27 01:00:01Z"], [0, 1, 2]),
    (["2024-10-27T02:59:59+02:00[Europe/Berlin]", "2024-10-27T02:00:00+01:00[Europe/Berlin]",
      "2024-10-27T02:00:02.5+01:00[Europe/Berlin]"], [0, 1, 3.5]),
    (["27/10/2024 02:59:59 Europe/Paris", "27/10/2024 02:00:00 Europe/Paris", "27/10/2024 02:00:01 Europe/Paris"],
     [0, 1, 2]),
    (["2024-10-26 23:29:59 -0130", "2024-10-27 01:00:00 +0000", "2024-10-27 06:30:01 +0530"], [0, 1, 2]),
])
def test_zones_in_the_stamps(tmp_path, cells, seconds):
    found = read_recording(write(tmp_path, *[f"{cell},200" for cell in cells]))
    assert found.clock == "utc"
    assert (found.time - datetime(2024, 10, 27, 0, 59, 59, tzinfo=UTC).timestamp()).tolist() == seconds
    assert "zone: not used, as the stamps have their own" in said(read_recording(tmp_path / "ride.csv", zone="UTC"))


@pytest.mark.parametrize("code", ["IST", "CST", "EST", "BST", "PDT", "XYZ"])
def test_a_code_of_several_zones_is_refused_unless_the_zone_is_told(tmp_path, code):
    file = write(tmp_path, *[f"2024-05-31 10:00:0{k} {code},200" for k in range(3)])
    assert refused(file) == (
        f"ride.csv, row 2: found '2024-05-31 10:00:00 {code}' in column 'time', a zone that is not the name of one "
        "zone alone; expected an offset, as in +02:00; name the zone, as in zone='Europe/Berlin', or export stamps "
        "in UTC")
    found = read_recording(file, zone="America/Chicago")
    assert found.start == "2024-05-31T15:00:00Z"
    assert f"zone: '{code}' in the stamps taken as local time of America/Chicago" in said(found)


def test_zones_that_do_not_fit(tmp_path):
    assert refused(write(tmp_path, *[f"2024-03-31 02:30:0{k},1" for k in range(3)]), zone="Europe/Berlin") == (
        "ride.csv, row 2: found '2024-03-31 02:30:00' in column 'time', a time that Europe/Berlin skips; expected "
        "stamps of that zone; correct zone, or export stamps in UTC")
    assert refused(write(tmp_path, "2024-05-31 10:00:00 Mars/Base,1")).startswith(
        "ride.csv, row 2: found '2024-05-31 10:00:00 Mars/Base' in column 'time', a zone that is not known; expected ")
    two = write(tmp_path, "2024-05-31 10:00:00 Europe/Paris,1", "2024-05-31 10:00:01 Europe/Rome,1")
    assert refused(two).startswith(
        "ride.csv, row 3: found '2024-05-31 10:00:01 Europe/Rome' in column 'time' where the first stamp is ")
    assert refused(write(tmp_path, "9999-12-31 23:59:59,1"), zone="Asia/Tokyo").startswith(
        "ride.csv, row 2: found '9999-12-31 23:59:59' in column 'time'; expected a date from 1970 to 2100; ")
    found = read_recording(write(tmp_path, "0,1", "1,2", "2,3"), zone="Asia/Tokyo")
    assert "zone: not used, as the stamps have no date" in said(found)


@each(("header", "unit", "cells", "values", "note"), [
    ("speed (km/h)", "", [36, 18, "", 0], [10, 5, np.nan, 0], "speed: km/h turned into m/s"),
    ("Geschwindigkeit", "km/h", [36, 18, 0, 9], [10, 5, 0, 2.5], "speed: km/h turned into m/s"),
    ("speed_kmh", "", [36, 18, 0, 9], [10, 5, 0, 2.5], "speed: km/h turned into m/s"),
    ("km/h", "", [36, 18, 0, 9], [10, 5, 0, 2.5], "speed: km/h turned into m/s"),
    ("Speed MPH", "", [10, 0, 0, 0], [4.4704, 0, 0, 0], "speed: mph turned into m/s"),
    ("vitesse [m/s]", "", [10, 5, 65535, 0], [10, 5, np.nan, 0],
     "speed: 1 row with the missing marker 65535 read as missing"),
    ("enhanced_speed", "", [10, 5, 1, 0], [10, 5, 1, 0], "speed: unit not told, values left as they are; only their "
                                                        "changes matter"),
    ("temperature (°C)", "", [20, "--", 21, -3], [20, np.nan, 21, -3], None),
    ("Temp", "F", [68, 77, 32, 14], [20, 25, 0, -10], "temperature: °F turned into °C"),
    ("left_right_balance", "", [50, 48.5, 51, 0], [50, 48.5, 51, 0],
     "balance: taken as the share of the right side"),
    ("balance right (%)", "", [50, 48, 51, 0], [50, 48, 51, 0], None),
    ("Left balance", "%", [50, 48, 100, 0], [50, 52, 0, 100], "balance: share of the left side turned into that of the "
                                                              "right"),
    ("wind speed", "", [1, 2, 3, 4], None, None), ("avg speed", "", [1, 2, 3, 4], None, None),
    ("body temperature", "", [1, 2, 3, 4], None, None),
    ("speed", "", [1, "fast", 3, 4], None, "speed: not used; ride.csv, row 3: found 'fast' in column 'speed'; expected "
     "a number; correct the cell, or leave it blank if there is no reading"),
    ("balance", "", [1, 101, 3, 4], None, "balance: not used; ride.csv, row 3: found a balance of 101; expected 0 to "
     "100 %; leave the cell blank if there is no reading"),
])
def test_channels_beside_power(tmp_path, header, unit, cells, values, note):
    lines = ([f"s,W,{unit}"] if unit else []) + [f"{k},200,{cell}" for k, cell in enumerate(cells)]
    found = read_recording(write(tmp_path, *lines, header=f"time,power,{header}"))
    others = {name: getattr(found, name) for name in ("cadence", "speed", "temperature", "balance")}
    others = {name: column for name, column in others.items() if column is not None}
    assert list(found.columns) == ["power", "time", *others]
    if values is None:
        assert others == {}
    else:
        np.testing.assert_allclose(next(iter(others.values())), values, rtol=1e-12, atol=1e-9)
        assert len(others) == 1
    told = [text for text in said(found) if text.split(":")[0] in ("speed", "temperature", "balance")]
    assert told == ([] if note is None else [note])


def test_speed_by_name_and_speeds_that_rival(tmp_path):
    file = write(tmp_path, *["0,1,2,3", "1,1,2,3", "2,1,2,x"],
                 header="time,power,ground speed (m/s),wheel speed (m/s)")
    assert read_recording(file).speed is None
    assert "speed: not used, as several columns may be it: 'ground speed (m/s)', 'wheel speed (m/s)'" in (
        said(read_recording(file)))
    assert read_recording(file, speed_column="column 3").speed.tolist() == [2, 2, 2]
    assert refused(file, speed_column="wheel speed (m/s)").startswith(
        "ride.csv, row 4: found 'x' in column 'wheel speed")
    assert refused(file, speed_column="power") == (
        "ride.csv: found column 'power' in two roles; expected different columns for power, time, cadence and speed; "
        "name each of them")
