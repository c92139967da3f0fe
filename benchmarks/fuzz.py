"""Feed a reader with damaged files: it must answer with a recording or a named error, in time and in memory.

Run: pip install '.[fuzz]' && python benchmarks/fuzz.py --reader fit --seconds 600
One of text, gzip, fit, xml, parquet, json; each file is read for power and for heart rate. Guided by coverage
(atheris), from the seeds in tests/data/fuzz/READER; what is found is left in --keep (a folder of your own), to be added
to the seeds. Stops at the first fault: any exception but `InputError`, more than 10 s for one file, or more than 1 GB
of memory. Needs /dev/shm or another fast temporary folder.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["agree.files", "agree.recordings", "fitdecode", "defusedxml"]):
    import fitdecode  # noqa: F401

    from agree.core.errors import InputError
    from agree.files.formats import fit, json_lines, parquet, xml_points  # noqa: F401
    from agree.recordings.read import read_recording

SEEDS = Path(__file__).parent.parent / "tests/data/fuzz"
READERS = ("text", "gzip", "fit", "xml", "parquet", "json")
outcomes: Counter[str] = Counter()


def target(data: bytes) -> None:
    """Read the bytes, for power and for heart rate."""
    for quantity in ("power", "heart rate"):
        try:
            read_recording(data, quantity=quantity)
        except InputError:
            outcomes["refused"] += 1
        else:
            outcomes["read"] += 1


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--reader", choices=READERS, required=True)
    parser.add_argument("--seconds", type=int, default=600)
    parser.add_argument("--keep", type=Path, default=None)
    options = parser.parse_args()
    shared = Path("/dev/shm")  # noqa: S108 (a folder of its own is made in it)
    folder = Path(tempfile.mkdtemp(prefix="agree-fuzz-", dir=shared if shared.is_dir() else None))
    keep = options.keep or folder / "found"
    keep.mkdir(parents=True, exist_ok=True)

    def once(data: bytes) -> None:
        target(data)
        total = sum(outcomes.values())
        if total % 10_000 == 0:
            print(f"{total // 2:,} files: {dict(outcomes)}", flush=True)

    atheris.Setup([sys.argv[0], f"-max_total_time={options.seconds}", "-timeout=10", "-rss_limit_mb=1024",
                   "-max_len=20000", f"-artifact_prefix={keep}/fault-", "-print_final_stats=1", "-verbosity=0",
                   str(keep), str(SEEDS / options.reader)], once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
