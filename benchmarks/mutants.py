"""Would a test notice? One-line changes to the code, each of which must make a test fail.

    python benchmarks/mutants.py                      all of benchmarks/mutants.toml
    python benchmarks/mutants.py --room verdict       those of one room
    python benchmarks/mutants.py --quick 8            every 8th, as CI does

A mutant replaces one text in one file, which must hold it just once, in a copy of the package; then its tests run. Exit
status 1 if fewer than 95 % are killed, or if a mutant's text is no longer in the code: then the list must be renewed.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
WANTED = 0.95
SECONDS = 600


def outcome(mutant: dict[str, Any], copy: Path) -> str:
    """Return "killed", "survived", "stale" (its text is not there once) or "broken" (its tests fail without it)."""
    file = copy / str(mutant["file"])
    original = file.read_text(encoding="utf-8")
    if original.count(str(mutant["old"])) != 1:
        return "stale"
    file.write_text(original.replace(str(mutant["old"]), str(mutant["new"])), encoding="utf-8")
    try:
        status = tested(mutant, copy)
    finally:
        file.write_text(original, encoding="utf-8")
    return "killed" if status == 1 else "survived" if status == 0 else "broken"


def tested(mutant: dict[str, Any], copy: Path) -> int:
    """Run the tests of a mutant on the copy, and return pytest's status."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "--no-header", "-p", "no:cacheprovider", *mutant["tests"]]
    return subprocess.run(command, cwd=copy, env=os.environ | {"PYTHONPATH": str(copy)}, timeout=SECONDS,
                          capture_output=True, check=False).returncode


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--room", help="only mutants of this room")
    parser.add_argument("--quick", type=int, default=1, metavar="N", help="every Nth")
    options = parser.parse_args()
    mutants = tomllib.loads((ROOT / "benchmarks" / "mutants.toml").read_text(encoding="utf-8"))["mutant"]
    chosen = [item for item in mutants if options.room in (None, Path(item["file"]).parts[1])][::options.quick]
    found: dict[str, int] = {}
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for name in ("agree", "tests", "benchmarks", "docs"):
            shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__", "_build"))
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, copy / name)
        for item in chosen:
            said = outcome(item, copy)
            found[said] = found.get(said, 0) + 1
            if said != "killed":
                print(f"{said}: {item['file']}: {item['old']!r} -> {item['new']!r}")
    share = found.get("killed", 0) / max(len(chosen), 1)
    print(f"{len(chosen)} mutants: " + ", ".join(f"{count} {name}" for name, count in sorted(found.items()))
          + f"; {100 * share:.0f} % killed, {100 * WANTED:.0f} % wanted")
    return 0 if share >= WANTED and not found.get("stale") else 1


if __name__ == "__main__":
    sys.exit(main())
