"""Read the FIT samples that general libraries ship with their source, and compare every value with another decoder.

Run: python benchmarks/fit_samples.py (4 minutes of processor time; needs pip and a package index). The sources in
SOURCES are fetched into a temporary folder, which is removed in the end: samples hold positions and serial numbers, so
none is kept. The other decoder, fitparse, is put into that folder too, and used for nothing else. Of each sample are
compared, record by record: the stamp, power, cadence and speed, where either decoder has a value. Samples that are the
same byte for byte count once. With --limits, made files instead (2 minutes): a week, and what a hostile file can cost.
"""

from __future__ import annotations

import hashlib
import resource
import struct
import subprocess
import sys
import tarfile
import tempfile
import time
from datetime import UTC
from pathlib import Path
from typing import Any

from agree import AgreeError, read_recording
from agree.files.formats.fit import MAX_BYTES, fit_table

SOURCES = ("fitdecode", "fitparse", "activity-parser", "pyfitness==0.2.1")
DECODER = "fitparse==1.2.0"


def pip(*words: str) -> None:
    subprocess.run([sys.executable, "-m", "pip", *words, "-q", "--no-deps", "--disable-pip-version-check"],
                   check=True, stderr=subprocess.DEVNULL)


def samples(folder: Path) -> list[Path]:
    """Fetch the source distributions and unpack their samples, under numbers for names."""
    found: dict[str, Path] = {}
    for source in SOURCES:
        place = folder / str(len(list(folder.iterdir())))
        pip("download", "--no-binary", ":all:", "-d", str(place), source)
        count = 0
        for archive in place.glob("*.tar.gz"):
            with tarfile.open(archive) as tar:
                for member in sorted(tar.getmembers(), key=lambda m: m.name):
                    if member.isfile() and member.name.lower().endswith(".fit"):
                        data = tar.extractfile(member).read()  # type: ignore[union-attr]
                        digest = hashlib.sha256(data).hexdigest()
                        if digest not in found:
                            found[digest] = folder / f"{len(found) + 1}.fit"
                            found[digest].write_bytes(data)
                        count += 1
        print(f"- {source}: {count} samples")
    return list(found.values())


def decoded(path: Path) -> dict[str, list[Any]]:
    """Records as the other decoder gives them."""
    from fitparse import FitFile

    rows: dict[str, list[Any]] = {"timestamp": [], "power": [], "cadence": [], "speed [m/s]": []}
    for message in FitFile(str(path), check_crc=False).get_messages("record"):
        stamp, cadence = message.get_value("timestamp"), message.get_value("cadence")
        fraction = message.get_value("fractional_cadence") or 0
        fast = message.get_value("enhanced_speed")
        rows["timestamp"].append(None if stamp is None else stamp.replace(tzinfo=UTC).timestamp())
        rows["power"].append(message.get_value("power"))
        rows["cadence"].append(None if cadence is None else cadence + fraction)
        rows["speed [m/s]"].append(message.get_value("speed") if fast is None else fast)
    return rows


def compared(path: Path) -> str:
    """Say how many values of how many are the same."""
    try:
        theirs = decoded(path)
    except Exception as exc:
        return f"other decoder: {type(exc).__name__}"
    table = fit_table(path.read_bytes(), path.name)
    ours = dict(zip(table.header, table.columns, strict=True))
    total = same = 0
    for name, column in theirs.items():
        mine = [float(c) if c else None for c in ours.get(name, [""] * len(table.rows))]
        if len(mine) != len(column):
            return f"{len(mine)} records, the other decoder {len(column)}"
        pairs = [(a, b) for a, b in zip(mine, column, strict=True) if (a, b) != (None, None)]
        total += len(pairs)
        same += sum(None not in pair and abs(pair[0] - pair[1]) < 1e-9 for pair in pairs)
    return f"{same:,} of {total:,}"


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        pip("install", "--target", str(folder / "decoder"), DECODER)
        sys.path.insert(0, str(folder / "decoder"))
        files = samples(folder)
        print(f"\n{len(files)} different samples.\n")
        print("| sample | kB | records | power readings | s | read, or why not | values as the other decoder's |")
        print("|---:|---:|---:|---:|---:|---|---|")
        for path in files:
            records, readings, same = "", "", ""
            start = time.process_time()
            try:
                found = read_recording(path)
                outcome = "read"
                extra = [note for note in found.notes if not note.startswith(("power: ", "time: "))]
                outcome += f" ({'; '.join(extra)})" if extra else ""
                records, readings = f"{found.power.size:,}", f"{(found.power == found.power).sum():,}"
            except AgreeError as exc:
                outcome = str(exc).partition(": ")[2]
            seconds = time.process_time() - start
            if records:
                same = compared(path)
            print(f"| {path.stem} | {path.stat().st_size / 1000:,.0f} | {records} | {readings} | {seconds:.2f} | "
                  f"{outcome.replace('|', '/')} | {same} |", flush=True)


def message(number: int, fields: list[tuple[int, int, int]], local: int = 0) -> bytes:
    """Definition of a message: its fields by number, size and base type."""
    return struct.pack("<BBBHB", 0x40 | local, 0, 0, number, len(fields)) + b"".join(map(bytes, fields))


def limits() -> None:
    """Time and memory of a week at a record a second, and of files made to cost the most for their size."""
    week = message(20, [(253, 4, 0x86), (7, 2, 0x84), (4, 1, 2), (6, 2, 0x84), (13, 1, 1), (30, 1, 2), (5, 4, 0x86)])
    week += b"".join(struct.pack("<BIHBHbBI", 0, 1_086_105_723 + i, 200 + i % 300, 90, 8000 + i % 3000, 20, 178, i)
                     for i in range(604_800))
    many = [(k, 1, 2) for k in range(252)]
    bodies = {
        "a week at a record a second": week,
        "messages of 2 bytes": message(200, [(1, 1, 2)]) + bytes([0, 1]) * 250_000,
        "messages of 252 fields": message(20, many) + bytes([0, *[99] * 252]) * 2_000,
        "events of 252 fields": message(21, many) + bytes([0, *[99] * 252]) * 2_000,
        "definitions alone": message(20, many) * 700,
        "short stamps": message(20, [(7, 2, 0x84)]) + bytes([0x80, 100, 0]) * 160_000,
    }
    print("| file | kB | s | s for the largest allowed | peak memory so far, MB |\n|---|---:|---:|---:|---:|")
    for name, body in bodies.items():
        data = struct.pack("<BBHI4s", 12, 0x20, 2132, len(body), b".FIT") + body
        start = time.process_time()
        try:
            fit_table(data, name)
        except AgreeError as exc:
            print(f"{name}: {exc}", file=sys.stderr)
        seconds = time.process_time() - start
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
        largest = seconds * MAX_BYTES / len(data)
        print(f"| {name} | {len(data) / 1000:,.0f} | {seconds:.1f} | {largest:.0f} | {peak:.0f} |", flush=True)


if __name__ == "__main__":
    limits() if sys.argv[1:] == ["--limits"] else main()
