"""Reading recordings: every dialect gives the same values. All samples are invented for these tests."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from agree import InputError, Recording, read_recording
from tests.genuine import genuine
from tests.said import said

EPOCH = 1_717_171_323.0  # 2024-05-31T16:02:03Z
PLUS_2 = timezone(timedelta(hours=2))


def stamp(seconds: float, form: str) -> str:
    """Write seconds after the first stamp in one of the forms that can be read."""
    utc = datetime.fromtimestamp(EPOCH + seconds, UTC)
    if form == "h:mm:ss":
        return f"{int(seconds) // 3600}:{int(seconds) // 60 % 60:02}:{seconds % 60:05.2f}"
    if form in ("seconds", "epoch", "ms"):
        return {"seconds": f"{seconds:.2f}", "epoch": f"{EPOCH + seconds:.2f}",
                "ms": f"{round(1000 * (EPOCH + seconds))}"}[form]
    return {"Z": utc.isoformat().replace("+00:00", "Z"), "+02:00": utc.astimezone(PLUS_2).isoformat(" "),
            "naive": utc.replace(tzinfo=None).isoformat(),
            "day first": f"{utc:%d.%m.%Y %H:%M:%S.%f}", "month first": f"{utc:%m/%d/%Y %I:%M:%S.%f %p}",
            }[form]


CLOCK_OF = {"h:mm:ss": "elapsed", "seconds": "elapsed", "epoch": "utc", "ms": "utc", "Z": "utc", "+02:00": "utc",
            "naive": "local", "day first": "local", "month first": "local"}


@settings(max_examples=300, deadline=None)
@given(
    steps=st.lists(st.integers(0, 9000), min_size=3, max_size=12),
    watts=st.lists(st.none() | st.integers(-5_000, 190_000), min_size=13, max_size=13),
    form=st.sampled_from(sorted(CLOCK_OF)),
    delimiter=st.sampled_from(",;\t"), comma=st.booleans(), quote=st.booleans(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]), end=st.sampled_from(["\n", "\r\n", "\r"]),
    header=st.sampled_from(["power", "Power (W)", "power_W", "watts", "Power [w]", "Leistung", "puissance (W)",
                            "potencia", "Power (kW)"]),
    units=st.booleans(), comments=st.integers(0, 2), blank_lines=st.booleans(),
    blank=st.sampled_from(["", "--", "-", "NaN", "n/a", "null", "65535"]),
)
def test_every_dialect_gives_the_same_values(one_folder, steps, watts, form, delimiter, comma, quote,
                                             encoding, end, header, units, comments, blank_lines, blank):
    seconds = np.cumsum([0, *(max(s, 1) for s in steps)]) / 100
    watts = [200, 0, 12_345, *watts][: seconds.size]  # in tenths
    assume(genuine([w if w is None else w / 10 for w in watts]))
    kilo = 1000 if "kW" in header else 1

    def cell(text: str) -> str:
        text = text.replace(".", ",") if comma and form != "day first" else text
        return f'"{text}"' if quote or (delimiter in text) else text

    rows = [[header, "zusätzlich", "timestamp", "avg power"]]
    if units:
        rows.append(["kW" if kilo > 1 else "W", "", "", ""])
    for s, w in zip(seconds, watts, strict=True):
        power = blank if w is None else f"{w / 10 / kilo:.4f}"
        rows.append([power if power == blank else cell(power), '"a ""b"""', cell(stamp(s, form)), "7"])
    lines = ["# made up"] * comments + [delimiter.join(row) for row in rows]
    text = (end * (2 if blank_lines else 1)).join(lines) + end
    file = one_folder / "ride.csv"
    file.write_bytes(text.encode(encoding))
    found = read_recording(file)

    expected = np.array([np.nan if w is None else w / 10 for w in watts])
    np.testing.assert_allclose(found.power, expected, rtol=1e-12, equal_nan=True)
    start = 0 if CLOCK_OF[form] == "elapsed" else EPOCH
    np.testing.assert_allclose(found.time - start, seconds, rtol=0, atol=1e-6)
    assert found.clock == CLOCK_OF[form]
    assert found.start == {"utc": "2024-05-31T16:02:03Z", "local": "2024-05-31T16:02:03", "elapsed": ""}[found.clock]
    assert found.columns == {"power": header, "time": "timestamp"}


def write(folder: Path, content: str | bytes, name: str = "ride.csv") -> Path:
    file = folder / name
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    return file


def rows(*cells: str, header: str = "time,power") -> str:
    return "\n".join([header, *cells]) + "\n"


def test_file_is_left_as_it_was(tmp_path):
    file = write(tmp_path, rows("0,200", "1,201", "2,202"))
    file.chmod(0o444)
    before = file.read_bytes(), file.stat().st_mtime_ns
    assert read_recording(file).power.tolist() == [200, 201, 202]
    assert (file.read_bytes(), file.stat().st_mtime_ns) == before


@pytest.mark.parametrize(("header", "chosen"), [
    ("left power,power,power_balance,avg power,normalised power", "power"),
    ("Power 3s,Total Power,Max Power", "Total Power"), ("power_smoothed,powerWatts,W/kg", "powerWatts"),
    ("power zone,Leistung [W],W' bal", "Leistung [W]"),
    ("Power (% FTP),power meter", "power meter"), ("W,hr", "W"), ("power L,power R,PUISSANCE", "PUISSANCE"),
])
def test_plain_power_is_preferred(tmp_path, header, chosen):
    cells = ",".join("1" for _ in header.split(","))
    assert read_recording(write(tmp_path, rows(*[cells] * 3, header=header))).columns["power"] == chosen


@pytest.mark.parametrize(("header", "cells", "chosen", "seconds"), [
    ("secs", ["1", "2.5", "3"], "secs", [1, 2.5, 3]), ("time (ms)", ["0", "1000", "3000"], "time (ms)", [0, 1, 3]),
    ("elapsedTime [min]", ["0", "0.5", "1"], "elapsedTime [min]", [0, 30, 60]),
    ("time", ["59:59", "60:00", "61:01"], "time", [3599, 3600, 3661]),
    ("time", ["58:58.0", "59:59.5", "00:00.5"], "time", [3538, 3599.5, 3600.5]),  # hours lost by a spreadsheet
    ("time", ["24:00:00", "49:00:00", "50:00:01"], "time", [86400, 176400, 180001]),
    ("Uhrzeit", ["23:59:58", "23:59:59", "0:00:01"], "Uhrzeit", [86398, 86399, 86401]),
    ("time", ["11:59:59 AM", "12:00:00 pm", "1:00:00 p.m."], "time", [43199, 43200, 46800]),
    ("what,ever", ["x,0:00:01", "y,0:00:02", "z,0:00:04"], "ever", [1, 2, 4]),
    ("secs,timestamp", ["7,0:00:01", "8,0:00:02", "9,0:00:04"], "timestamp", [1, 2, 4]),
    ("time", ["0", "0", "1"], "time", [0, 0, 1]),
])
def test_times_without_a_date(tmp_path, header, cells, chosen, seconds):
    found = read_recording(write(tmp_path, rows(*[c + ",1" for c in cells], header=header + ",power")))
    assert (found.clock, found.start, found.columns["time"]) == ("elapsed", "", chosen)
    np.testing.assert_allclose(found.time, seconds, rtol=1e-15)


@pytest.mark.parametrize(("cells", "start", "form"), [
    (["03/04/2024 23:59:58", "03/04/2024 23:59:59", "04/04/2024 00:00:00"], "2024-04-03T23:59:58",
     "date day first, no zone"),
    (["04/03/2024 23:59:58", "04/03/2024 23:59:59", "04/04/2024 00:00:00"], "2024-04-03T23:59:58",
     "date month first, no zone"),
    (["03/04/2024 10:00", "03/04/2024 10:01", "03/04/2024 10:02"], "2024-04-03T10:00:00",
     "date day first, no zone (day first assumed: month first fits as well)"),
    (["03/04/24 1:00:00 PM", "03/04/24 1:00:01 PM", "03/04/24 1:00:02 PM"], "2024-03-04T13:00:00",
     "date month first, no zone (month first assumed: day first fits as well)"),
    (["04/04/2024 10:00:00", "04/04/2024 10:00:01", "04/04/2024 10:00:02"], "2024-04-04T10:00:00",
     "date day first, no zone"),
    (["3.4.2024 10:00:00", "3.4.2024 10:00:01", "3.4.2024 10:00:02"], "2024-04-03T10:00:00",
     "date day first, no zone"),
    (["2024/4/3 9:00:00 -0330", "2024/4/3 9:00:01 -0330", "2024/4/3 9:00:02 -0330"], "2024-04-03T12:30:00Z",
     "date year first, with zone"),
    (["2024-04-03 9:00:00 UTC", "2024-04-03 9:00:01 UTC", "2024-04-03 9:00:02 UTC"], "2024-04-03T09:00:00Z",
     "date year first, with zone"),
])
def test_order_of_day_and_month(tmp_path, cells, start, form):
    found = read_recording(write(tmp_path, rows(*[c + ",1" for c in cells])))
    assert (found.start, said(found)[1]) == (start, f"time: column 'time' ({form})")
    assert found.time[2] - found.time[0] in (2, 120)


def test_date_and_time_of_day_in_two_columns(tmp_path):
    text = "Datum;Uhrzeit;Leistung\n31.05.2024;23:59:59;1\n01.06.2024;00:00:00;2\n01.06.2024;00:00:02;3\n"
    found = read_recording(write(tmp_path, text))
    assert (found.start, found.clock, found.columns["time"]) == ("2024-05-31T23:59:59", "local", "Datum + Uhrzeit")
    assert np.diff(found.time).tolist() == [1, 2]


@pytest.mark.parametrize(("text", "power", "seconds", "clock"), [
    ("200\n201\n0\n", [200, 201, 0], [0, 1, 2], "rows"), ("power\n200\n\n210\n220\n\n", [200, None, 210, 220],
                                                          [0, 1, 2, 3], "rows"),
    ("power\n200,5\n201,5\n202,5\n", [200.5, 201.5, 202.5], [0, 1, 2], "rows"),
    ("5,200\n6,201\n9,0\n", [200, 201, 0], [5, 6, 9], "elapsed"),
    ("time|power\n5|200\n6|201\n9|0\n", [200, 201, 0], [5, 6, 9], "elapsed"),
    ("5,5;200\n6;201,5\n9;0\n", [200, 201.5, 0], [5.5, 6, 9], "elapsed"),
    ("2024-05-31T16:02:03Z,1\n2024-05-31T16:02:04Z,2\n2024-05-31T16:02:05Z,3\n", [1, 2, 3],
     [EPOCH, EPOCH + 1, EPOCH + 2], "utc"),
    ("sep=;\ntime;power\n0;1,5\n1;2,5\n2;3,5\n", [1.5, 2.5, 3.5], [0, 1, 2], "elapsed"),
    ('time,power\n0,"1,050"\n1,950\n2,"1,100.5"\n', [1050, 950, 1100.5], [0, 1, 2], "elapsed"),
    ('time,power\n0,"1,050"\n1,950\n2,900\n', [1050, 950, 900], [0, 1, 2], "elapsed"),
    ("time;power\n0;1.050,5\n1;950,0\n2;1.100\n", [1050.5, 950, 1100], [0, 1, 2], "elapsed"),
    ("time,power,\n0,1,\n1,2,,,\n2,3\n", [1, 2, 3], [0, 1, 2], "elapsed"),
])
def test_small_tables(tmp_path, text, power, seconds, clock):
    found = read_recording(write(tmp_path, text))
    np.testing.assert_array_equal(found.power, np.array(power, dtype=float))
    assert (found.time.tolist(), found.clock) == (seconds, clock)


def test_notes_tell_all_that_was_done(tmp_path):
    text = ("# made up\ntime;Leistung [kW];rpm;cadence\ns;kW;1/min;1/min\n0;0,2;90;1\n1;0,21;255;2\n2;--;80;3\n"
            "3;65535;81;4\n;;;\n5;0,22;82;5\n")
    found = read_recording(write(tmp_path, text.encode("utf-16"), "Küche.txt"), cadence_column="RPM")
    assert found.name == "Küche"
    assert said(found) == (
        "power: column 'Leistung [kW]'", "time: column 'time' (elapsed seconds)", "delimiter: ';'",
        "encoding: utf-16", "row 3: units", "column 'Leistung [kW]': decimal comma",
        "1 row with the missing marker 65535 read as missing", "column 'Leistung [kW]': kW turned into W",
        "1 row with neither stamp nor reading left out", "cadence: 1 row with the missing marker 255 read as missing",
        "2 rows without a power reading")
    np.testing.assert_allclose(found.power, [200, 210, np.nan, np.nan, 220])
    np.testing.assert_array_equal(found.cadence, [90, np.nan, 80, 81, 82])
    assert found.columns == {"power": "Leistung [kW]", "time": "time", "cadence": "rpm"}
    assert said(read_recording(tmp_path / "Küche.txt"))[2] == (
        "cadence: not used, as several columns may be it: 'rpm', 'cadence'")


def test_cadence_without_numbers_is_used_only_if_named(tmp_path):
    file = write(tmp_path, rows("1,80", "2,fast", "3,82", header="power,cadence"))
    found = read_recording(file, name="pedals")
    assert (found.name, found.cadence, said(found)[-1]) == ("pedals", None, (
        "cadence: not used; ride.csv, row 3: found 'fast' in column 'cadence'; expected a number; correct the "
        "cell, or leave it blank if there is no reading"))
    with pytest.raises(InputError, match=r"^ride.csv, row 3: found 'fast' in column 'cadence'; expected a number; "):
        read_recording(file, cadence_column="cadence")


@pytest.mark.parametrize("where", ["index", "column", "elapsed"])
def test_frames(where):
    frame = pd.DataFrame({"power": [200.0, np.nan, 65535, 0, 201], "cadence": pd.array([80, None, 81, 0, 82], "Int64")})
    when = pd.date_range("2024-05-31T16:02:03", periods=5, freq="s", tz="UTC")
    if where == "index":
        frame.index = when
    else:
        frame["time"] = when if where == "column" else when - when[0]
    before = frame.copy()
    found = read_recording(frame, name="unit")
    pd.testing.assert_frame_equal(frame, before)
    np.testing.assert_array_equal(found.power, [200, np.nan, np.nan, 0, 201])
    np.testing.assert_array_equal(found.cadence, [80, np.nan, 81, 0, 82])
    assert (found.name, found.clock) == ("unit", "elapsed" if where == "elapsed" else "utc")
    assert found.time.tolist() == [k + (0 if where == "elapsed" else EPOCH) for k in range(5)]
    with pytest.raises(InputError, match=r"^unit, position 1: found 'x' in column 'power'; expected a number; "):
        read_recording(pd.DataFrame({"power": [1, "x", 3]}), name="unit")


def test_recordings_and_other_sources():
    recording = Recording(time=[0, 1, 2], power=[1, 2, 3])
    assert read_recording(recording) is recording
    for wrong, message in {
        "`power` must have the length of `time`, 2; got 1": {"time": [0, 1], "power": [1]},
        "`power` must hold finite numbers, or NaN where missing": {"time": [0], "power": [np.inf]},
        "`time` must hold finite numbers": {"time": [np.nan], "power": [1]},
        "`clock` must be one of 'utc', 'local', 'elapsed', 'rows'; got 'sun'": {"time": [], "power": [],
                                                                               "clock": "sun"},
    }.items():
        with pytest.raises(InputError) as caught:
            Recording(**message)
        assert str(caught.value) == wrong
    with pytest.raises(InputError, match=r"^a recording must be a path, bytes, a binary file .*; got int$"):
        read_recording(7)


def test_six_hours_are_read_whole(tmp_path):
    lines = [f"{stamp(k, 'Z')},{200 + k % 97},{80 + k % 7},17" for k in range(21_600)]
    file = write(tmp_path, rows(*lines, header="timestamp,power,cadence,temperature"))
    found = read_recording(file)
    assert found.power.size == 21_600
    assert found.power.sum() == sum(200 + k % 97 for k in range(21_600))
