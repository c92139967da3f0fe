"""From a FIT file, the binary format of sports recorders, to a table of text cells."""

from __future__ import annotations

import io
from typing import Any

from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.files.formats.fit_records import Records
from agree.files.table import Table

MAX_BYTES = 32_000_000  # a day at a record a second takes 1 to 8 MB; decoding the limit, 2 to 3 minutes
WHOLE = "expected a whole FIT file; copy it from the recorder again, or have it saved anew there"


def fit_table(data: bytes, source: str) -> Table:
    """Decode a FIT file, also a chain of several, into a table with a row for each record.

    Raises
    ------
    InputError
        No FIT file, one that is cut off or damaged, no records, no power; the library not installed.
    """
    try:
        import fitdecode
    except ImportError:
        raise InputError(f"{source}: found a FIT file; expected the library fitdecode to read it; "
                         "pip install 'agree-devices[fit]'") from None
    if len(data) > MAX_BYTES:
        raise InputError(f"{source}: found a FIT file of {len(data)} bytes; expected at most {MAX_BYTES}; "
                         "cut it to one recording")
    records = Records(source)
    start, parts = 0, 0
    while start < len(data):
        end = _end(data, start, source)
        _decode(fitdecode, data, start, end, records)
        intact = len(data) >= end and not _checksum(data[start:end])
        if not intact:
            records.notes.append(Note(kind="read_checksum", severity="trust",
                                      values={"state": "wrong" if len(data) >= end else "missing"}))
        start, parts = end, parts + 1
        behind = len(data) - start
        if behind > 0 and not _is_header(data, start):
            if not intact:
                raise InputError(f"{source}: found a wrong checksum, and {behind} bytes behind byte {start}, the end "
                                 f"that the header states; {WHOLE}")
            records.notes.append(Note(kind="read_bytes_behind", values={"bytes": behind}))
            break
    if parts > 1:
        records.notes.append(Note(kind="read_chained", values={"parts": parts}))
    return records.table()


def _is_header(data: bytes, start: int) -> bool:
    return len(data) >= start + 12 and data[start] >= 12 and data[start + 8: start + 12] == b".FIT"


def _end(data: bytes, start: int, source: str) -> int:
    """Return where the FIT file that begins at `start` ends by its header, 2 bytes of checksum included."""
    if not _is_header(data, start):
        raise InputError(f"{source}: found no FIT header at byte {start}; {WHOLE}")
    size = int.from_bytes(data[start + 4: start + 8], "little")
    if size in (0, 0xFFFF_FFFF):
        behind = max(len(data) - start - data[start], 0)
        raise InputError(f"{source}: found a header that states no size, with {behind} bytes behind it, as of a "
                         "recording that was not closed; expected a finished FIT file; "
                         "let the recorder or its software repair it")
    return start + data[start] + size + 2


def _decode(fitdecode: Any, data: bytes, start: int, end: int, records: Records) -> None:
    """Take in all messages of one FIT file; whatever the library raises becomes an InputError."""
    cut = len(data) < end - 2  # a missing checksum alone loses nothing
    stream = io.BytesIO(data[start:end] + bytes(0 if cut else max(end - len(data), 0)))
    reader = fitdecode.FitReader(stream, processor=None, check_crc=fitdecode.CrcCheck.DISABLED,
                                 error_handling=fitdecode.ErrorHandling.IGNORE)
    records.last = 0
    why = ""
    try:
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_DATA:
                records.take(frame)
            elif frame.frame_type == fitdecode.FIT_FRAME_DEFINITION:
                _check_definition(frame)
    except InputError:
        raise
    except Exception as exc:  # hostile bytes can raise anything in the library
        text = f"{type(exc).__name__}: {exc}"[:120].rstrip(": ")
        why = "".join(c if c.isprintable() else "?" for c in text)
    if cut:
        raise InputError(f"{records.source}: found the end of the file at byte {len(data)}, after {records.count} "
                         f"whole records, where its header states {end} bytes; {WHOLE}")
    if why:
        raise InputError(f"{records.source}: found bytes that cannot be decoded before byte {start + stream.tell()}, "
                         f"after {records.count} records ({why}); {WHOLE}")


def _check_definition(frame: Any) -> None:
    """Refuse what the library would decode wrongly, or in a time that grows with the square of the fields."""
    numbers = [field.def_num for field in frame.field_defs]
    if len(set(numbers)) < len(numbers):
        raise ValueError("a definition with the same field twice")
    for field in frame.dev_field_defs:
        if field.size % field.base_type.size:
            raise ValueError(f"a developer field of {field.size} bytes for numbers of {field.base_type.size}")


def _crc_table() -> list[int]:
    table = list(range(256))
    for _ in range(8):
        table = [crc >> 1 ^ (0xA001 if crc & 1 else 0) for crc in table]
    return table


CRC_TABLE = _crc_table()


def _checksum(data: bytes) -> int:
    """CRC-16 with the reversed polynomial 0xA001; 0 if `data` ends in its own checksum."""
    crc = 0
    for byte in data:
        crc = crc >> 8 ^ CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc
