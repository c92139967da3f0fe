"""Processor time of whole commands against the start of the libraries they rest on, in the same run.

    python benchmarks/whole_process.py
    python benchmarks/whole_process.py --runs 9

Each is the least of some runs, with its bytecode written beforehand, as an installed package has it. Bounds: the text
of a check takes at most 2.5 times `import pandas`; with a PDF at most 2.5 times `import pandas, matplotlib.pyplot`. The
adversaries are in the table: every figure of the details, and an HTML page; they have no bound.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

MOST = 2.5
PANDAS, PYPLOT = "import pandas", "import pandas, matplotlib.pyplot"


def seconds(arguments: list[str], folder: str, runs: int) -> float:
    """Least processor time of a process, s."""
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(Path(folder) / "bytecode"),
                   "PYTHONPATH": str(Path(__file__).resolve().parent.parent)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    found = []
    for _ in range(runs + 1):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *arguments], cwd=folder, env=environment, check=True, stdout=subprocess.DEVNULL)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(found[1:])  # the first one writes the bytecode


def main() -> None:
    """Print the table; a bound that is passed ends the run with status 1."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=4)
    parser.add_argument("--most", type=float, default=MOST, help="the bound; times scatter where others work")
    options = parser.parse_args()
    runs, most = options.runs, options.most
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([sys.executable, "-m", "agree", "demo", "."], cwd=folder, check=True, stdout=subprocess.DEVNULL,
                       env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parent.parent)})
        check = ["-m", "agree", "check", "invented-crank.csv", "invented-pedals.csv", "--claim", "1.5%"]
        base = {code: seconds(["-c", code], folder, runs) for code in (PANDAS, PYPLOT)}
        passed = False
        print(f"{'command':<22}{'s':>6}  {'times':>5}  {'of':<34}{'bound':>5}")
        for name, more, code, bound in (
                ("text", [], PANDAS, most), ("text, --details", ["--details"], PANDAS, None),
                ("text and PDF", ["-o", "page.pdf"], PYPLOT, most),
                ("text and HTML", ["-o", "page.html"], PYPLOT, None)):
            took = seconds([*check, *more], folder, runs)
            ratio = took / base[code]
            passed = passed or (bound is not None and ratio > bound)
            print(f"{name:<22}{took:>6.2f}  {ratio:>5.2f}  {code:<34}{'' if bound is None else bound:>5}")
    sys.exit(1 if passed else 0)


if __name__ == "__main__":
    main()
