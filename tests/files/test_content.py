"""The bytes of a file: what is refused, how fast, and how much memory it takes. All files are made here."""

from __future__ import annotations

import gzip
import os
import re
import subprocess
import sys
import zlib
from pathlib import Path

import pytest

from agree import InputError, read_recording
from agree.files import file_bytes
from agree.files.file_bytes import kind_of
from agree.files.formats import rows
from agree.files.source import opened
from tests.each import each
from tests.said import said

PLAIN = b"time,power\n0,200\n1,201\n2,202\n"
PACKED = gzip.compress(PLAIN, mtime=0)
AGAIN = "expected a file of one recording; copy or export it again, or unpack it by hand"


def write(folder: Path, data: bytes, name: str = "ride.csv") -> Path:
    file = folder / name
    file.write_bytes(data)
    return file


@pytest.mark.parametrize("data", [
    PACKED, gzip.compress(PLAIN[:13], mtime=0) + gzip.compress(PLAIN[13:], mtime=0), PACKED + b"\0" * 100,
    gzip.compress(b"", mtime=0) + PACKED], ids=["one", "two members", "padded", "an empty member"])
def test_gzip_is_told_by_its_bytes(tmp_path, data):
    assert opened(write(tmp_path, data, "ride")).data == PLAIN
    assert read_recording(write(tmp_path, data)).power.tolist() == [200, 201, 202]


@pytest.mark.parametrize(("data", "message"), [
    (gzip.compress(b"", mtime=0), "found an empty file; expected a file of one recording; export it again"),
    (gzip.compress(b" \n" * 9, mtime=0), "found an empty file; expected a file of one recording; export it again"),
    (gzip.compress(PACKED, mtime=0), "found gzip within gzip; expected a file of one recording; unpack it once"),
    (PACKED + b"more", f"found damaged gzip, 29 bytes when unpacked so far; {AGAIN}"),
    (PACKED[:-9] + b"\xff" + PACKED[-8:], f"found damaged gzip, 0 bytes when unpacked so far; {AGAIN}"),
    (PACKED[:-4], f"found gzip cut short, 29 bytes when unpacked so far; {AGAIN}"),
    (b"\x1f\x8b", f"found gzip cut short, 0 bytes when unpacked so far; {AGAIN}"),
    (b"\x1f\x8bpower\n1\n2\n3\n", f"found damaged gzip, 0 bytes when unpacked so far; {AGAIN}"),
    (gzip.compress(b"", mtime=0) * 100_001, f"found gzip of more than 100000 pieces; {AGAIN}"),
])
def test_damaged_gzip(tmp_path, data, message):
    with pytest.raises(InputError) as caught:
        opened(write(tmp_path, data, "ride"))
    assert str(caught.value) == f"ride: {message}"


def test_every_cut_of_gzip_is_told(tmp_path):
    for size in range(2, len(PACKED)):
        with pytest.raises(InputError, match=r"^ride: found gzip cut short, \d+ bytes when unpacked so far; "):
            opened(write(tmp_path, PACKED[:size], "ride"))


def test_a_file_that_grows_while_it_is_read(tmp_path, monkeypatch):
    file = write(tmp_path, PLAIN)
    monkeypatch.setattr(file_bytes, "MAX_BYTES", len(PLAIN))
    assert opened(file).data == PLAIN
    found = file.stat()
    monkeypatch.setattr(file_bytes, "MAX_BYTES", len(PLAIN) - 1)
    monkeypatch.setattr(Path, "stat", lambda self: os.stat_result((*found[:6], 5, *found[7:])))
    with pytest.raises(InputError, match=r"^ride\.csv: found more than 28 bytes; expected at most 28; cut the file "):
        opened(file)


MEASURE = """
import re, sys
from agree import InputError, read_recording
try:
    read_recording(sys.argv[1])
except InputError as exc:
    print(exc)
status = open("/proc/self/status").read()  # ru_maxrss holds what the parent had when it forked
print(1024 * int(re.search(r"VmHWM:\\s+(\\d+)", status)[1]))
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


@pytest.mark.parametrize("name", ["a\x01b.csv", "-rf.csv", "Ünïcödé 🚲.csv", " .csv", "'; x.csv", "x" * 250, "..csv",
                                  "ride", "ride.fit", "ride.parquet", "ride.tcx", "ride.zip", "ride.csv.gz"])
def test_odd_names_are_read_all_the_same(tmp_path, name):
    found = read_recording(write(tmp_path, PLAIN, name))
    assert found.power.tolist() == [200, 201, 202]
    with pytest.raises(InputError) as caught:
        read_recording(write(tmp_path, b"time,power\n0,x\n", name))
    assert str(caught.value).isprintable()
    assert str(caught.value).startswith(name.replace("\x01", "?") + ", row 2: found 'x' in column 'power'")


def test_name_without_its_ending(tmp_path):
    for name in ("ride.csv", "ride.csv.gz", "ride.gz"):
        assert read_recording(write(tmp_path, PACKED, name)).name == "ride"


def test_links(tmp_path):
    file = write(tmp_path, PLAIN)
    (tmp_path / "good").symlink_to(file)
    (tmp_path / "lost").symlink_to(tmp_path / "nowhere")
    (tmp_path / "loop").symlink_to(tmp_path / "pool")
    (tmp_path / "pool").symlink_to(tmp_path / "loop")
    (tmp_path / "folder").symlink_to(tmp_path)
    assert read_recording(tmp_path / "good").power.tolist() == [200, 201, 202]
    for name, found in {"lost": "a link to a file that is not there", "folder": "a directory",
                        "loop": "a file that cannot be read (Too many levels of symbolic links)"}.items():
        with pytest.raises(InputError, match=rf"^{name}: found {re.escape(found)}; expected a file of one recording; "):
            read_recording(tmp_path / name)


@pytest.mark.parametrize(("data", "message"), [
    (b"PK\x03\x04" + b"\0" * 50, "a zip archive or a spreadsheet (XLSX, ODS); expected a file of one recording; unpack "
     "an archive; open a spreadsheet and save the sheet with the readings as CSV"),
    (b"%PDF-1.7\n", "a PDF; expected a file of one recording; export the recording as CSV"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1", "a spreadsheet; expected a file of one recording; export the recording as CSV"),
    (b"BZh91AY", "bzip2; expected a file of one recording; unpack it, or pack it by gzip"),
    (b"\xfd7zXZ\0\0", "xz; expected a file of one recording; unpack it, or pack it by gzip"),
    (b"\n<!DOCTYPE html>\n<html>", "a web page; expected a file of one recording; download the file itself"),
    (b"<table><tr><td>power", "a web page; expected a file of one recording; download the file itself"),
    (b"<HTML><body>", "a web page; expected a file of one recording; download the file itself"),
])
def test_kinds_that_are_no_recording(tmp_path, data, message):
    for held in (data, gzip.compress(data, mtime=0)):
        with pytest.raises(InputError) as caught:
            read_recording(write(tmp_path, held))
        assert str(caught.value) == f"ride.csv: found {message}"


@each(("data", "kind"), [
    (b"\x0e\x10\x00\x00\x00\x00\x00\x00.FIT\x00\x00", "FIT"), (b"PAR1\x15\x04", "Parquet"),
    (b"<?xml version='1.0'?><a/>", "XML"), (b"\xef\xbb\xbf \n<?xml version='1.0'?>", "XML"),
    ("\ufeff<?xml version='1.0'?>".encode("utf-16-le"), "XML"), (b"<TrainingCenterDatabase xmlns='x'>", "XML"),
    (b"<!-- a --><gpx>", "XML"), (b"<workout><power>2", "XML"), (b'<svg xmlns="x">', "XML"), (b"[1, 2]", "JSON"),
    (b"<time>,<power>\n0,200\n", "text"), (b"[s],[W]\n0,200\n", "text"),
    (b"time,.FIT,power\n", "text"), (b"<xml>,power\n", "text"), (b"", "text"), (b"\xff\xfe", "text"), (PLAIN, "text")])
def test_kind_is_told_by_the_first_bytes(data, kind):
    assert kind_of(data, "ride") == kind


def test_signs_have_no_meaning_in_a_file_that_is_no_text(tmp_path):
    file = write(tmp_path, b"PAR1\x15\x04")
    with pytest.raises(InputError, match=r"^ride.csv: found a Parquet file, in which `decimal` has no meaning; "):
        read_recording(file, decimal=",")


def test_week_long_limits(tmp_path, monkeypatch):
    monkeypatch.setattr(rows, "MAX_ROWS", 30)
    monkeypatch.setattr(rows, "MAX_CELLS", 90)
    assert read_recording(write(tmp_path, b"power\n" + b"1\n" * 30)).power.size == 30
    for text, found in ((b"power\n" + b"1\n" * 31, "31 rows, or more, of 1 cell"),
                        (b"power\n" + b"1\n" * 40, "41 rows, or more, of 1 cell"),
                        (b"power,a,b,c\n" + b"1,2,3,4\n" * 30, "31 rows, or more, of 4 cells")):
        with pytest.raises(InputError) as caught:
            read_recording(write(tmp_path, text))
        assert str(caught.value) == (f"ride.csv: found {found}; expected at most 30 rows and 90 cells; cut the file to "
                                     "one recording, or leave out columns")


def test_many_chunks_are_one_table(tmp_path, monkeypatch):
    lines = []
    for k in range(50):
        lines += ["time,power", "s,W"] * (k % 7 == 0) + [f'{k},"{200 + k}"'] + [""] * (k % 3) + ["# x"] * (k % 5 == 0)
    text = "\n".join(lines) + "\nTotal,7\n"
    file = write(tmp_path, text.encode())
    whole = read_recording(file)
    for size in (1, 2, 3, 7, 20):
        monkeypatch.setattr(rows, "CHUNK", size)
        found = read_recording(file)
        assert found.power.tolist() == whole.power.tolist() == [200 + k for k in range(50)]
        assert said(found) == said(whole)
    wrong = write(tmp_path, text.replace('44,"244"', '44,"two\nlines"\n45,off').encode())
    row = text[:text.index("44,")].count("\n") + 1
    with pytest.raises(InputError, match=rf"^ride.csv, row {row}: found 'two.nlines' in column 'power'"):
        read_recording(wrong)
