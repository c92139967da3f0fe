"""XML training logs: what was written is read, whatever prefixes and spaces; bombs and ruins are refused."""

from __future__ import annotations

import tracemalloc
from contextlib import suppress
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from agree import InputError, read_recording
from agree.files.formats import xml_points
from agree.files.formats.xml_points import xml_table
from tests.genuine import genuine
from tests.said import recorded, said

BEGIN = datetime(2024, 5, 31, 16, 2, 3, tzinfo=UTC)
ROWS = [(i, w, 90.0, 8.25) for i, w in enumerate([200, 0, None, 1234, 210])]


def ride(rows=ROWS, *, prefix="", extension="ns3:", space="\n  ", encoding="utf-8", zone="Z", laps=1, activities=1,
         head=None, named="Ride"):
    """Write a log; rows are seconds, power, cadence, speed, of which None is left out or blank."""
    p, e, out = prefix, extension, [head if head is not None else f'<?xml version="1.0" encoding="{encoding}"?>']
    out.append(f'<{p}TrainingCenterDatabase xmlns{":" + p[:-1] if p else ""}="urn:a" '
               f'xmlns{":" + e[:-1] if e else ""}="urn:b"><{p}Activities>' if p or e else "<Log>")
    out += [f'<{p}Activity Sport="Biking"><{p}Id>{named}</{p}Id>'] * activities
    for lap in range(laps):
        out.append(f"<{p}Lap><{p}Cadence>7</{p}Cadence><{p}Track>")
        for second, watts, cadence, speed in rows[lap * len(rows) // laps: (lap + 1) * len(rows) // laps]:
            stamp = (BEGIN + timedelta(seconds=second)).replace(tzinfo=None).isoformat() + zone
            out.append(f"<{p}Trackpoint><{p}Time>{space}{stamp}</{p}Time><{p}Position><{p}LatitudeDegrees>1.5"
                       f"</{p}LatitudeDegrees></{p}Position><{p}HeartRateBpm><{p}Value>99</{p}Value></{p}HeartRateBpm>")
            if cadence is not None:
                out.append(f"<{p}Cadence>{cadence!r}</{p}Cadence>")
            out.append(f"<{p}Extensions><{e}TPX><{e}RunCadence>5</{e}RunCadence>")
            out.append(f"<{e}Speed>{speed!r}{space}</{e}Speed>" if speed is not None else f"<{e}Speed/>")
            out.append(f"<{e}Watts>{space}{watts!r}</{e}Watts>" if watts is not None else f"<{e}Watts></{e}Watts>")
            out.append(f"</{e}TPX></{p}Extensions></{p}Trackpoint>")
        out.append(f"</{p}Track></{p}Lap>")
    out += [f"</{p}Activity>"] * activities
    out.append(f"</{p}Activities></{p}TrainingCenterDatabase>" if p or e else "</Log>")
    return space.join(out).encode(encoding)


def refused(data, *said):
    with pytest.raises(InputError) as caught:
        recorded(xml_table(data, "ride.tcx"))
    text = str(caught.value)
    assert text.startswith("ride.tcx")
    assert text.count("; ") >= 2
    for part in said:
        assert part in text, text


number = st.none() | st.integers(0, 2000) | st.floats(0, 2000)


@settings(max_examples=150, deadline=None)
@given(steps=st.lists(st.integers(1, 10**9), min_size=2, max_size=8), data=st.data(),
       prefix=st.sampled_from(["", "tc:"]), extension=st.sampled_from(["", "ns3:", "x:"]),
       space=st.sampled_from(["", "\n", "\r\n\t "]), encoding=st.sampled_from(["utf-8", "utf-16", "iso-8859-1"]),
       zone=st.sampled_from(["Z", "+00:00", ""]), laps=st.integers(1, 2))
def test_what_is_written_is_read(steps, data, prefix, extension, space, encoding, zone, laps):
    """Microseconds, blanks, prefixes, white space, encodings and laps: each value as written."""
    micros = np.cumsum([0, *steps]).tolist()
    rows = [(m / 1e6, *(data.draw(number) for _ in range(3))) for m in micros]
    rows[0] = (rows[0][0], 150, 80, 7)
    found = xml_table(ride(rows, prefix=prefix, extension=extension, space=space, encoding=encoding, zone=zone,
                           laps=laps, named="Größe"), "ride.tcx")
    assert found.header == ["Time", "Watts", "Cadence", "Speed [m/s]", "heart rate"]
    for k in (1, 2, 3):
        assert [float(c) if c else None for c in found.columns[k]] == [row[k] for row in rows]
    times = [(datetime.fromisoformat(c if zone else c + "Z") - BEGIN) / timedelta(microseconds=1)
             for c in found.columns[0]]
    assert times == micros
    assert list(said(found)) == (["2 laps in the file"] if laps == 2 else [])


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 10**9), st.none() | st.floats(-2000, 20_000), st.none() | st.integers(0, 254),
                          st.none() | st.floats(0, 30)), min_size=1, max_size=12), st.sampled_from(["utf-8", "utf-16"]))
def test_recording_holds_what_was_written(one_folder, rows, encoding):
    assume(genuine([row[1] for row in rows]))
    rows = [(10**6, 150, 90, 8.0)] * 3 + rows
    seconds = np.cumsum([row[0] for row in rows]) / 1e6
    file = one_folder / "ride.xml"
    file.write_bytes(ride([(s, *row[1:]) for s, row in zip(seconds.tolist(), rows, strict=True)], encoding=encoding))
    found = read_recording(file)
    np.testing.assert_allclose(found.time, BEGIN.timestamp() + seconds, rtol=0, atol=1.1e-6)
    for k, name in enumerate(["power", "cadence", "speed"], 1):
        np.testing.assert_array_equal(getattr(found, name), np.array([row[k] for row in rows], float), err_msg=name)


def test_through_the_checks():
    found = recorded(xml_table(ride(), "ride.tcx"))
    np.testing.assert_array_equal(found.power, [200, 0, np.nan, 1234, 210])
    np.testing.assert_array_equal(found.time - found.time[0], np.arange(5.0))
    assert (found.clock, found.start) == ("utc", "2024-05-31T16:02:03Z")


def test_rows_are_lines():
    data = ride(space="\n")
    lines = data.decode().split("\n")
    found = xml_table(data, "ride.tcx")
    assert [lines[n - 1][:11] for n in found.rows] == ["<Trackpoint"] * 5
    with pytest.raises(InputError, match=f"ride.tcx, line {found.rows[3]}: found 'abc' in column 'Watts'"):
        recorded(xml_table(data.replace(b"1234", b"abc"), "ride.tcx"))


def test_several_activities():
    found = xml_table(ride(activities=2), "ride.tcx")
    assert list(said(found)) == ["2 activities in the file"]
    with pytest.raises(InputError, match="time not to go back"):
        recorded(xml_table(ride([*ROWS, *ROWS], laps=2), "ride.tcx"))


def test_twice_in_a_point():
    again = ride().replace(b"<ns3:Watts>\n  1234", b"<ns3:Watts>7</ns3:Watts><ns3:Watts>1234")
    found = xml_table(again, "ride.tcx")
    assert found.columns[1] == ["200", "0", "", "7", "210"]
    assert list(said(found)) == ["1 x an element twice in a point, the first one taken"]


def test_missing():
    refused(b"<a><b/></a>", "without a Trackpoint")
    refused(ride([(i, None, 90, 8) for i in range(3)]), "3 lines with power missing, and the fields 'Time', "
            "'Cadence', 'Speed [m/s]', 'heart rate'")


def test_truncated_at_every_byte():
    data = ride([(i, 200 + i, 90, 8.5) for i in range(12)])
    assert len(data) > 4096
    for size in range(1, 4097):
        with pytest.raises(InputError, match=r"ride\.tcx, line \d+: found XML that is damaged, cut off"):
            xml_table(data[:size], "ride.tcx")
    refused(data[:3000], f"after {data[:3000].count(b'<Trackpoint>')} points")


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(ride()) - 1), st.integers(0, 7)), min_size=1, max_size=4))
def test_flipped_bits(flips):
    data = bytearray(ride())
    for at, bit in flips:
        data[at] ^= 1 << bit
    with suppress(InputError):
        recorded(xml_table(bytes(data), "ride.tcx"))


@pytest.mark.parametrize("head", [
    '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;">]>',  # billion laughs
    '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>',
    '<!DOCTYPE x SYSTEM "http://localhost:9/x.dtd">',
    '<!DOCTYPE x [<!ENTITY % p SYSTEM "http://localhost:9/p">%p;]>',
    '<!DOCTYPE x [<!ENTITY a "' + "a" * 100_000 + '">]>',  # quadratic blowup
])
def test_document_types(head):
    refused(ride(head=head), "line ", "found a document type (DTD)")


def test_undefined_entity():
    refused(ride().replace(b"1234", b"&a;"), "damaged", "undefined entity")


@pytest.mark.parametrize("data", [b"<a>" * 100_000, b"<a b='1'>" * 100_000 + b"</a>" * 100_000])
def test_deep(data):
    refused(data, "line 1: found elements 65 deep")


def test_long_cell_and_long_text():
    refused(ride().replace(b"1234", b"1" * 100_000), "Watts with more than 64 characters")
    refused(b"<a>" + b"x" * 4_000_000 + b"</a>", "without a Trackpoint")


@pytest.mark.parametrize("begin", [b"<a b='>", b"<!-- >", b"<?p >", b"<x"])
def test_tag_without_end(begin):
    """The parser would scan it anew with each piece, in a time that grows with the square of the size."""
    refused(b"<a>\n" + begin + begin[-1:] * 3_000_000, "line 2: found a tag or comment of more than")


def test_memory_does_not_grow_with_what_is_not_read():
    data = b"<a>" + b"<b c='d'>text</b>" * 100_000 + b"</a>"
    tracemalloc.start()
    refused(data, "without a Trackpoint")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 2_000_000


def test_encodings_stated_wrongly():
    """Another encoding than stated is refused with its line, not guessed."""
    latin = ride(named="Größe").decode().encode("latin-1")
    refused(latin, "not in the encoding it states", "line ")
    for wrong in ("utf-16", "no-such-encoding", "utf-7", "idna", "rot13", "hex"):
        refused(ride().replace(b'"utf-8"', f'"{wrong}"'.encode()), "not in the encoding it states")


def test_limits(monkeypatch):
    monkeypatch.setattr(xml_points, "MAX_POINTS", 4)
    refused(ride(), "more than 4 points")
    monkeypatch.setattr(xml_points, "MAX_BYTES", 100)
    refused(ride(), "expected at most 100")
