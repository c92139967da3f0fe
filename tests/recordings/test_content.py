"""The bytes of a file: what is refused, how fast, and how much memory it takes. All files are made here."""

from __future__ import annotations

import gzip
import os
import subprocess
import sys
import zlib
from pathlib import Path

import pytest

from agree import InputError, read_recording
from agree.recordings import _content
from agree.recordings._content import content

PLAIN = b"time,power\n0,200\n1,201\n2,202\n"
PACKED = gzip.compress(PLAIN, mtime=0)
AGAIN = "expected a file of one recording; copy or export it again, or unpack it by hand"


def write(folder: Path, data: bytes, name: str = "ride.csv") -> Path:
    file = folder / name
    file.write_bytes(data)
    return file


@pytest.mark.parametrize("data", [
    PACKED, gzip.compress(PLAIN[:13]) + gzip.compress(PLAIN[13:]), PACKED + b"\0" * 100,
    gzip.compress(b"") + PACKED], ids=["one", "two members", "padded", "an empty member"])
def test_gzip_is_told_by_its_bytes(tmp_path, data):
    assert content(write(tmp_path, data), "ride") == PLAIN
    assert read_recording(write(tmp_path, data)).power.tolist() == [200, 201, 202]


@pytest.mark.parametrize(("data", "message"), [
    (gzip.compress(b""), "found an empty file; expected a file of one recording; export it again"),
    (gzip.compress(b" \n" * 9), "found an empty file; expected a file of one recording; export it again"),
    (gzip.compress(PACKED), "found gzip within gzip; expected a file of one recording; unpack it once"),
    (PACKED + b"more", f"found damaged gzip, 29 bytes when unpacked so far; {AGAIN}"),
    (PACKED[:-9] + b"\xff" + PACKED[-8:], f"found damaged gzip, 0 bytes when unpacked so far; {AGAIN}"),
    (PACKED[:-4], f"found gzip cut short, 29 bytes when unpacked so far; {AGAIN}"),
    (b"\x1f\x8b", f"found gzip cut short, 0 bytes when unpacked so far; {AGAIN}"),
    (b"\x1f\x8bpower\n1\n2\n3\n", f"found damaged gzip, 0 bytes when unpacked so far; {AGAIN}"),
    (gzip.compress(b"") * 100_001, f"found gzip of more than 100000 pieces; {AGAIN}"),
])
def test_damaged_gzip(tmp_path, data, message):
    with pytest.raises(InputError) as caught:
        content(write(tmp_path, data), "ride")
    assert str(caught.value) == f"ride: {message}"


def test_every_cut_of_gzip_is_told(tmp_path):
    for size in range(2, len(PACKED)):
        with pytest.raises(InputError, match=r"^ride: found gzip cut short, \d+ bytes when unpacked so far; "):
            content(write(tmp_path, PACKED[:size]), "ride")


def test_a_file_that_grows_while_it_is_read(tmp_path, monkeypatch):
    file = write(tmp_path, PLAIN)
    monkeypatch.setattr(_content, "MAX_BYTES", len(PLAIN))
    assert content(file, "ride") == PLAIN
    found = file.stat()
    monkeypatch.setattr(_content, "MAX_BYTES", len(PLAIN) - 1)
    monkeypatch.setattr(Path, "stat", lambda self: os.stat_result((*found[:6], 5, *found[7:])))
    with pytest.raises(InputError, match=r"^ride: found more than 28 bytes; expected at most 28; cut the file to "):
        content(file, "ride")


MEASURE = """
import resource, sys
from agree import InputError, read_recording
try:
    read_recording(sys.argv[1])
except InputError as exc:
    print(exc)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)
"""


def bomb(size: int) -> bytes:
    """Zeros packed: the packed form repeats, so that it is made without packing all of them."""
    pack = zlib.compressobj(9, wbits=31)
    head = pack.compress(b"\0" * 10_000_000) + pack.flush(zlib.Z_FULL_FLUSH)
    again = pack.compress(b"\0" * 10_000_000) + pack.flush(zlib.Z_FULL_FLUSH)
    return head + again * (size // 10_000_000)


@pytest.mark.parametrize(("name", "message"), [
    ("sparse", "found 2000000000 bytes; expected at most 500000000; cut the file to one recording"),
    ("bomb", "found gzip that unpacks to more than 500000000 bytes; expected at most 500000000; cut the file to one"),
    ("zeros", "found binary data; expected a text table; export the recording as CSV"),
    ("endless", "found a line of more than 1000000 characters; expected a row for each reading; export the recording"),
])
def test_what_is_too_large_takes_less_than_a_gigabyte(tmp_path, name, message):
    file = tmp_path / name
    if name == "bomb":
        file.write_bytes(bomb(10_000_000_000))
    elif name == "endless":
        file.write_bytes(b"1," * 200_000_000)
    else:
        with file.open("wb") as made:
            made.truncate({"sparse": 2_000_000_000, "zeros": 400_000_000}[name])
    done = subprocess.run([sys.executable, "-c", MEASURE, str(file)], capture_output=True, text=True, check=True)
    line, peak = done.stdout.splitlines()
    assert line.startswith((f"{name}: {message}", f"{name}, row 1: {message}"))
    assert int(peak) < 1_000_000_000
