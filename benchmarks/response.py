"""How well a known difference in response is found, and how the slope fares, on real rides.

    python benchmarks/response.py [--runs 200] [--jobs 2] [--conditions plain|untidy]

Power of three real rides of tests/data/rides is the truth. One side, chosen by chance, is smoothed (a trailing mean
or a lag), the device has scale 1.02 and offset +2 W. Then noise: of SD 3 to 8 W on the reference, the device or both,
white or correlated over 5 or 60 s; five gaps of 10 s in each; coasting stays 0; both rounded to 1 W. Half the rides are
cut to 30 min. Prints a Markdown table with Monte-Carlo standard errors. The second table breaks what the model takes
for granted: noise of 5 % of power, a clock that drifts by 60 ppm, readings between whole seconds, 30-s means, and two
lags in a row.
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

from agree import AgreeWarning, InputError, Response, response_difference

RIDES = Path(__file__).resolve().parent.parent / "tests" / "data" / "rides"
REAL = ("single-road-78min", "single-road-stops", "pair-1-bike")
FILTERS = (("none", 0.0), ("running mean", 2.0), ("running mean", 3.0), ("running mean", 5.0), ("running mean", 10.0),
           ("first order", 1.0), ("first order", 2.0), ("first order", 4.0))
SCALE, OFFSET, SHORT = 1.02, 2.0, 1800


class Untidy(NamedTuple):
    """A filter, and what of the model's terms a run breaks: size of noise, drift of a clock, readings between."""

    name: str
    kind: str
    size: float
    second_lag: float = 0.0
    of_power: float = 0.0
    drift_ppm: float = 0.0
    between: bool = False


UNTIDY = (
    Untidy("none, noise 5 % of power", "none", 0.0, of_power=0.05),
    Untidy("running mean 3 s, noise 5 % of power", "running mean", 3.0, of_power=0.05),
    Untidy("running mean 10 s, noise 5 % of power", "running mean", 10.0, of_power=0.05),
    Untidy("running mean 30 s, noise 5 % of power", "running mean", 30.0, of_power=0.05),
    Untidy("first order 2 s, noise 5 % of power", "first order", 2.0, of_power=0.05),
    Untidy("running mean 3 s, drift 60 ppm", "running mean", 3.0, drift_ppm=60.0),
    Untidy("first order 2 s, drift 60 ppm", "first order", 2.0, drift_ppm=60.0),
    Untidy("running mean 3 s between seconds", "running mean", 3.0, between=True),
    Untidy("running mean 5 s between seconds", "running mean", 5.0, between=True),
    Untidy("running mean 10 s between seconds", "running mean", 10.0, between=True),
    Untidy("first order 2 s between seconds", "first order", 2.0, between=True),
    Untidy("two lags, 2 s and 1 s", "first order", 2.0, second_lag=1.0),
)


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
    size_half: float
    slope_half: float


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


def simulated(rng: np.random.Generator, how: Untidy) -> tuple[np.ndarray, np.ndarray, str, float]:
    """Reference, device, which of them is the smoother, and by how much it reads after whole seconds."""
    kind, size = how.kind, how.size
    power = real(REAL[rng.integers(len(REAL))])
    if rng.random() < 0.5:
        start = rng.integers(power.size - SHORT)
        power = power[start:start + SHORT]
    side = ("reference", "device")[rng.integers(2)]
    tau, noisy = rng.choice((0.0, 5.0, 60.0)), ((1, 0), (0, 1), (1, 1))[rng.integers(3)]
    part = rng.random() if how.between else 0.0
    traces = []
    for name, has_noise in zip(("reference", "device"), noisy, strict=True):
        trace = smooth(power, kind, size) if name == side else power
        if name == side:
            trace = smooth(trace, "first order", how.second_lag) if how.second_lag else trace
            trace = (1 - part) * trace + part * np.r_[trace[:1], trace[:-1]]
            at = np.arange(power.size)
            trace = np.interp(at + how.drift_ppm * 1e-6 * (at - at.mean()), at, trace) if how.drift_ppm else trace
        sd = how.of_power * trace if how.of_power else rng.uniform(3, 8)
        error = has_noise * sd * wander(rng, tau, power.size)
        made = SCALE * trace + OFFSET + error if name == "device" else trace + error
        made = np.rint(np.where(trace > 5, np.maximum(made, 0), 0))
        for at in rng.integers(power.size, size=5):
            made[at:at + 10] = np.nan
        traces.append(made)
    return traces[0], traces[1], side, part


def one(job: tuple[int, int, Untidy]) -> Outcome | None:
    """Simulate and judge one run; None where the two have too little in common for an answer."""
    how = job[2]
    kind, size = how.kind, how.size
    reference, device, side, part = simulated(np.random.default_rng([job[0], job[1], 77]), how)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        try:
            found = response_difference(reference, device)
        except InputError:
            return None
    good = np.isfinite(reference) & np.isfinite(device)
    raw = float(np.polyfit(reference[good], device[good], 1)[0])
    delay = ((size - 1) / 2 * (kind == "running mean") + part) * (1 if side == "device" else -1)
    item = found.width_s or found.time_constant_s
    right = found.kind == kind and (kind == "none" or found.smoother == side)
    return Outcome(right, item.value if item else math.nan, bool(item and item.low <= size <= item.high),
                   found.delay_s.low <= delay <= found.delay_s.high, found.slope.low <= SCALE <= found.slope.high,
                   found.slope.value / SCALE, raw / SCALE, _share(found), not found.alike,
                   (item.high - item.low) / 2 if item else math.nan, (found.slope.high - found.slope.low) / 2)


def _share(found: Response) -> float:
    return found.explained.value if found.explained else math.nan


def _percent(values: np.ndarray) -> str:
    share = float(np.mean(values))
    return f"{100 * share:.1f} ± {100 * math.sqrt(share * (1 - share) / values.size):.1f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--conditions", choices=("plain", "untidy"), default="plain")
    arguments = parser.parse_args()
    plain = [Untidy(f"{kind} {size:g} s" if size else kind, kind, size) for kind, size in FILTERS]
    print("| put in | kind and side right, % | others excluded, % | size, mean (SD) | interval of size covers, % | its "
          "half-width, median | delay covers, % | slope matched / true, mean (SD) | raw least squares / true | slope "
          "covers, % | its half-width, median, % | variance explained, % |\n" + "|---" * 12 + "|")
    with ProcessPoolExecutor(arguments.jobs) as pool:
        for number, how in enumerate(plain if arguments.conditions == "plain" else UNTIDY):
            offset = 0 if arguments.conditions == "plain" else 100
            runs = list(pool.map(one, [(number + offset, run, how) for run in range(arguments.runs)], chunksize=10))
            made = [run for run in runs if run is not None]
            every = Outcome(*(np.array(column) for column in zip(*made, strict=True)))
            print(_row(how, every, len(runs) - len(made)), flush=True)


def _row(how: Untidy, every: Outcome, refused: int) -> str:
    right, some = every.kind, how.kind != "none"
    size = (f"{every.size[right].mean():.3f} ({every.size[right].std():.3f}) | {_percent(every.size_covered[right])} | "
            f"{np.median(every.size_half[right]):.3f}" if some else "- | - | -")
    name = f"{how.name} ({refused} refused)" if refused else how.name
    return (f"| {name} | {_percent(right)} | {_percent(every.told)} | {size} | "
            f"{_percent(every.delay_covered[right])} | {every.slope.mean():.4f} ({every.slope.std():.4f}) | "
            f"{every.raw.mean():.3f} | {_percent(every.slope_covered)} | {100 * np.median(every.slope_half):.2f} | "
            + (f"{100 * every.explained[right].mean():.0f} |" if some else "- |"))


if __name__ == "__main__":
    main()
