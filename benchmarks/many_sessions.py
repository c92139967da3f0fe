"""What a check of many sessions costs: processor time and peak memory by number of sessions, and its parts.

    python benchmarks/many_sessions.py [--sessions 1 10 100] [--hours 1]

Invented pairs of an hour at 1 Hz: scale -2 % with an SD of 0.8 % between sessions, white noise of 3 W; they carry an
alignment, as pairs made by a pairing do. Each number of sessions runs in a process of its own. The exponent is that of
processor time between the last two rows, without the first row's fixed cost.
"""

from __future__ import annotations

import argparse
import math
import resource
import subprocess
import sys
import time
import warnings

import numpy as np

from agree import Alignment, Pairs, check_claim
from agree.correction.find import correction
from agree.diagnosis.findings import findings
from agree.verdict.columns import table

ALIGNED = Alignment(lag_s=0.0, lag_se_s=0.02, drift_ppm=0.0, correlation=0.99, runner_up=0.2)


def session(number: int, hours: float, rng: np.random.Generator) -> Pairs:
    """One invented pair."""
    n = round(3600 * hours)
    t = np.arange(n)
    power = np.clip(200 + 60 * np.sin(t / 200 + number) + 20 * rng.normal(size=n), 50, None)
    for start in range(900, n, 900):
        power[start:start + 30] = 0
    rides = power > 0
    device = np.where(rides, power * (0.98 + 0.008 * rng.normal()) + 3 * rng.normal(size=n), 0)
    return Pairs(reference=power, device=device.clip(0), cadence=np.where(rides, 85 + 8 * np.sin(t / 60), 0),
                 session=str(number), alignment=ALIGNED)


def measure(count: int, hours: float) -> None:
    """Print one row."""
    rng = np.random.default_rng(1)
    pairs = [session(number, hours, rng) for number in range(count)]
    warnings.simplefilter("ignore")
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    begin = time.process_time()
    data = table(pairs, 30)
    fix = correction(data, 0.95, 30)
    middle = time.process_time()
    findings(data, fix)
    causes = time.process_time() - middle
    begin = time.process_time()
    check_claim(pairs, "1.5 %")
    whole = time.process_time() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{count} {causes:.3f} {whole:.3f} {before:.0f} {peak:.0f}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sessions", type=int, nargs="+", default=[1, 10, 100])
    parser.add_argument("--hours", type=float, default=1.0)
    parser.add_argument("--row", type=int)
    given = parser.parse_args()
    if given.row:
        measure(given.row, given.hours)
        return
    print("| sessions | causes, CPU s | whole check, CPU s | MB before | MB peak | times one session | exponent |\n"
          "|---:|---:|---:|---:|---:|---:|---:|")
    first, last = 0.0, (0, 0.0)
    for count in given.sessions:
        row = subprocess.run([sys.executable, __file__, "--row", str(count), "--hours", str(given.hours)],
                             capture_output=True, text=True, check=True).stdout.split()
        whole = float(row[2])
        first = first or whole
        power = math.log(whole / last[1]) / math.log(count / last[0]) if last[0] else math.nan
        print(f"| {count} | {row[1]} | {row[2]} | {row[3]} | {row[4]} | {whole / first:.1f} | {power:.2f} |",
              flush=True)
        last = (count, whole)


if __name__ == "__main__":
    main()
