"""Coverage of the intervals of best efforts, on real rides with serial errors put in.

    python benchmarks/efforts.py [--runs 500] [--jobs 2]

Power of three real rides of tests/data/rides is the truth; the device reads 2 % more. Errors of SD 5 W, or of 3 % of
power, correlated over 5 or 60 s, are on the device, on the reference, or half of their variance on each; none in
coasting. True differences: 2 % of the true best, and 2 % of the true power in the window taken. Prints Markdown tables
with Monte-Carlo standard errors.
"""

from __future__ import annotations

import argparse
import csv
import math
import warnings
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

from agree import AgreeWarning, Pairs, best_efforts

RIDES = Path(__file__).resolve().parent.parent / "tests" / "data" / "rides"
REAL = ("single-road-78min", "single-road-stops", "pair-1-bike")
DURATIONS = (1, 5, 15, 30, 60, 300, 600, 1200, 3600)
BIAS, SD_W, SD_SHARE = 0.02, 5.0, 0.03
SIDES = ("device", "reference", "both")


@cache
def real(name: str) -> np.ndarray:
    with (RIDES / f"{name}.csv").open(encoding="utf-8") as file:
        power = np.array([float(row["power_W"] or "nan") for row in csv.DictReader(file)])
    return np.where(np.isfinite(power), power, 0)


def wander(rng: np.random.Generator, tau: float, n: int) -> np.ndarray:
    """Stationary autoregressive series of unit variance."""
    rho = math.exp(-1 / tau)
    noise = rng.normal(0, math.sqrt(1 - rho * rho), n)
    noise[0] = rng.normal()
    return lfilter([1], [1, -rho], noise)


def one(job: tuple[int, str, str, int]) -> np.ndarray:
    """For each duration: bests cover, same window covers; error of both and half-widths, in per cent."""
    tau, kind, side, run = job
    rng = np.random.default_rng([tau, len(kind), len(side), run])
    power = real(REAL[run % len(REAL)])
    sd = SD_W if kind == "5 W" else SD_SHARE * power
    shares = {"device": (0, 1), "reference": (1, 0), "both": (math.sqrt(0.5), math.sqrt(0.5))}[side]
    x, y = (np.where(power > 0, scale * power + share * sd * wander(rng, tau, power.size), 0)
            for scale, share in zip((1.0, 1 + BIAS), shares, strict=True))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        result = best_efforts(Pairs(reference=x, device=y), durations_s=DURATIONS)
    rows = []
    for item in result.efforts:
        mean = np.convolve(power, np.ones(item.duration_s) / item.duration_s, "valid")
        true, here = BIAS * mean.max(), BIAS * mean[int(item.reference_start_s)]
        own, same = item.difference, item.same_window
        rows.append([own.low <= true <= own.high, same.low <= here <= same.high,
                     *(100 * value / mean.max() for value in (own.value - true, same.value - here,
                                                              (own.high - own.low) / 2, (same.high - same.low) / 2))])
    return np.array(rows, float)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=2)
    arguments = parser.parse_args()
    error = 100 * math.sqrt(0.05 * 0.95 / arguments.runs)
    print(f"95 % intervals, {arguments.runs} runs a row (Monte-Carlo SE {error:.1f} at 95 %); coverage in %, and in "
          "brackets mean error / mean half-width, in % of power")
    rows = [(kind, tau, side) for kind in ("5 W", "3 %") for tau in (5, 60) for side in SIDES]
    with ProcessPoolExecutor(arguments.jobs) as pool:
        found = {(kind, tau, side): np.array(list(pool.map(
            one, [(tau, kind, side, run) for run in range(arguments.runs)], chunksize=10))).mean(axis=0)
            for kind, tau, side in rows}
    for name, k in (("Difference of the two bests", 0), ("Difference in the reference's best window", 1)):
        print(f"\n{name}\n\n| errors | on | " + " | ".join(f"{one} s" for one in DURATIONS) + " |\n|---|---|"
              + "---|" * len(DURATIONS))
        for kind, tau, side in rows:
            print(f"| {kind}, {tau} s | {side} | " + " | ".join(
                f"{100 * row[k]:.1f} ({row[2 + k]:+.2f} / {row[4 + k]:.2f})" for row in found[kind, tau, side]) + " |")


if __name__ == "__main__":
    main()
