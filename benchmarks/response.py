"""How well a known difference in response is found, and how the slope fares, on real rides.

    python benchmarks/response.py [--runs 200] [--jobs 2]

Power of three real rides of tests/data/rides is the truth. One side, chosen by chance, is smoothed (a trailing mean
or a lag), the device has scale 1.02 and offset +2 W. Then noise: of SD 3 to 8 W on the reference, the device or both,
white or correlated over 5 or 60 s; five gaps of 10 s in each; coasting stays 0; both rounded to 1 W. Half the rides are
cut to 30 min. Prints a Markdown table with Monte-Carlo standard errors.
"""

from __future__ import annotations

import argparse
import csv
import math
import warnings
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.signal import lfilter

from agree import AgreeWarning, Response, response_difference

RIDES = Path(__file__).resolve().parent.parent / "tests" / "data" / "rides"
REAL = ("single-road-78min", "single-road-stops", "pair-1-bike")
FILTERS = (("none", 0.0), ("running mean", 2.0), ("running mean", 3.0), ("running mean", 5.0), ("running mean", 10.0),
           ("first order", 1.0), ("first order", 2.0), ("first order", 4.0))
SCALE, OFFSET, SHORT = 1.02, 2.0, 1800


class Outcome(NamedTuple):
    """What was found in one run: kind and side right, size, whether intervals cover, slopes, share explained."""

    kind: bool
    size: float
    size_covered: bool
    delay_covered: bool
    slope_covered: bool
    slope: float
    raw: float
    explained: float
    told: bool


@cache
def real(name: str) -> np.ndarray:
    with (RIDES / f"{name}.csv").open(encoding="utf-8") as file:
        power = np.array([float(row["power_W"] or "nan") for row in csv.DictReader(file)])
    return np.where(np.isfinite(power), power, 0)


def wander(rng: np.random.Generator, tau: float, n: int) -> np.ndarray:
    """Stationary autoregressive series of unit variance; white for tau 0."""
    rho = math.exp(-1 / tau) if tau else 0.0
    noise = rng.normal(0, math.sqrt(1 - rho * rho), n)
    noise[0] = rng.normal()
    return lfilter([1], [1, -rho], noise)


def smooth(power: np.ndarray, kind: str, size: float) -> np.ndarray:
    """Return the trace of a device that averages, as it would be recorded."""
    if kind == "running mean":
        return np.convolve(power, np.ones(int(size)) / size)[:power.size]
    if kind == "first order":
        keep = math.exp(-1 / size)
        return lfilter([1 - keep], [1, -keep], power)
    return power


def simulated(rng: np.random.Generator, kind: str, size: float) -> tuple[np.ndarray, np.ndarray, str]:
    """Reference, device, and which of them is the smoother."""
    power = real(REAL[rng.integers(len(REAL))])
    if rng.random() < 0.5:
        start = rng.integers(power.size - SHORT)
        power = power[start:start + SHORT]
    side = ("reference", "device")[rng.integers(2)]
    tau, noisy = rng.choice((0.0, 5.0, 60.0)), ((1, 0), (0, 1), (1, 1))[rng.integers(3)]
    traces = []
    for name, has_noise in zip(("reference", "device"), noisy, strict=True):
        trace = smooth(power, kind, size) if name == side else power
        error = has_noise * rng.uniform(3, 8) * wander(rng, tau, power.size)
        made = SCALE * trace + OFFSET + error if name == "device" else trace + error
        made = np.rint(np.where(trace > 5, np.maximum(made, 0), 0))
        for at in rng.integers(power.size, size=5):
            made[at:at + 10] = np.nan
        traces.append(made)
    return traces[0], traces[1], side


def one(job: tuple[int, int]) -> Outcome:
    """Simulate and judge one run."""
    kind, size = FILTERS[job[0]]
    reference, device, side = simulated(np.random.default_rng([job[0], job[1], 77]), kind, size)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        found = response_difference(reference, device)
    good = np.isfinite(reference) & np.isfinite(device)
    raw = float(np.polyfit(reference[good], device[good], 1)[0])
    delay = ((size - 1) / 2 if kind == "running mean" else 0.0) * (1 if side == "device" else -1)
    item = found.width_s or found.time_constant_s
    right = found.kind == kind and (kind == "none" or found.smoother == side)
    return Outcome(right, item.value if item else math.nan, bool(item and item.low <= size <= item.high),
                   found.delay_s.low <= delay <= found.delay_s.high, found.slope.low <= SCALE <= found.slope.high,
                   found.slope.value / SCALE, raw / SCALE, _share(found), not found.alike)


def _share(found: Response) -> float:
    return found.explained.value if found.explained else math.nan


def _percent(values: np.ndarray) -> str:
    share = float(np.mean(values))
    return f"{100 * share:.1f} ± {100 * math.sqrt(share * (1 - share) / values.size):.1f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=2)
    arguments = parser.parse_args()
    print("| put in | kind and side right, % | others excluded, % | size, mean (SD) | interval of size covers, % | "
          "delay covers, % | slope matched / true, mean (SD) | raw least squares / true | slope covers, % | variance "
          "explained, % |\n|---|---|---|---|---|---|---|---|---|---|")
    with ProcessPoolExecutor(arguments.jobs) as pool:
        for number, (kind, size) in enumerate(FILTERS):
            jobs = [(number, run) for run in range(arguments.runs)]
            runs = list(pool.map(one, jobs, chunksize=10))
            every = Outcome(*(np.array(column) for column in zip(*runs, strict=True)))
            right = every.kind
            some = kind != "none"
            print(f"| {kind}{f' {size:g} s' if some else ''} | {_percent(right)} | {_percent(every.told)} | "
                  + (f"{every.size[right].mean():.3f} ({every.size[right].std():.3f}) | "
                     f"{_percent(every.size_covered[right])}" if some else "- | -")
                  + f" | {_percent(every.delay_covered[right])} | {every.slope[right].mean():.4f} "
                  f"({every.slope[right].std():.4f}) | {every.raw[right].mean():.3f} | "
                  f"{_percent(every.slope_covered[right])} | "
                  + (f"{100 * every.explained[right].mean():.0f} |" if some else "- |"))


if __name__ == "__main__":
    main()
