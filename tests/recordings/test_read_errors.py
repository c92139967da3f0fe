"""Every error of reading word for word, and nothing but such errors. All samples are invented for these tests."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agree import InputError, Recording, SampleSizeError, read_recording


def write(folder: Path, content: str | bytes, name: str = "ride.csv") -> Path:
    file = folder / name
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    return file


def rows(*cells: str, header: str = "time,power") -> str:
    return "\n".join([header, *cells]) + "\n"


GOOD = ("0,200", "1,201", "2,202")
DO_CELL = "correct the cell, or leave it blank if there is no reading"
DO_BLANK = "leave the cell blank if there is no reading"
STAMPS = "write stamps as 2024-05-31T17:02:03Z, as seconds, or as h:mm:ss"
ORDER = "sort the rows by time, or delete stray ones"
DST = "a step back of an hour as at the end of daylight saving; expected time not to go back; export stamps in UTC, " \
      "or add the hour from there on"
ERRORS = {
    "": ": found an empty file; expected a file of one recording; export it again",
    "# only\n": ": found no rows; expected a table of one recording; check the file",
    "\n \n": ": found an empty file; expected a file of one recording; export it again",
    "time,power\n": ": found no rows below the header; expected a row for each reading; export the file again",
    "time,power\ns,W\n": ": found no rows below the header; expected a row for each reading; export the file again",
    "\x00\x01power\n": ": found binary data; expected a text table; export the recording as CSV",
    "note\nhello\nyou\n": ": found a single column, 'note'; expected a column of power in W; begin the file with the "
                          "header row, check the delimiter, or name it with power_column",
    "hello": ": found no rows below the header; expected a row for each reading; export the file again",
    rows(*GOOD, header="time,speed"): ": found the columns 'time', 'speed'; expected one called power or watts; name "
                                      "it with power_column",
    rows(*GOOD, header="time,left power"): ": found no plain column of power, but 'left power' (the left side: "
                                           "'left'); expected a column of measured power; name it with power_column if "
                                           "it is what is meant",
    rows("0,1,2", header="time,power,watts"): ": found 2 columns that may be the power: 'power', 'watts'; expected "
                                              "one; name it with power_column",
    rows("1,1,2", header="time,time,watts"): ": found 2 columns that may be the time: 'time', 'time'; expected one; "
                                             "name it with time_column",
    "9,200\n8,201\n7,202\n": ", row 1: found 2 columns without names, the first not increasing; expected a header, or "
                             "one column of power, or time and power; add a header row, or name the columns, as in "
                             "power_column='column 2'",
    "0,1,2\n1,1,2\n": ", row 1: found 3 columns without names; expected a header, or one column of power, or time and "
                      "power; add a header row, or name the columns, as in power_column='column 2'",
    rows("0,200", "1,off"): f", row 3: found 'off' in column 'power'; expected a number; {DO_CELL}",
    "# x\n\n" + rows("0,200", "", "1,1_0"): f", row 6: found '1_0' in column 'power'; expected a number; {DO_CELL}",
    rows("0;1,5", "1;1.5", header="time;power"): ", row 3: found '1.5' in column 'power'; expected a number with a "
                                                 f"decimal comma, as elsewhere in the column; {DO_CELL}",
    rows("0,200.5", '1,"201,5"', "2,202.5"): ", row 3: found '201,5' in column 'power'; expected a number with a "
                                             f"decimal point, as elsewhere in the column; {DO_CELL}",
    rows('0,"200,5"', '1,"201,5"', "2,202.5"): ", row 4: found '202.5' in column 'power'; expected a number with a "
                                               f"decimal comma, as elsewhere in the column; {DO_CELL}",
    rows("0,200,5", "1,201,5"): ", row 2: found 3 cells; expected 2, as in the first row; quote numbers with a decimal "
                                "comma, or separate cells by semicolons",
    rows("0,1", '1,"2', "2,3", "3,4"): ", row 3: found '2\\n2,3\\n3,4' in column 'power'; expected a number; "
                                            + DO_CELL,
    rows("0,inf"): f", row 2: found 'inf' in column 'power'; expected a finite number; {DO_BLANK}",
    rows("0,200", "1,-Infinity"): ", row 3: found '-Infinity' in column 'power'; expected a finite number; "
                                  + DO_BLANK,
    rows("0,200", "1,20001"): ", row 3: found 20001 W in column 'power'; expected -2000 to 20000 W; check the unit, or "
                              + DO_BLANK,
    rows("0,-2500.5"): ", row 2: found -2500.5 W in column 'power'; expected -2000 to 20000 W; check the unit, or "
                       + DO_BLANK,
    rows("0,1", "1,--", "2,65535"): ": found 1 power reading in column 'power'; expected at least 3; check that the "
                                    "device recorded power",
    rows("0,", "1,--", "2,65535"): ": found 0 power readings in column 'power'; expected at least 3; check that the "
                                   "device recorded power",
    rows("0,1", ",2"): ", row 3: found a reading without a stamp in column 'time'; expected a stamp; fill it in, "
                       "or delete the row",
    rows(",", "-,--"): ": found no stamps in column 'time'; expected a stamp for each reading; name another column "
                       "with time_column",
    rows(*GOOD, "1,3"): f", row 5: found '1' after '2' in column 'time'; expected time not to go back; {ORDER}",
    rows("noon,1"): f", row 2: found 'noon' in column 'time'; expected a time stamp; {STAMPS}",
    rows("0:00:01,1", "0:60:00,1"): ", row 3: found '0:60:00' in column 'time'; expected a time stamp like '0:00:01'; "
                                    + STAMPS,
    rows("2024-05-31T17:02:03,1", "7,1"): ", row 3: found '7' in column 'time'; expected a time stamp like "
                                          f"'2024-05-31T17:02:03'; {STAMPS}",
    rows("31/05/2024 17:02:03,1", "32/05/2024 17:02:04,1"):
        ", row 3: found '32/05/2024 17:02:04' in column 'time'; expected a time stamp like '31/05/2024 17:02:03'; "
        + STAMPS,
    rows("31/05/2024 17:02:03,1", "31/05/2024 25:02:04,1"):
        ", row 3: found '31/05/2024 25:02:04' in column 'time'; expected a time stamp like '31/05/2024 17:02:03'; "
        + STAMPS,
    rows("31/05/2024 17:02:03,1", "0:00:01,1"): ", row 3: found '0:00:01' in column 'time'; expected a time stamp like "
                                                f"'31/05/2024 17:02:03'; {STAMPS}",
    rows("31/05/2024 17:02:03,1", "31/05/2024 17:02:04 Z,1"):
        ", row 3: found '31/05/2024 17:02:04 Z' in column 'time' where the first stamp is '31/05/2024 17:02:03'; "
        "expected a zone in all stamps or in none; export them alike",
    rows("2024-05-31T17:02:03Z,1", "2024-05-31T17:02:04,1"):
        ", row 3: found '2024-05-31T17:02:04' in column 'time' where the first stamp is '2024-05-31T17:02:03Z'; "
        "expected a zone in all stamps or in none; export them alike",
    rows("2024-10-27 02:59:59,1", "2024-10-27 02:00:00,1"):
        f", row 3: found '2024-10-27 02:00:00' after '2024-10-27 02:59:59' in column 'time', {DST}",
    rows("0,1", "1,1", "1700000000,1"): ", row 4: found 19675.9 days from first to last stamp, with the largest step "
                                        "to this row; expected at most 7 days in one recording; cut the file, or "
                                        "correct the stamps of a clock not yet set",
    rows("9999-12-31 23:59:59 -1200,1"): ", row 2: found '9999-12-31 23:59:59 -1200' in column 'time'; expected a date "
                                         "from 1970 to 2100; correct the stamp, or name another column with "
                                         "time_column",
    rows("5,1", "5,1", "5,1"): ": found 0 s from first to last of 3 stamps in column 'time'; expected stamps that "
                               "advance with the readings; name another column with time_column, or write stamps with "
                               "seconds",
    'time,power\n0,"' + "9" * 140_000: ": found text that is no table (field larger than field limit (131072)); "
                                       "expected a comma, semicolon or tab separated table; close any open quotes",
}


@pytest.mark.parametrize(("content", "message"), ERRORS.items(), ids=range(len(ERRORS)))
def test_bad_content_says_what_where_and_what_to_do(tmp_path, content, message):
    with pytest.raises(InputError) as caught:
        read_recording(write(tmp_path, content))
    assert str(caught.value) == "ride.csv" + message


def test_fewer_than_three_readings_is_a_matter_of_size(tmp_path):
    with pytest.raises(SampleSizeError, match=r"^ride.csv: found 2 power readings in column 'power'; expected at "):
        read_recording(write(tmp_path, rows("0,1", "1,2")))


def test_cut_utf16_is_binary(tmp_path):
    with pytest.raises(InputError, match=r"^ride.csv: found binary data; expected a text table; export the rec"):
        read_recording(write(tmp_path, rows(*GOOD).encode("utf-16")[:-1]))


@pytest.mark.parametrize(("options", "message"), [
    ({"power_column": "pwr"}, "no column 'pwr'; expected one of 'time', 'power', 'power'; correct power_column"),
    ({"power_column": "Power"}, "2 columns called 'Power'; expected one; pass power_column='column 2' to take the "
                                "first of them"),
    ({"power_column": "time"}, "column 'time' in two roles; expected different columns for power, time and cadence; "
                               "name each of them"),
])
def test_named_columns_that_cannot_be_taken(tmp_path, options, message):
    file = write(tmp_path, "time,power,power\n0,1,4\n1,2,5\n2,3,6\n")
    with pytest.raises(InputError) as caught:
        read_recording(file, **options)
    assert str(caught.value) == "ride.csv: found " + message
    assert read_recording(file, power_column="column 3").power.tolist() == [4, 5, 6]


EXPECTED = "expected a file of one recording; "


def test_what_is_no_file(tmp_path, monkeypatch):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "link.csv").symlink_to(tmp_path / "pipe")
    with (tmp_path / "big.csv").open("wb") as file:
        file.truncate(500_000_001)  # sparse
    long = "x" * 300
    for path, message in {
        tmp_path / "none.csv": f"none.csv: found no such file; {EXPECTED}check the path",
        tmp_path: f"{tmp_path.name}: found a directory; {EXPECTED}name the file in it",
        tmp_path / "pipe": f"pipe: found a device or pipe; {EXPECTED}save it as a file first",
        tmp_path / "link.csv": f"link.csv: found a device or pipe; {EXPECTED}save it as a file first",
        Path("/dev/zero"): f"zero: found a device or pipe; {EXPECTED}save it as a file first",
        tmp_path / "big.csv": "big.csv: found 500000001 bytes; expected at most 500000000; cut the file to one "
                                "recording",
        tmp_path / long: f"{long}: found a file that cannot be read (File name too long); {EXPECTED}check the path and "
                         "its permissions",
        tmp_path / "a\0b": f"a?b: found a file that cannot be read (not a path); {EXPECTED}check "
                           "the path and its permissions",
    }.items():
        with pytest.raises(InputError) as caught:
            read_recording(path)
        assert str(caught.value) == message

    def refuse(self, mode="r"):
        assert (self.name, mode) == ("shut.csv", "rb")  # opened for reading only
        raise PermissionError(13, "Permission denied")

    shut = write(tmp_path, rows(*GOOD), "shut.csv")
    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError, match=r"^shut.csv: found a file that cannot be read \(Permission denied\); exp"):
        read_recording(shut)


PIECES = [
    "time", "power", "power (kW)", "cadence", "date", ",", ",", ";", "\t", "\n", "\n", "\r", '"', "#", "-", "0", "1",
    "2", "3,5", "1.5", "65535", "1e400", "nan", "inf", "0:00:01", "0:00:02", "2024-05-31T16:02:03Z", "2024-05-31",
    "99:99:99", "31/05/24 1:02 PM", "1700000000", "99999999999999999999", "sep=;", "\ufeff", "²", "\x00", " ",
    "9999-12-31 23:59:59 -1200", "//", "|", "  ", "1'050", "1 050", "2024-10-27 02:59:59", "2024-10-27 02:00:00",
    " CEST", " CST", " Europe/Berlin", " +99:99", "[Europe/Berlin]",
    "Total", "speed (km/h)", "left balance", "temp (F)", "−5",
    "0", "9" * 5000 + ":00:01", "time,power\n", "time,power\n0,1\n1,2\n2,3", "<?xml", "PK", "\x1f\x8b",
]
OPTIONS = st.fixed_dictionaries({}, optional={
    "delimiter": st.sampled_from(",;\t| "), "decimal": st.sampled_from(".,"), "day_first": st.booleans(),
    "zone": st.sampled_from(["Europe/Berlin", "America/New_York"]),
    "power_column": st.sampled_from(["power", "column 2", "0"]), "speed_column": st.just("column 1")})


@settings(max_examples=1000, deadline=None)
@given(st.lists(st.sampled_from(PIECES), max_size=40).map("".join) | st.text(max_size=40) | st.binary(max_size=40),
       OPTIONS)
def test_whatever_the_file_there_is_a_recording_or_one_line(one_folder, content, options):
    file = write(one_folder, content if isinstance(content, bytes)
                 else content.encode("utf-8", "surrogatepass"))
    found: Recording | str
    try:
        found = read_recording(file, **options)
    except InputError as exc:
        found = str(exc)
    if isinstance(found, str):
        assert found.startswith("ride.csv")
        assert found.isprintable()
    else:
        assert np.isfinite(found.power).sum() >= 3
        assert (np.diff(found.time) >= 0).all()
