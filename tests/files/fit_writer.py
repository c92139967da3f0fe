"""A small writer of FIT files, for tests: what it writes is invented, so no recording has to be kept here.

Layout and numbers are facts of the open FIT protocol, from memory: a header of 12 or 14 bytes, definition and data
messages, a checksum of 2 bytes. That they are right is shown by decoding with a library written by others.
"""

from __future__ import annotations

import struct
from typing import Any

import pytest

from agree import InputError
from agree.files.formats.fit import fit_table
from tests.said import recorded

EPOCH = 631_065_600  # 1989-12-31T00:00:00Z
FILE_ID, SESSION, RECORD, EVENT, ACTIVITY, FIELD_DESCRIPTION, DEVELOPER_DATA = 0, 18, 20, 21, 34, 206, 207
# Base type -> number, struct code, marker of "no value".
TYPES: dict[str, tuple[int, str, Any]] = {
    "enum": (0x00, "B", 0xFF), "sint8": (0x01, "b", 0x7F), "uint8": (0x02, "B", 0xFF),
    "sint16": (0x83, "h", 0x7FFF), "uint16": (0x84, "H", 0xFFFF), "sint32": (0x85, "i", 0x7FFF_FFFF),
    "uint32": (0x86, "I", 0xFFFF_FFFF), "string": (0x07, "s", b""), "float32": (0x88, "f", float("nan")),
    "float64": (0x89, "d", float("nan")), "uint8z": (0x0A, "B", 0), "byte": (0x0D, "B", 0xFF)}
# Field of a record -> its number and base type.
FIELDS = {"timestamp": (253, "uint32"), "heart_rate": (3, "uint8"), "cadence": (4, "uint8"),
          "distance": (5, "uint32"), "speed": (6, "uint16"), "power": (7, "uint16"), "temperature": (13, "sint8"),
          "left_right_balance": (30, "uint8"), "fractional_cadence": (53, "uint8"), "enhanced_speed": (73, "uint32")}
START = 1_086_105_723  # 2024-05-31T16:02:03Z
WATTS = [200, 0, None, 1234, 210]
Field = tuple[int, str, Any]  # number, base type, raw value or None


def checksum(data: bytes) -> int:
    """CRC-16 bit by bit, reversed polynomial 0xA001."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0xA001 * (crc & 1)
    return crc


class FitWriter:
    """Collect messages with `message` or `record`, and get the file by `done`."""

    def __init__(self, *, big: bool = False, header: int = 14) -> None:
        self.order, self.header = "<>"[big], header
        self.body = bytearray()
        self.defined: dict[int, bytes] = {}
        self.developers: set[int] = set()
        self.message(FILE_ID, [(0, "enum", 4), (1, "uint16", 255)])

    def message(self, number: int, fields: list[Field], developer: list[tuple[int, int, str, Any]] = (), *,
                local: int = 0, offset: int | None = None) -> FitWriter:
        """Add a data message, and its definition if it is new; developer fields begin with their index.

        With an `offset` of 0 to 31 the header is the short one that holds the low bits of the stamp.
        """
        parts = [self._pack(kind, value) for _, kind, value in fields]
        extra = [self._pack(kind, value) for _, _, kind, value in developer]
        definition = struct.pack(self.order + "BBHB", 0, self.order == ">", number, len(fields))
        for (field, kind, _), part in zip(fields, parts, strict=True):
            definition += bytes([field, len(part), TYPES[kind][0]])
        if developer:
            definition += bytes([len(developer)])
            for (index, field, _, _), part in zip(developer, extra, strict=True):
                definition += bytes([field, len(part), index])
        if self.defined.get(local) != definition:
            self.body += bytes([0x40 | 0x20 * bool(developer) | local]) + definition
            self.defined[local] = definition
        self.body += bytes([local if offset is None else 0x80 | local << 5 | offset])
        self.body += b"".join(parts + extra)
        return self

    def describe(self, index: int, field: int, kind: str, name: str, *, native: int | None = None,
                 units: str = "") -> FitWriter:
        """Describe a developer field, which may stand for a native field of the record."""
        if index not in self.developers:  # a second message would make the fields before it unknown
            self.message(DEVELOPER_DATA, [(3, "uint8", index), (1, "byte", bytes(range(16)))], local=1)
            self.developers.add(index)
        fields: list[Field] = [(0, "uint8", index), (1, "uint8", field), (2, "uint8", TYPES[kind][0]),
                               (3, "string", name), (8, "string", units)]
        if native is not None:
            fields.append((15, "uint8", native))
        return self.message(FIELD_DESCRIPTION, fields, local=1)

    def record(self, *, developer: list[tuple[int, int, str, Any]] = (), offset: int | None = None,
               **raw: int | None) -> FitWriter:
        """Add a record with fields by their names, as raw numbers; None is written as the marker."""
        fields = [(*FIELDS[name], value) for name, value in raw.items()]
        return self.message(RECORD, fields, developer, local=2, offset=offset)

    def done(self) -> bytes:
        """Return the file: header, messages, checksum."""
        head = struct.pack("<BBHI4s", self.header, 0x20, 2132, len(self.body), b".FIT")
        if self.header == 14:
            head += struct.pack("<H", checksum(head))
        data = head + bytes(self.body)
        return data + struct.pack("<H", checksum(data))

    def _pack(self, kind: str, value: Any) -> bytes:
        _, code, marker = TYPES[kind]
        if kind == "string":
            return str(value).encode() + b"\0"
        if isinstance(value, bytes):
            return value
        values = value if isinstance(value, tuple) else (value,)
        return struct.pack(f"{self.order}{len(values)}{code}", *(marker if v is None else v for v in values))


def ride(watts=WATTS, **form):
    writer = FitWriter(**form)
    for i, w in enumerate(watts):
        writer.record(timestamp=START + i, power=w, cadence=90)
    return writer


def refused(data, *said):
    with pytest.raises(InputError) as caught:
        recorded(fit_table(data, "ride.fit"))
    text = str(caught.value)
    assert text.startswith("ride.fit")
    assert text.count("; ") >= 2, text
    for part in said:
        assert part in text, text
    return text
