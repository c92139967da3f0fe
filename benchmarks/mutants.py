"""Would a test notice? One-line changes to the code, each of which must make a test fail.

    python benchmarks/mutants.py                      all of benchmarks/mutants.toml
    python benchmarks/mutants.py --room verdict       those of one room
    python benchmarks/mutants.py --quick 20           every 20th
    python benchmarks/mutants.py --stale              only look whether each text is there once, and the new one Python

A mutant replaces one text in one file, which must hold it just once, in a copy of the package; then its tests run, once
without it and once with it. Exit status 1 if fewer than 95 % are killed, or if a mutant's text is no longer in the
code: then the list must be renewed.
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


def outcome(mutant: dict[str, Any], copy: Path, clean: dict[str, bool]) -> str:
    """Return "killed", "survived", "stale" (its text is not there once) or "broken" (its tests fail without it)."""
    file = copy / str(mutant["file"])
    if stale(mutant, copy):
        return "stale"
    original = file.read_text(encoding="utf-8")
    tests = " ".join(mutant["tests"])
    if tests not in clean:
        clean[tests] = tested(mutant, copy) == 0
    if not clean[tests]:
        return "broken"
    file.write_text(original.replace(str(mutant["old"]), str(mutant["new"])), encoding="utf-8")
    try:
        status = tested(mutant, copy)
    finally:
        file.write_text(original, encoding="utf-8")
    return "survived" if status == 0 else "killed"


def stale(mutant: dict[str, Any], root: Path) -> bool:
    """Whether the text that a mutant replaces is not in its file just once, or what it makes is no Python."""
    file = root / str(mutant["file"])
    text = file.read_text(encoding="utf-8") if file.exists() else ""
    if text.count(str(mutant["old"])) != 1:
        return True
    try:
        compile(text.replace(str(mutant["old"]), str(mutant["new"])), str(file), "exec")
    except SyntaxError:  # every test would fail, whatever it looks at
        return True
    return False


def tested(mutant: dict[str, Any], copy: Path) -> int:
    """Run the tests of a mutant on the copy, and return pytest's status; a run without an end counts as a failure."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "--no-header", "-p", "no:cacheprovider", *mutant["tests"]]
    try:
        return subprocess.run(command, cwd=copy, env=os.environ | {"PYTHONPATH": str(copy)}, timeout=SECONDS,
                              capture_output=True, check=False).returncode
    except subprocess.TimeoutExpired:
        return 1


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--room", help="only mutants of this room")
    parser.add_argument("--quick", type=int, default=1, metavar="N", help="every Nth")
    parser.add_argument("--from", type=int, default=1, dest="first", metavar="N", help="begin with the Nth")
    parser.add_argument("--stale", action="store_true", help="run no tests")
    options = parser.parse_args()
    mutants = tomllib.loads((ROOT / "benchmarks" / "mutants.toml").read_text(encoding="utf-8"))["mutant"]
    chosen = [item for item in mutants if options.room in (None, Path(item["file"]).parts[1])][
        options.first - 1::options.quick]
    if options.stale:
        gone = [item for item in chosen if stale(item, ROOT)]
        for item in gone:
            print(f"stale: {item['file']}: {item['old']!r}")
        print(f"{len(chosen)} mutants, {len(gone)} stale")
        return 1 if gone else 0
    found: dict[str, int] = {}
    clean: dict[str, bool] = {}
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for name in ("agree", "tests", "benchmarks", "docs"):
            shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__", "_build"))
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, copy / name)
        for item in chosen:
            said = outcome(item, copy, clean)
            found[said] = found.get(said, 0) + 1
            print(f"{said}: {item['file']}: {item['old']!r} -> {item['new']!r}", flush=True)
    share = found.get("killed", 0) / max(len(chosen), 1)
    print(f"{len(chosen)} mutants: " + ", ".join(f"{count} {name}" for name, count in sorted(found.items()))
          + f"; {100 * share:.0f} % killed, {100 * WANTED:.0f} % wanted")
    return 0 if share >= WANTED and not found.get("stale") and not found.get("broken") else 1


if __name__ == "__main__":
    sys.exit(main())
