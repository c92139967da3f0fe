"""Parquet files of several writers: what was written is read; what claims too much or is damaged is refused."""

from __future__ import annotations

import datetime as dt
import decimal
import io
import sys
from contextlib import suppress

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from agree import InputError, read_recording
from agree.files.formats import parquet
from agree.files.formats.parquet import parquet_table
from tests.genuine import genuine
from tests.said import recorded, said

BEGIN = dt.datetime(2024, 5, 31, 16, 2, 3, tzinfo=dt.UTC)
EPOCH = 1_717_171_323


def written(table, **form):
    stream = io.BytesIO()
    pq.write_table(table, stream, **form)
    return stream.getvalue()


def framed(frame, **form):
    stream = io.BytesIO()
    frame.to_parquet(stream, **form) if isinstance(frame, pd.DataFrame) else frame.write_parquet(stream, **form)
    return stream.getvalue()


def cells(data):
    """Header and columns as a dict of lists."""
    found = parquet_table(data, "ride.parquet")
    assert list(found.rows) == list(range(1, len(found.rows) + 1))
    return dict(zip(found.header, map(list, found.columns), strict=True))


def refused(data, *said):
    with pytest.raises(InputError) as caught:
        parquet_table(data, "ride.parquet")
    text = str(caught.value)
    assert text.startswith("ride.parquet: found")
    assert text.count("; ") >= 2
    for part in said:
        assert part in text, text


def values(column):
    return [float(c) if c else None for c in column]


STAMPS = pa.array([BEGIN + dt.timedelta(seconds=i) for i in range(4)], pa.timestamp("us", "UTC"))


def ride(**form):
    return written(pa.table({"timestamp": STAMPS, "power": [200, None, 0, 210], "who": ["a", "b", None, "a"]}), **form)


@settings(max_examples=150, deadline=None)
@given(rows=st.lists(st.tuples(st.none() | st.floats(-2000, 20_000), st.none() | st.integers(0, 65_534),
                               st.integers(0, 10**8)), min_size=3, max_size=12),
       writer=st.sampled_from(["pyarrow", "pandas", "polars"]), zone=st.booleans(),
       packing=st.sampled_from(["snappy", "gzip", "zstd"]), group=st.integers(1, 12))
def test_what_is_written_is_read(rows, writer, zone, packing, group):
    """Three writers, compressions, row groups, zones, blanks, microseconds: each value as written."""
    micros = np.cumsum([row[2] for row in rows]).tolist()
    stamps = [(BEGIN if zone else BEGIN.replace(tzinfo=None)) + dt.timedelta(microseconds=m) for m in micros]
    columns = {"time": stamps, "power": [row[0] for row in rows], "cadence": [row[1] for row in rows]}
    if writer == "pandas":
        frame = pd.DataFrame({**columns, "cadence": pd.array(columns["cadence"], "Int64")})
        data = framed(frame, compression=packing, row_group_size=group)
    elif writer == "polars":
        types = {"time": pl.Datetime("us", "UTC" if zone else None), "power": pl.Float64, "cadence": pl.Int32}
        data = framed(pl.DataFrame(columns, schema=types), compression=packing, row_group_size=group)
    else:
        types = pa.schema([("time", pa.timestamp("us", "Asia/Tokyo" if zone else None)), ("power", pa.float64()),
                           ("cadence", pa.uint16())])
        data = written(pa.table(columns, schema=types), compression=packing, row_group_size=group)
    found = cells(data)
    assert list(found) == ["time", "power", "cadence"]
    assert values(found["power"]) == columns["power"]
    assert values(found["cadence"]) == columns["cadence"]
    assert all(c.endswith("Z") == zone for c in found["time"])
    assert [dt.datetime.fromisoformat(c) for c in found["time"]] == stamps


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 10**9), st.none() | st.floats(-2000, 20_000), st.none() | st.integers(0, 254),
                          st.none() | st.floats(0, 30)), min_size=1, max_size=12), st.booleans())
def test_recording_holds_what_was_written(one_folder, rows, polars):
    assume(genuine([row[1] for row in rows]))
    rows = [(10**6, 150.0, 90, 8.0)] * 3 + rows
    micros = np.cumsum([row[0] for row in rows])
    columns = {"time": [BEGIN + dt.timedelta(microseconds=m) for m in micros.tolist()],
               **{name: [row[k] for row in rows] for k, name in enumerate(["power", "cadence", "speed (m/s)"], 1)}}
    file = one_folder / "ride.bin"
    file.write_bytes(framed(pl.DataFrame(columns) if polars else pd.DataFrame(columns)))
    found = read_recording(file)
    np.testing.assert_allclose(found.time, EPOCH + micros / 1e6, rtol=0, atol=5e-7)
    for k, name in enumerate(["power", "cadence", "speed"], 1):
        np.testing.assert_array_equal(getattr(found, name), np.array([row[k] for row in rows], float), err_msg=name)


def test_through_the_checks():
    found = recorded(parquet_table(ride(), "ride.parquet"))
    np.testing.assert_array_equal(found.power, [200, np.nan, 0, 210])
    np.testing.assert_array_equal(found.time, EPOCH + np.arange(4.0))
    assert (found.clock, found.start) == ("utc", "2024-05-31T16:02:03Z")
    naive = pa.table({"when": STAMPS.cast(pa.timestamp("ns")), "watts": [1.0, 2, 3, 4]})
    assert recorded(parquet_table(written(naive), "a")).clock == "local"


def test_points_are_decimal():
    """Cells with three digits after the point are not thousands, whatever the other cells are."""
    found = recorded(parquet_table(written(pa.table({"power": [1.125, 2.375, 3.875]})), "a"))
    assert found.power.tolist() == [1.125, 2.375, 3.875]


def test_decimal_commas_in_texts():
    found = recorded(parquet_table(written(pa.table({"power": ["201,5", "-", "203", "7"]})), "a"))
    np.testing.assert_array_equal(found.power, [201.5, np.nan, 203, 7])


@pytest.mark.parametrize(("array", "text"), [
    (pa.array([0.1, None, float("nan")], pa.float32()), ["0.10000000149011612", "", "nan"]),
    (pa.array(np.array([0.1, 2, 3], np.float16)), ["0.0999755859375", "2.0", "3.0"]),
    (pa.array([decimal.Decimal("1.10"), None]), ["1.10", ""]),
    (pa.array([2**63, None], pa.uint64()), ["9223372036854775808", ""]),
    (pa.array([7, 8, 7]).dictionary_encode(), ["7", "8", "7"]),
    (pa.array([" a ", None]), ["a", ""]),
    (pa.array(["a", None], pa.large_string()), ["a", ""]),
    (pa.array(["a", "b", None]).dictionary_encode(), ["a", "b", ""]),
    (pa.nulls(2), ["", ""]),
    (pa.array([dt.date(2024, 5, 31), None]), ["2024-05-31", ""]),
    (pa.array([dt.time(1, 2, 3, 4000), None], pa.time32("ms")), ["1:02:03.004", ""]),
    (pa.array([dt.time(23, 2, 3, 5), None], pa.time64("ns")), ["23:02:03.000005000", ""]),
    (pa.array([1500, None, 10**9], pa.duration("ms")), ["1.5", "", "1000000.0"]),
    (pa.array([1, None], pa.timestamp("ns")), ["1970-01-01T00:00:00.000000001", ""]),
    (pa.array([1, None], pa.timestamp("s", "+05:30")), ["1970-01-01T00:00:01.000Z", ""]),
])
def test_types(array, text):
    assert cells(written(pa.table({"x": array}))) == {"x": text}


def test_duration_under_a_name_with_a_unit():
    """Microseconds called "time_ms" are not scaled again."""
    table = pa.table({"time_ms": pa.array([0, 1_500_000, 3_661_000_000], pa.duration("us")), "power": [1, 2, 3]})
    assert recorded(parquet_table(written(table), "a")).time.tolist() == [0, 1.5, 3661]


def test_left_out():
    table = pa.table({"power": [1, 2, 3], "ok": [True, False, None], "list": [[1], [2], []], "map": [{"a": 1}] * 3,
                      "raw": [b"x"] * 3, "story": ["x" * 65] * 3, "a.b": [4, 5, 6]})
    found = parquet_table(written(table), "a")
    assert found.header == ["power", "a.b"]
    assert list(said(found)) == ["columns left out, neither numbers, stamps nor texts: 'ok', 'list', 'map', 'raw'",
                           "column 'story' left out: texts of more than 64 bytes"]
    refused(written(pa.table({"ok": [True]})), "0 columns of numbers")
    refused(written(pa.table({"power": pa.array([], pa.int64())})), "and 0 rows")


def test_index_of_a_frame():
    """An index without a name is the time if it is one; other index columns keep their names."""
    frame = pd.DataFrame({"power": [1, 2, 3]}, index=pd.date_range(BEGIN, periods=3, freq="s"))
    assert list(cells(framed(frame))) == ["power", "timestamp"]
    assert recorded(parquet_table(framed(frame), "a")).clock == "utc"
    assert list(cells(framed(frame.rename_axis("when")))) == ["power", "when"]
    assert list(cells(framed(frame.assign(timestamp=0)))) == ["power", "timestamp", "__index_level_0__"]
    frame.index = pd.to_timedelta([0, 1, 2], unit="s")
    assert cells(framed(frame)) == {"power": ["1", "2", "3"], "elapsed": ["0.0", "1.0", "2.0"]}
    frame.index = pd.Index([5, 7, 9])
    assert list(cells(framed(frame))) == ["power", "__index_level_0__"]
    assert list(cells(framed(frame.reset_index(drop=True)))) == ["power"]


def test_one_name_twice():
    table = pa.Table.from_arrays([pa.array([1, 2, 3]), pa.array([4, 5, 6])], names=["power", "power"])
    found = parquet_table(written(table), "a")
    assert (found.header, found.columns) == (["power", "power"], [["1", "2", "3"], ["4", "5", "6"]])
    with pytest.raises(InputError, match="2 columns that may be the power"):
        recorded(found)


def test_limits(monkeypatch):
    refused(written(pa.table({f"c{k}": [1] for k in range(1001)})), "1001 columns")
    monkeypatch.setattr(parquet, "MAX_CELLS", 11)
    refused(ride(), "3 columns of 4 rows", "at most 11 cells")
    monkeypatch.setattr(parquet, "MAX_ROWS", 3)
    refused(ride(), "found 4 rows; expected at most 3")
    monkeypatch.undo()
    monkeypatch.setattr(parquet, "MAX_DECODED", 100)
    refused(ride(), "bytes unpacked", "100 bytes")


def test_a_packed_bomb_is_not_unpacked():
    """A text of 1 MB repeated in 500,000 rows would take 500 GB."""
    texts = pa.DictionaryArray.from_arrays(pa.array(np.zeros(500_000, np.int32)), pa.array(["x" * 1_000_000]))
    data = written(pa.table({"text": texts, "power": pa.nulls(500_000, pa.float64())}), compression="zstd")
    assert len(data) < 20_000
    before = pa.total_allocated_bytes()
    assert list(cells(data)) == ["power"]
    assert pa.default_memory_pool().max_memory() - before < 200_000_000


def test_rows_that_only_the_metadata_claim():
    """More or fewer rows in the footer than in the pages: an error, or as many cells as rows."""
    data = ride(compression="none", use_dictionary=False)
    for at in range(len(data) - 600, len(data) - 8):
        changed = bytearray(data)
        changed[at] = (changed[at] + 2) % 256
        with suppress(InputError):
            found = parquet_table(bytes(changed), "ride.parquet")
            assert {len(column) for column in found.columns} <= {len(found.rows)}


def test_truncated_at_every_byte():
    data = ride()
    for size in range(len(data)):
        refused(data[:size], "cannot be decoded")


@settings(max_examples=500, deadline=None)
@given(packing=st.sampled_from(["none", "zstd"]), sums=st.booleans(),
       flips=st.lists(st.tuples(st.floats(0, 0.999), st.integers(0, 7)), min_size=1, max_size=4))
def test_flipped_bits(packing, sums, flips):
    data = bytearray(ride(compression=packing, write_page_checksum=sums))
    for at, bit in flips:
        data[int(at * len(data))] ^= 1 << bit
    with suppress(InputError):
        recorded(parquet_table(bytes(data), "ride.parquet"))


def test_page_checksum():
    """A reading changed in a file with checksums of its pages is found out."""
    table = pa.table({"power": [1234.5, 2.0, 3.0]})
    data = written(table, compression="none", use_dictionary=False, write_page_checksum=True, write_statistics=False)
    at = data.index(np.float64(1234.5).tobytes())
    refused(data[:at] + b"\1" + data[at + 1:], "cannot be decoded", "CRC")


def test_library_missing(monkeypatch):
    data = ride()
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    refused(data, "pip install 'agree-devices[parquet]'")
