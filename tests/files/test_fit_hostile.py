"""FIT files cut off, damaged or made to do harm: an answer or an error that says what was found, and soon."""

from __future__ import annotations

import struct
import sys

import pytest
from fit_writer import ACTIVITY, EVENT, FIELDS, RECORD, START, FitWriter, checksum, refused, ride
from hypothesis import given, settings
from hypothesis import strategies as st

from agree import InputError
from agree.files.formats import fit_records
from agree.files.formats.fit import MAX_BYTES, fit_table
from tests.said import recorded, said


def table(data):
    """Cells and notes."""
    found = fit_table(data, "ride.fit")
    return [list(column) for column in found.columns], list(said(found))


def test_checksum():
    """Wrong or missing: read with a note, as every record is whole (common practice)."""
    data = ride().done()
    whole, _ = table(data)
    for damaged, kind in ((data[:-1] + bytes([data[-1] ^ 1]), "wrong"), (data[:-2], "missing"), (data[:-1], "missing")):
        found, notes = table(damaged)
        assert found == whole
        assert notes == [f"checksum {kind}, though all can be decoded: a value may be damaged"]
    found, notes = table(data + bytes(100))
    assert found == whole
    assert notes == ["100 bytes behind the end of the FIT file ignored"]
    refused(data[:-1] + bytes([data[-1] ^ 1]) + b"more", "wrong checksum", "4 bytes behind byte")


def test_truncated_says_where():
    data = ride().done()
    for cut, whole in ((3, 4), (10, 4), (11, 3)):  # a record takes 8 bytes, the checksum 2
        refused(data[:-cut], f"end of the file at byte {len(data) - cut}, after {whole} whole records",
                f"states {len(data)} bytes")


def test_no_power():
    text = refused(FitWriter().record(timestamp=START, heart_rate=99).done(), "1 records with power missing")
    assert "'heart_rate', 'timestamp'" in text
    refused(FitWriter().record(timestamp=START, power=None).done(), "power always blank")
    refused(FitWriter().done(), "without records")
    refused(b"\x0e\x20" + bytes(6) + b"GIF!", "no FIT header at byte 0")


def test_not_closed():
    """A recorder that lost its supply leaves a header that states no size."""
    data = bytearray(ride().done())
    for size in (0, 0xFFFF_FFFF):
        data[4:8] = struct.pack("<I", size)
        refused(bytes(data), "states no size", "not closed")


def with_body(body):
    data = struct.pack("<BBHI4s", 12, 0x20, 2132, len(body), b".FIT") + body
    return data + struct.pack("<H", checksum(data))


@pytest.mark.parametrize("body", [
    bytes([0x05]) + bytes(20),  # a message that was never defined
    bytes([0x40, 0, 0, 20, 0, 255]) + bytes(range(250)),  # 255 fields, not all there
    bytes([0x40, 0, 0, 20, 0, 2, 7, 2, 0x84, 7, 2, 0x84, 0, 1, 0, 2, 0]),  # the same field twice
    bytes([0x40, 0, 0, 20, 0, 1, 7, 0, 0x84, 0]),  # a field of no size
    bytes([0x40, 0, 0, 20, 0, 1, 7, 200, 0x0D, 0, 1, 2]),  # a field beyond the end
    bytes([0x40, 0, 0, 132, 0, 1, 10, 1, 2, 0, 5]),  # heart beats without a first stamp
])
def test_hostile_messages(body):
    refused(with_body(body), "cannot be decoded before byte")


def test_odd_types():
    """An unknown base type and a wrong size hold no number: blank with a note, not a wrong watt."""
    for kind, size in ((0x55, 2), (0x84, 3), (0x84, 4), (0x07, 2)):
        record = bytes([0x40, 0, 0, 20, 0, 2, 253, 4, 0x86, 7, size, kind])
        for i in range(3):
            record += b"\0" + struct.pack("<I", START + i) + b"ab" + bytes(size - 2)
        refused(with_body(record), "3 records with power always blank")


def test_developer_field_of_a_size_that_does_not_fit():
    writer = FitWriter().describe(0, 1, "uint16", "P")
    writer.record(timestamp=START, power=1, developer=[(0, 1, "uint8", 5)])
    refused(writer.done(), "developer field of 1 bytes for numbers of 2")


def test_limits(monkeypatch):
    refused(b"\x0e\x20\0\0\0\0\0\0.FIT" + bytes(MAX_BYTES), f"expected at most {MAX_BYTES}")
    monkeypatch.setattr(fit_records, "MAX_RECORDS", 4)
    refused(ride().done(), "more than 4 records")
    writer = FitWriter()
    for k in range(33):
        writer.describe(0, k, "uint8", f"d{k}")
    writer.record(timestamp=START, power=1, developer=[(0, k, "uint8", 1) for k in range(33)])
    refused(writer.done(), "more than 32 developer fields")


def test_library_missing(monkeypatch):
    monkeypatch.setitem(sys.modules, "fitdecode", None)
    refused(ride().done(), "pip install 'agree-devices[fit]'")


def sample():
    """A file with every kind of message, longer than 4 kB; much of it a long field, so that it decodes fast."""
    writer = FitWriter().describe(0, 1, "uint16", "Power", native=7, units="watts")
    for i in range(36):
        fields = [(*FIELDS["timestamp"], START + i), (*FIELDS["power"], 200 + i), (*FIELDS["speed"], 8000),
                  (*FIELDS["left_right_balance"], 0x80 | 50), (200, "byte", bytes(100))]
        writer.message(RECORD, fields, [(0, 1, "uint16", 210)], local=2)
        if i % 6 == 0:
            writer.message(EVENT, [(253, "uint32", START + i), (0, "enum", 0), (1, "enum", i // 6 % 2)], local=3)
    writer.message(ACTIVITY, [(253, "uint32", START), (5, "uint32", START + 3600)], local=5)
    return writer.done()


SAMPLE = sample()


def outcome(data):
    """Read to the end; anything but an answer or an InputError fails the test that calls."""
    try:
        recorded(fit_table(data, "ride.fit"))
    except InputError as error:
        return str(error)
    return ""


def test_truncated_at_every_byte():
    assert len(SAMPLE) > 4096
    assert not outcome(SAMPLE)
    assert all(outcome(SAMPLE[:size]) for size in range(1, 4097))


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 600) | st.integers(0, len(SAMPLE) - 1), st.integers(0, 7)), min_size=1,
                max_size=6))
def test_flipped_bits(flips):
    data = bytearray(SAMPLE)
    for at, bit in flips:
        data[at] ^= 1 << bit
    outcome(bytes(data))


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300), st.booleans())
def test_any_bytes(body, defined):
    begin = bytes([0x40, 0, 0, 20, 0, 2, 253, 4, 0x86, 7, 2, 0x84]) if defined else b""
    outcome(with_body(begin + body))
