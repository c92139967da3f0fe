"""A corrected copy differs from its source in the power column only, byte by byte, in any dialect."""

import csv
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agree import InputError, read_recording
from agree.correction.copy import Change, checked_change, corrected_copy
from agree.correction.rules import Rule, apply
from tests.each import each

ROWS = ["0,200,80", "1,0,0", "2,,81", "3,201,82", "4,65535,80", "5,-3,0", "6,300,90"]
PLAIN = "time_s,power_W,cadence_rpm\n" + "\n".join(ROWS) + "\n"
SEMICOLON = ("Zeit;Leistung [W];Trittfrequenz;Höhe\n0:00:01;200,5;80;35,25\n0:00:02;--;81;35,3\n"
             '0:00:03;"201,0";82;35,4\n'
             "0:00:04;0;0;1.234,5\n0:00:05; 150,25 ;77;35,6\n0:00:06;1.100,5;77;35,6\n")
WHOLE = "Zeit;Leistung;Höhe\n" + "".join(f"{k};{200 + k};35,{k}\n" for k in range(5))
COMMENTS = "# invented data\n# second line, with, commas\n" + PLAIN
UNITS = "time,power,speed\ns,W,km/h\n" + "".join(f"{k},{200 + k},30.{k}\n" for k in range(5))
KILOWATTS = "time_s,power [kW]\n" + "".join(f"{k},0.{200 + k}\n" for k in range(5)) + "9,0\n"
TABS = "time\tpower\tnote\n" + "".join(f"{k}\t{200 + k}\ta \"quoted\" word, {k}\n" for k in range(5))
SEP = "sep=;\ntime;power\n" + "".join(f"{k};{200 + k}\n" for k in range(5))
QUOTED = 'time,note,power\n0,"a, b",200\n1,"two\nlines",201\n2,"say ""so""",202\n3,"",203\n\n4,c,204\n'
HEADERLESS = "".join(f"{k},{200.25 + k}\n" for k in range(5))
SINGLE = "power\n200\n\n0\n201\n202\n"
GROUPED = 'time;power\n0;1,234\n1;200\n2;1,001\n3;900\n'
NO_LAST = PLAIN.rstrip("\n")


def dialects():
    yield from ((name, text.encode()) for name, text in (
        ("plain", PLAIN), ("semicolon and decimal comma", SEMICOLON), ("whole watts, decimal comma beside", WHOLE),
        ("comments", COMMENTS), ("units", UNITS), ("kW", KILOWATTS), ("tabs", TABS), ("sep line", SEP),
        ("quotes and lines in cells", QUOTED), ("no header", HEADERLESS), ("single column", SINGLE),
        ("grouped thousands", GROUPED), ("no last line end", NO_LAST)))
    yield "BOM", b"\xef\xbb\xbf" + SEMICOLON.encode()
    yield "CRLF", PLAIN.replace("\n", "\r\n").encode()
    yield "CR", PLAIN.replace("\n", "\r").encode()
    yield "latin-1", SEMICOLON.encode("latin-1")
    yield "utf-16", SEMICOLON.encode("utf-16")
    yield "BOM, no header", b"\xef\xbb\xbf" + SINGLE.removeprefix("power\n").encode()


DIALECTS = dict(dialects())


@each("change", [Change(1.03), Change(0.97, -6.0), Change(1.0, 4.5)], ids=str)
@each("name", DIALECTS)
def test_only_the_power_changes(tmp_path, name, change):
    source, copy = tmp_path / "source.csv", tmp_path / "copy.csv"
    source.write_bytes(DIALECTS[name])
    made = corrected_copy(source, change)
    copy.write_bytes(made.content)
    assert source.read_bytes() == DIALECTS[name]
    before, after = read_recording(source), read_recording(copy)
    step = 0.05 if name not in ("semicolon and decimal comma", "BOM", "latin-1", "utf-16", "no header", "kW") else 0.005
    wanted = apply(Rule(*change), before.power)
    np.testing.assert_allclose(after.power, wanted, atol=(0.05 if name == "kW" else step) * 1.0001)
    np.testing.assert_array_equal(after.time, before.time)
    assert after.columns == before.columns
    assert made.changed == np.isfinite(before.power).sum() - (before.power == 0).sum()
    # Without its digits, and what belongs to them, the file is the same byte by byte
    codec = "utf-16" if name == "utf-16" else "latin-1"
    old, new = (text.decode(codec) for text in (DIALECTS[name], made.content))
    assert re.sub(r"[\d.,-]+", "", old) == re.sub(r"[\d.,-]+", "", new)


def test_bytes_of_a_copy(tmp_path):
    (tmp_path / "a.csv").write_bytes(b"\xef\xbb\xbf" + SEMICOLON.replace("\n", "\r\n").encode())
    assert corrected_copy(tmp_path / "a.csv", Change(1.1)).content == b"\xef\xbb\xbf" + (
        'Zeit;Leistung [W];Trittfrequenz;Höhe\n0:00:01;220,55;80;35,25\n0:00:02;--;81;35,3\n0:00:03;"221,10";82;35,4\n'
        "0:00:04;0;0;1.234,5\n0:00:05; 165,28 ;77;35,6\n0:00:06;1210,55;77;35,6\n").replace("\n", "\r\n").encode()
    (tmp_path / "b.csv").write_text(PLAIN, encoding="utf-8")
    made = corrected_copy(tmp_path / "b.csv", Change(1.1))
    assert made.content == (b"time_s,power_W,cadence_rpm\n0,220.0,80\n1,0,0\n2,,81\n3,221.1,82\n4,65535,80\n5,-3.3,0\n"
                            b"6,330.0,90\n")
    assert (made.column, made.changed, made.kept) == ("power_W", 4, 3)


@given(st.lists(st.one_of(st.none(), st.floats(-50, 2000).map(lambda x: round(x, 2))), min_size=5, max_size=40),
       st.sampled_from([(",", ".", "\n"), (";", ",", "\r\n"), ("\t", ",", "\n"), ("|", ".", "\r")]),
       st.floats(0.8, 1.25).map(lambda x: round(x, 4)), st.floats(-20, 20).map(lambda x: round(x, 1)))
def test_any_recording(one_folder, values, form, scale, offset):
    delimiter, sign, end = form
    readings = [200.5, 310.25, 120.0, *values]
    lines = [delimiter.join(("time", "note", "power"))] + [
        delimiter.join((str(k), "a 1", "" if v is None else f"{v:.2f}".replace(".", sign)))
        for k, v in enumerate(readings)]
    file = one_folder / "any.csv"
    file.write_bytes(end.join(lines).encode())
    made = corrected_copy(file, Change(scale, offset)).content.decode()
    rows = list(csv.reader(made.split(end), delimiter=delimiter))
    assert [row[:2] for row in rows] == [line.split(delimiter)[:2] for line in lines]
    wanted = apply(Rule(scale, offset), np.array([np.nan if v is None else v for v in readings]))
    got = [float(row[2].replace(sign, ".")) if row[2] else np.nan for row in rows[1:]]
    np.testing.assert_allclose(got, wanted, atol=0.005001)


def test_sign_and_zero_stay():
    watts = np.array([0.0, 3.0, -3.0, 100.0])
    for change in (Change(1.03, 5.0), Change(1.03, -5.0)):
        each = [change.apply(value) for value in watts]
        np.testing.assert_array_equal(each, apply(Rule(*change), watts))
        assert each[0] == 0
        assert each[1] >= 0 >= each[2]


@pytest.mark.parametrize(("arguments", "message"), [
    ((103, 0), "scale 103 must be a factor from 0.2 to 5, such as 1.03; did you mean 1.03?"),
    ((0, 0), "scale 0 must be a factor from 0.2 to 5, such as 1.03"),
    ((float("nan"), 0), "scale nan must be a factor from 0.2 to 5, such as 1.03"),
    ((1, 500), "offset 500 must lie within ±200 W"),
    ((1, 0), "scale 1 and offset 0 change nothing; give the correction found"),
])
def test_corrections_that_cannot_be_meant(arguments, message):
    with pytest.raises(InputError) as caught:
        checked_change(*arguments)
    assert str(caught.value) == message


def test_no_recording_no_copy(tmp_path):
    (tmp_path / "bad.csv").write_text("time,power\n0,200\n1,fast\n2,210\n3,200\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        corrected_copy(tmp_path / "bad.csv", Change(1.03))
    assert str(caught.value) == ("bad.csv, row 3: found 'fast' in column 'power'; expected a number; correct the "
                                 "cell, or leave it blank if there is no reading")
    (tmp_path / "two.csv").write_text("time,power,watts\n0,200,1\n1,201,2\n2,202,3\n", encoding="utf-8")
    assert corrected_copy(tmp_path / "two.csv", Change(1.1), power_column="power").content.endswith(b"2,222.2,3\n")


def test_a_copy_that_would_read_otherwise_is_refused(tmp_path, monkeypatch):
    (tmp_path / "a.csv").write_text("time,power\n200,200\n201,201\n202,202\n", encoding="utf-8")
    monkeypatch.setattr("agree.correction.copy._span", lambda text, start, *_: (start, len(text)))
    with pytest.raises(InputError) as caught:
        corrected_copy(tmp_path / "a.csv", Change(1.03))
    assert str(caught.value) == ("a.csv: found a form of table that cannot be copied with certainty; expected plain "
                                 "rows of cells; export it as a comma separated table")
