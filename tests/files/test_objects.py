"""Recordings from frames and arrays of any kind; nothing given is changed. All samples are invented for these tests."""

from __future__ import annotations

import copy
import subprocess
import sys
from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agree import InputError, SampleSizeError
from agree.recordings.read import read_recording
from tests.each import each

EPOCH = 1_717_171_323.0  # 2024-05-31T16:02:03Z
PLUS_2 = timezone(timedelta(hours=2))
NAIVE = [datetime(2024, 5, 31, 16, 2, 3) + timedelta(seconds=k) for k in (0, 1, 3, 4, 5)]
TIMES = {  # values, clock, what is added to 0, 1, 3, 4, 5 s
    "zoned": ([t.replace(tzinfo=UTC) for t in NAIVE], "utc", EPOCH),
    "plus two": ([t.replace(tzinfo=UTC).astimezone(PLUS_2) for t in NAIVE], "utc", EPOCH),
    "naive": (NAIVE, "local", EPOCH), "lengths": ([t - NAIVE[0] for t in NAIVE], "elapsed", 0),
    "floats": ([0.0, 1.0, 3.0, 4.0, 5.0], "elapsed", 0), "whole": ([0, 1, 3, 4, 5], "elapsed", 0),
    "text": ([t.isoformat() + "Z" for t in NAIVE], "utc", EPOCH),
    "clock": ([t.time() for t in NAIVE], "elapsed", 16 * 3600 + 123),
}
KINDS = {
    "pandas": pd.DataFrame, "polars": pl.DataFrame, "arrow": pa.table, "mapping": dict,
    "mapping of pandas": lambda data: {name: pd.Series(column) for name, column in data.items()},
    "mapping of polars": lambda data: {name: pl.Series(column) for name, column in data.items()},
    "pandas of arrow": lambda data: pa.table(data).to_pandas(types_mapper=pd.ArrowDtype),
    "pandas of nullable": lambda data: pd.DataFrame(data).convert_dtypes(),
}


@each("kind", KINDS)
@each("stamps", TIMES)
def test_frames_of_any_kind(kind, stamps):
    values, clock, start = TIMES[stamps]
    data = {"time": values, "power": [200.1, None, 65535.0, 0.3, 199.0], "cadence": [80, None, 0, 255, 90]}
    frame = KINDS[kind](data)
    before = copy.deepcopy(frame)
    found = read_recording(frame, name="unit")
    np.testing.assert_array_equal(found.time, np.array([0, 1, 3, 4, 5]) + start)
    np.testing.assert_array_equal(found.power, [200.1, np.nan, np.nan, 0.3, 199])
    np.testing.assert_array_equal(found.cadence, [80, np.nan, 0, np.nan, 90])
    assert (found.name, found.clock) == ("unit", clock)
    for name in data:
        assert list(map(str, frame[name])) == list(map(str, before[name]))


MARKERS = {-1.0, -999.0, 9999.0}  # taken for missing where nothing else tells of such readings


@given(st.lists(st.floats(-2000, 20000).filter(lambda watts: watts not in MARKERS), min_size=3, max_size=20),
       st.lists(st.floats(1e-3, 1e5), min_size=20, max_size=20))  # rows that share stamps seconds apart are refused
def test_floats_are_taken_exactly(watts, steps):
    when = np.cumsum([1.0, *steps])[: len(watts)]
    if when[-1] - when[0] < 1e-3 * len(watts):
        when = np.arange(len(watts), dtype=float)
    if when[-1] > 600_000:
        when = when / 10
    for source in ((when, np.array(watts)), (list(when), watts), {"power": watts, "time": when},
                   pd.DataFrame({"time": when, "power": watts}), pl.DataFrame({"time": when, "power": watts})):
        found = read_recording(source)
        np.testing.assert_array_equal(found.power, watts)
        np.testing.assert_array_equal(found.time, when)


@pytest.mark.parametrize("values", [
    [200, 201, 0], np.array([200, 201, 0]), np.array([200, 201, 0], dtype=np.uint16),
    pd.Series([200, 201, 0], name="x"),
    pl.Series("x", [200, 201, 0]), np.ma.MaskedArray([200, 201, 0]), np.array(["200", " 201 ", "0"]),
    [Decimal(200), Decimal(201), Decimal(0)], np.array([200.0, 201.0, 0.0], dtype=np.float32),
    pd.Series(["200", "201", "0"], dtype="category"), np.array([200, 201, 0], dtype=object)], ids=range(11))
def test_one_array_is_a_reading_each_second(values):
    found = read_recording(values)
    assert (found.power.tolist(), found.time.tolist(), found.clock) == ([200, 201, 0], [0, 1, 2], "rows")


def test_arrays_of_stamps_and_masks():
    when = np.array(["2024-05-31T16:02:03", "2024-05-31T16:02:04", "2024-05-31T16:02:05.5"], dtype="datetime64[ms]")
    found = read_recording((when, np.ma.MaskedArray([1, 2, 3, 4], [0, 1, 0, 0])[[0, 2, 3]]), zone="Europe/Berlin")
    assert (found.start, found.clock) == ("2024-05-31T14:02:03Z", "utc")
    assert np.diff(found.time).tolist() == [1, 1.5]
    found = read_recording((when - when[0], [1, 2, 3]))
    assert (found.time.tolist(), found.clock) == ([0, 1, 2.5], "elapsed")
    found = read_recording(np.ma.MaskedArray([1, 2, 3, 4], [0, 1, 0, 0]))
    np.testing.assert_array_equal(found.power, [1, np.nan, 3, 4])
    lost = np.array(["2024-05-31T16:02:03", "NaT", "2024-05-31T16:02:05"], dtype="datetime64[s]")
    with pytest.raises(InputError, match=r"^array, position 1: found a reading without a stamp in column 'time'"):
        read_recording((lost, [1, 2, 3]))


def test_series_and_index_of_stamps():
    when = pd.date_range("2024-05-31T16:02:03", periods=3, freq="s", tz="Europe/Berlin")
    found = read_recording(pd.Series([1, 2, 3], index=when))
    assert (found.start, found.columns) == ("2024-05-31T14:02:03Z", {"power": "power", "time": "timestamp"})
    frame = pd.DataFrame({"Power": [1, 2, 3], "power": [4, 5, 6], 7: [7, 8, 9]}, index=when.rename("when"))
    assert read_recording(frame, power_column="power").power.tolist() == [4, 5, 6]
    assert read_recording(frame, power_column="7").columns == {"power": "7", "time": "when"}
    twice = pd.DataFrame([[1, 4], [2, 5], [3, 6]], columns=["power", "power"])
    assert read_recording(twice, power_column="column 2").power.tolist() == [4, 5, 6]
    with pytest.raises(InputError, match=r"^frame: found 2 columns that may be the power: 'power', 'power'; expected "):
        read_recording(twice)


def test_date_and_time_of_day_and_text_with_comma():
    frame = pl.DataFrame({"date": [date(2024, 5, 31)] * 3, "time": [time(23, 59, k) for k in (1, 2, 3)],
                          "power": ["1,5", "2,25", "3,0"]})
    found = read_recording(frame, decimal=",")
    assert (found.start, found.power.tolist()) == ("2024-05-31T23:59:01", [1.5, 2.25, 3])
    with pytest.raises(InputError, match=r"^frame, position 0: found '1,5' in column 'power'; expected a number; "):
        read_recording(frame, decimal=".")
    assert read_recording({"time": ["03/04/2024 1:00", "03/04/2024 1:01", "03/04/2024 1:02"], "power": [1, 2, 3]},
                        day_first=False).start == "2024-03-04T01:00:00"


KINDS_OF_SOURCE = ("a recording must be a path, bytes, a binary file object, a Recording, a data frame, an array, a "
                   "tuple (time, power) or a mapping of columns; got ")
ONE_DIMENSION = "pass one column, a tuple (time, power) or a mapping of columns"
A_NUMBER = "expected a number; correct the cell, or leave it blank if there is no reading"


@each(("source", "message"), [
    (pl.LazyFrame({"power": [1, 2, 3]}), "frame: found a lazy frame (polars.lazyframe.frame.LazyFrame); "
     "expected one in memory; collect it first"),
    (7, KINDS_OF_SOURCE + "int"), (None, KINDS_OF_SOURCE + "NoneType"), ({1, 2}, KINDS_OF_SOURCE + "set"),
    ((1, 2), "a tuple must be (time, power), two arrays of one dimension; got tuple"),
    (([1, 2], [1, 2], [1, 2]), "a tuple must be (time, power), two arrays of one dimension; got tuple"),
    (np.ones((3, 2)), "array: 'power' must be of one dimension; got numpy.ndarray; " + ONE_DIMENSION),
    ([[1, 2], [3]], "array: 'power' must be of one dimension; got list; " + ONE_DIMENSION),
    ({"time": [1, 2], "power": [1, 2, 3]}, "array: columns must be of one length; got 'time' 2, 'power' 3"),
    ({}, "array: found no columns; expected a column of power; pass power, and time if it is known"),
    ([], "array: found no rows below the header; expected a row for each reading; export the file again"),
    ({"power": "200"}, "array: 'power' must be of one dimension; got str; " + ONE_DIMENSION),
    ([True, False, True], "array, position 0: found 'True' in column 'power'; " + A_NUMBER),
    (np.array([1, 2, 3j]), "array, position 0: found '(1+0j)' in column 'power'; " + A_NUMBER),
    ([1, np.inf, 3], "array, position 1: found 'inf' in column 'power'; expected a finite number; leave the cell blank "
     "if there is no reading"),
    (pd.DataFrame({"a": [1]}), "frame: found a single column, 'a'; expected a column of power in W; begin the file "
     "with the header row, check the delimiter, or name it with power_column"),
])
def test_what_is_no_recording(source, message):
    with pytest.raises(InputError) as caught:
        read_recording(source)
    assert str(caught.value) == message


def test_too_few_and_delimiter_and_unknown_options():
    with pytest.raises(SampleSizeError, match=r"^array: found 2 power readings in column 'power'; expected at least 3"):
        read_recording([1, 2])
    with pytest.raises(InputError, match=r"^`delimiter` is for files; a frame or an array has none; leave it out$"):
        read_recording([1, 2, 3], delimiter=",")
    assert read_recording(pl.DataFrame({"power": [1, 2, 3]}), name="pedals").name == "pedals"


def test_reading_loads_no_frame_library():
    code = ("import sys, agree.recordings.read as r; r.read_recording([1, 2, 3]); "
            "r.read_recording(([0, 1, 2], [1, 2, 3])); "
            "print(sorted({'pandas', 'polars', 'pyarrow', 'narwhals'} & set(sys.modules)))")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
