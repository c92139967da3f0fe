"""How well the lag, the delay left beside the response, and the response's size are known: coverage of their errors.

Run: python benchmarks/lag_errors.py [--fetch] [--rides DIR] [--half settle|judge|all] [--runs N] [--seed N]
     [--only WORDS]
Rides are those of same_ride.py; of each row N pieces of 25 to 60 min. The device averages over some seconds, reads 0 in
stops or leaves those seconds out after 3 s, and its clock is right or drifts by 60 ppm; then it reads between whole
seconds, which smooths it by itself. The reference has noise of 3 W, the device of 4 W. *lag* and *delay* are within
1.96 standard errors, *size* (of a running mean, where one was found; the reading
between seconds makes the device smoother than it says) within 2.31. 95 % of 24 has a Monte-Carlo error of 4 points.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np
from clocks import device
from same_ride import rides

from agree import Pairs, Recording, pair_recordings
from agree.core.errors import InputError

START = "2026-03-01T09:00:00Z"
BEGIN = 1772355600.0
WIDTHS = (1, 3, 5, 10, 30)


def dated(power: np.ndarray, leaves_out: bool) -> Recording:
    """A recording with a date; if asked for, without the seconds of stops from the fourth on."""
    own = np.arange(power.size)
    moving = np.maximum.accumulate(np.where(power > 0, own, -1))
    keep = own - moving <= 3 if leaves_out else np.ones(power.size, bool)
    keep[[0, -1]] = True
    return Recording(time=BEGIN + own[keep], power=power[keep], clock="utc", start=START)


def piece(found: dict[str, tuple[float, np.ndarray]], rng: np.random.Generator) -> np.ndarray:
    """From 25 to 60 min of a ride, with noise of 3 W."""
    whole = np.nan_to_num(list(found.values())[int(rng.integers(len(found)))][1])
    size = min(int(rng.integers(1500, 3600)), whole.size)
    start = int(rng.integers(0, whole.size - size + 1))
    part = whole[start:start + size]
    noisy = np.maximum(part + 3 * rng.standard_normal(size), 1.0)
    return np.where(part > 0, np.rint(noisy), 0.0)


def error(pairs: Pairs, phase: float, ppm: float, mean: int, size: int) -> tuple[float, float]:
    """Errors of the lag in the middle of the overlap, and of the delay left beside the response, s."""
    true = 1e-6 * ppm * ((size + phase) / 2 - phase) - phase
    told = pairs.alignment.delay
    return pairs.alignment.lag_s - true - (mean - 1) / 2, np.nan if told is None else told.rest_s - true


def row(found: dict[str, tuple[float, np.ndarray]], mean: int, leaves_out: bool, ppm: float, runs: int,
        seed: int) -> str:
    rng = np.random.default_rng([44, seed, mean, int(leaves_out), int(ppm) + 100])
    told: list[list[float]] = []
    refused = 0
    for _ in range(runs):
        x = piece(found, rng)
        phase = float(rng.uniform(0, 9))
        clean = device(x, rng, phase=phase, ppm=ppm, mean=mean, noise=4)
        try:
            pairs = pair_recordings(dated(x, False), dated(clean, leaves_out))
        except InputError:
            refused += 1
            continue
        lag, rest = error(pairs, phase, ppm, mean, x.size)
        matched, delay = pairs.matched, pairs.alignment.delay
        averaged = matched.kind == "running mean" and matched.smoother == "device"
        told.append([lag, pairs.alignment.lag_se_s, rest, np.nan if delay is None else delay.se_s,
                     matched.size_s - mean if averaged else np.nan, matched.size_se_s if averaged else np.nan])
    lag, lag_se, rest, rest_se, size, size_se = np.array(told).T
    cells = []
    for off, se, times in ((lag, lag_se, 1.96), (rest, rest_se, 1.96), (size, size_se, 2.31)):
        known = np.isfinite(off) & np.isfinite(se)
        cells.append(f"{off[known].mean():+.3f}, {off[known].std():.3f}, {np.median(se[known]):.3f} | "
                     f"{int((np.abs(off[known]) <= times * se[known]).sum())} of {int(known.sum())}"
                     if known.any() else " | ")
    name = "as it is" if mean == 1 else f"{mean}-s mean"
    return f"| {name} | {'left out' if leaves_out else '0'} | {ppm:+.0f} | {refused} | {' | '.join(cells)} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=Path, default=Path(__file__).parent.parent / "tests/data/rides")
    parser.add_argument("--fetch", action="store_true")
    parser.add_argument("--half", choices=("settle", "judge", "all"), default="all")
    parser.add_argument("--runs", type=int, default=24)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="rows whose name holds this")
    options = parser.parse_args()
    found = {name: ride for name, ride in rides(options).items() if ride[1].size >= 1500}
    began = time.process_time()
    print("| device | stops | ppm | refused | lag: mean, SD, median SE (s) | lag within | delay: the same | delay "
          "within | size: the same | size within |\n|---|---|---:|---:|---:|---:|---:|---:|---:|---:|")
    for mean in WIDTHS:
        for leaves_out in (False, True):
            for ppm in (0.0, 60.0, -60.0):
                if options.only in f"{mean}-s mean":
                    print(row(found, mean, leaves_out, ppm, options.runs, options.seed), flush=True)
    print(f"\n{time.process_time() - began:.0f} s")


if __name__ == "__main__":
    main()
