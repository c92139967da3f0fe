"""The bytes of a file: a regular one, of bounded size, opened for reading only; gzip is unpacked."""

from __future__ import annotations

import codecs
import io
import re
import stat
import zlib
from collections.abc import Iterator
from pathlib import Path

from agree.core.errors import InputError
from agree.core.results.plain import plain_name

MAX_BYTES = 500_000_000
GZIP = b"\x1f\x8b"
PIECE = 1 << 16
MAX_MEMBERS = 100_000  # each costs time, whatever its size
CSV_REMEDY = "export the recording as CSV"
REFUSED = (
    (b"PK\x03\x04", "a zip archive or a spreadsheet (XLSX, ODS)",
     "unpack an archive; open a spreadsheet and save the sheet with the readings as CSV"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet", CSV_REMEDY), (b"%PDF", "a PDF", CSV_REMEDY),
    (b"BZh", "bzip2", "unpack it, or pack it by gzip"), (b"\xfd7zXZ\0", "xz", "unpack it, or pack it by gzip"),
    (b"\x28\xb5\x2f\xfd", "zstd", "unpack it, or pack it by gzip"), (b"7z\xbc\xaf", "a 7z archive", "unpack it"))
BYTE_ORDERS = ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
ANY = "a file of one recording"


def source_of(path: Path) -> str:
    """Return the name of a file as it stands in messages: on one line, whatever it holds."""
    return plain_name(path.name) or plain_name(path)


def raw(path: Path, source: str, expected: str = ANY) -> bytes:
    """Return the bytes of a regular file, as they are.

    Parameters
    ----------
    path : Path
        At most 500 MB.
    source : str
        What messages call it.
    expected : str
        What messages say should be there.

    Raises
    ------
    InputError
        No file, a directory, device or pipe, no permission, or too much in it. What is no regular file, or too
        large, is refused before it is opened.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise InputError(f"{source}: found a directory; expected {expected}; name the file in it")
        if not stat.S_ISREG(status.st_mode):
            raise InputError(f"{source}: found a device or pipe; expected {expected}; save it as a file first")
        if status.st_size > MAX_BYTES:
            raise too_large(source, f"{status.st_size} bytes")
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)  # a file may grow while it is read
    except FileNotFoundError:
        what = "a link to a file that is not there" if path.is_symlink() else "no such file"
        raise InputError(f"{source}: found {what}; expected {expected}; check the path") from None
    except (OSError, ValueError) as exc:
        if isinstance(exc, InputError):
            raise
        reason = getattr(exc, "strerror", None) or "not a path"
        raise InputError(f"{source}: found a file that cannot be read ({reason}); expected {expected}; "
                         "check the path and its permissions") from None
    return data


def unpacked(data: bytes, source: str, expected: str = ANY) -> bytes:
    """Return bytes unpacked if they are gzip by their first ones, whatever their name.

    Raises
    ------
    InputError
        Nothing in them, damaged gzip, or gzip of more than 500 MB.
    """
    if data.startswith(GZIP):
        data = _unpacked(data, source, expected)
    if not data or data.isspace():
        raise InputError(f"{source}: found an empty file; expected {expected}; export it again")
    return data


def kind_of(data: bytes, source: str) -> str:
    """Tell by its first bytes what a file is: "FIT", "Parquet", "XML", "JSON" or else "text".

    Raises
    ------
    InputError
        A kind that is known, and that is no recording or must be turned into one first.
    """
    for magic, what, remedy in REFUSED:
        if data.startswith(magic):
            raise InputError(f"{source}: found {what}; expected {ANY}; {remedy}")
    if data[8:12] == b".FIT":
        return "FIT"
    if data.startswith(b"PAR1"):
        return "Parquet"
    head = data[:512]
    wide = next((codec for mark, codec in BYTE_ORDERS if head.startswith(mark)), "utf-8-sig")
    start = head.decode(wide, "ignore").lstrip("\ufeff \t\r\n")
    if re.match(r"<(!doctype html|html|head|body|table|div)\b", start, re.IGNORECASE):
        raise InputError(f"{source}: found a web page; expected {ANY}; download the file itself")
    # A comment, or a tag that holds another or has attributes: no header of a table, which may be <time>,<power>.
    if re.match(r"<(\?xml|TrainingCenterDatabase|gpx)\b|<!--|<[A-Za-z][\w:.-]*(\s+[\w:.-]+=[^<>]*>|>\s*<\w)", start):
        return "XML"
    return "JSON" if re.match(r"\{\s*(\"|\})|\[\s*[\[{\]\d\"-]", start) else "text"


def too_large(source: str, found: str) -> InputError:
    """Return the error of too many bytes."""
    return InputError(f"{source}: found {found}; expected at most {MAX_BYTES}; cut the file to one recording")


def _unpacked(data: bytes, source: str, expected: str) -> bytes:
    """Unpack gzip, and stop as soon as it gets too large."""
    made = io.BytesIO()
    for block in _blocks(data, source, expected):
        if made.tell() == 0 and block.startswith(GZIP):
            raise InputError(f"{source}: found gzip within gzip; expected {expected}; unpack it once")
        if made.tell() + len(block) > MAX_BYTES:
            raise too_large(source, f"gzip that unpacks to more than {MAX_BYTES} bytes")
        made.write(block)
    return made.getvalue()


def _blocks(data: bytes, source: str, expected: str) -> Iterator[bytes]:
    """Yield the content of all members of a gzip file, a block at a time."""
    again = f"expected {expected}; copy or export it again, or unpack it by hand"
    done = at = members = 0
    while at < len(data) and (members == 0 or data[at]):  # zeros after a member are padding
        members += 1
        if members > MAX_MEMBERS:
            raise InputError(f"{source}: found gzip of more than {MAX_MEMBERS} pieces; {again}")
        unpack = zlib.decompressobj(wbits=31)
        while not unpack.eof:
            if at == len(data):
                raise InputError(f"{source}: found gzip cut short, {done} bytes when unpacked so far; {again}")
            piece = data[at: at + PIECE]
            try:
                block = unpack.decompress(piece, 16 * PIECE)
            except zlib.error:
                raise InputError(f"{source}: found damaged gzip, {done} bytes when unpacked so far; {again}") from None
            at += len(piece) - len(unpack.unconsumed_tail) - len(unpack.unused_data)
            done += len(block)
            if block:
                yield block
