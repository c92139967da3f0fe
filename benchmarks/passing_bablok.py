"""Time and memory of Passing-Bablok's line, beside a search through all slopes.

    python benchmarks/passing_bablok.py [--quick]

`scipy.stats.theilslopes` lists every pairwise slope. On t = device - reference and s = reference + device its median m
gives the same line: slope = (1 + m)/(1 - m). Both are timed in turn, in one process; both return a slope with its
interval. Larger n are run alone, each in a process of its own, whose peak memory counts Python, numpy and the data.
Times are processor times, medians of several runs, since other work on the machine disturbs those less; both run in
one thread. A third table sets the line beside `np.argsort` of one column, and limits of agreement with serial intervals
beside mean and SD, in one process; ties break what the quick way takes for granted: whole watts, whose equal points
count once with a weight, and tenths of watts, whose sums tie while few points are equal. Prints the tables;
stops with an error if a slope differs or a process needs 500 MB. Times are for the reader, never a condition.
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from agree import limits_of_agreement, passing_bablok

KINDS = ("float", "whole watts")
TENTHS = "tenths of watts"
SMALL, LARGE = (100, 300, 1_000, 3_000, 10_000), (10_000, 100_000, 1_000_000)
MOST_MB = 500


def data(n: int, kind: str) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of 220 W (SD 60 W), both devices with errors of 6 W, the second at 0.98 and 1 W more."""
    rng = np.random.default_rng(n)
    true = rng.normal(220, 60, n)
    reference, device = true + rng.normal(0, 6, n), 1 + 0.98 * true + rng.normal(0, 6, n)
    decimals = {KINDS[1]: 0, TENTHS: 1}.get(kind)
    return (reference, device) if decimals is None else (reference.round(decimals), device.round(decimals))


def timed(run: Callable[[], Any]) -> tuple[float, Any]:
    """Processor seconds a call took, and what it returned."""
    start = time.process_time()
    result = run()
    return time.process_time() - start, result


def compare(n: int, kind: str) -> tuple[float, float]:
    """Median seconds of ours and of the search through all slopes, on the same data in turn."""
    from scipy.stats import theilslopes

    x, y = data(n, kind)
    times: tuple[list[float], list[float]] = ([], [])
    for _ in range(2 if n > 3_000 else 9):
        for _ in range(3):
            ours, line = timed(lambda: passing_bablok(x, y))
            times[0].append(ours)
        listed, all_slopes = timed(lambda: theilslopes(y - x, x + y))
        times[1].append(listed)
    m = float(all_slopes.slope)
    # With an even number of slopes the mean of the middle two is taken of b here and of m there: not quite the same.
    if not math.isclose(line.slope.value, (1 + m) / (1 - m), rel_tol=1e-7):
        raise SystemExit(f"n = {n}, {kind}: slope {line.slope.value!r}, by all slopes {(1 + m) / (1 - m)!r}")
    return statistics.median(times[0]), statistics.median(times[1])


def alone(n: int, kind: str) -> None:
    """Print median seconds of 3 runs and peak memory in MB as JSON."""
    x, y = data(n, kind)
    seconds = statistics.median(timed(lambda: passing_bablok(x, y))[0] for _ in range(3))
    print(json.dumps([seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000]))


def in_a_process(n: int, kind: str) -> tuple[float, float]:
    """Run `alone` in a new process."""
    command = [sys.executable, __file__, "--alone", str(n), kind]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    seconds, megabytes = json.loads(done.stdout)
    return seconds, megabytes


def relative(n: int, kind: str) -> list[tuple[str, float, str, float]]:
    """Calls at n, their median seconds, and what they are set beside, in seconds."""
    x, y = data(n, kind)

    def median(run: Callable[[], Any]) -> float:
        return statistics.median(timed(run)[0] for _ in range(3))

    sort, plain = median(lambda: np.argsort(x)), median(lambda: (np.mean(y - x), np.std(y - x)))
    return [("passing_bablok", median(lambda: passing_bablok(x, y)), "np.argsort", sort),
            ("limits_of_agreement, serial", median(lambda: limits_of_agreement(x, y, sampling="serial")),
             "mean and SD", plain)]


def growth(times: dict[int, float], first: int, last: int) -> float:
    """Slope of log time over log n."""
    return math.log(times[last] / times[first]) / math.log(last / first)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="only up to 1,000 beside, and up to 100,000 alone")
    parser.add_argument("--part", choices=("all", "relative"), default="all", help="the last table alone")
    parser.add_argument("--alone", nargs=2, metavar=("N", "KIND"), help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.alone:
        alone(int(arguments.alone[0]), arguments.alone[1])
        return
    small, large = (SMALL[:3], LARGE[:2]) if arguments.quick else (SMALL, LARGE)
    if arguments.part != "relative":
        search_and_size(small, large)
    relative_table(large[-1])


def search_and_size(small: tuple[int, ...], large: tuple[int, ...]) -> None:
    """Print the tables of small and of large n."""
    # Large ones first: a new process starts with the peak memory of the one that made it.
    big = {(n, kind): in_a_process(n, kind) for kind in KINDS for n in large}
    print("| pairs | data | all slopes listed | passing_bablok | ratio |\n|---:|---|---:|---:|---:|")
    for kind in KINDS:
        listed = {}
        for n in small:
            ours, listed[n] = compare(n, kind)
            print(f"| {n:,} | {kind} | {1000 * listed[n]:,.1f} ms | {1000 * ours:,.1f} ms | {listed[n] / ours:,.1f} |",
                  flush=True)
        print(f"| growth, {small[-2]:,} to {small[-1]:,} | {kind} | n^{growth(listed, small[-2], small[-1]):.2f} | | |")
    print("\n| pairs | data | passing_bablok | peak memory of the process |\n|---:|---|---:|---:|")
    for kind in KINDS:
        for n in large:
            print(f"| {n:,} | {kind} | {big[n, kind][0]:.2f} s | {big[n, kind][1]:.0f} MB |")
        rise = growth({n: big[n, kind][0] for n in large}, large[0], large[-1])
        print(f"| growth, {large[0]:,} to {large[-1]:,} | {kind} | n^{rise:.2f} | |")
    most = max(megabytes for _, megabytes in big.values())
    if most >= MOST_MB:
        raise SystemExit(f"peak memory {most:.0f} MB; below {MOST_MB} MB is wanted")
    print()


def relative_table(n: int) -> None:
    """Print what the calls take beside simple ones."""
    print("| pairs | data | call | time | beside | its time | ratio |\n|---:|---|---|---:|---|---:|---:|")
    for kind in (*KINDS, TENTHS):
        for call, seconds, beside, other in relative(n, kind):
            print(f"| {n:,} | {kind} | {call} | {1000 * seconds:,.0f} ms | {beside} | {1000 * other:,.1f} ms | "
                  f"{seconds / other:,.1f} |", flush=True)


if __name__ == "__main__":
    main()
