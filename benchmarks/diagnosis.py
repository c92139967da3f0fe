"""Which cause is named first when one, or two, of known size are put into a pair of recordings.

    python benchmarks/diagnosis.py [--runs 60] [--jobs 2]

Bases: invented rides of 1 h (power 50 to 400 W, coasting, cadence of SD 8 rev/min that goes its own way), and the four
real rides of tests/data/rides, power and cadence as recorded. The device is calculated: the cause, of random size and
sign within the range given, then an error of SD 2.5 W correlated over 5, 15 or 60 s and white noise of 2 W; the
reference has white noise of 2 W. Both are rounded to 1 W. Prints Markdown tables with Monte-Carlo standard errors.
"""

from __future__ import annotations

import argparse
import csv
import math
import warnings
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.ndimage import map_coordinates, uniform_filter1d
from scipy.signal import lfilter

from agree import AgreeWarning, Pairs, pair_recordings
from agree.correction.find import correction
from agree.diagnosis.finding import Finding
from agree.diagnosis.findings import findings
from agree.verdict.columns import table

RIDES = Path(__file__).resolve().parent.parent / "tests" / "data" / "rides"
REAL = ("single-road-78min", "single-road-stops", "pair-1-bike", "pair-1-pedals")
TAUS = (5, 15, 60)
ERROR_W, WHITE_W = 2.5, 2.0
TURN = 2 * math.pi / 60
FRESH = 2000  # first seed: thresholds were settled on others


class Ride(NamedTuple):
    """Power (W), cadence (rev/min), NaN where unknown."""

    power: np.ndarray
    cadence: np.ndarray


def wander(rng: np.random.Generator, tau: float, n: int) -> np.ndarray:
    """Stationary autoregressive series of unit variance."""
    rho = math.exp(-1 / tau)
    noise = rng.normal(0, math.sqrt(1 - rho * rho), n)
    noise[0] = rng.normal()
    return lfilter([1], [1, -rho], noise)


def invented(rng: np.random.Generator, n: int = 3600) -> Ride:
    """Power that wanders, waves and rests; a cadence of its own."""
    wave = 40 * np.sin(np.arange(n) / rng.uniform(60, 150) + rng.uniform(0, 6))
    power = np.clip(220 + 50 * wander(rng, 120, n) + wave + 12 * wander(rng, 5, n), 50, None)
    cadence = np.clip(88 + 7 * wander(rng, 90, n) + 3 * wander(rng, 8, n), 40, None)
    for start in rng.integers(300, n - 300, 8):
        rest = slice(start, start + rng.integers(5, 30))
        power[rest] = cadence[rest] = 0
    return Ride(power, cadence)


@cache
def real(name: str) -> Ride:
    """Power and cadence of a real ride, second by second as recorded."""
    with (RIDES / f"{name}.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return Ride(*(np.array([float(row[key] or "nan") for row in rows]) for key in ("power_W", "cadence_rpm")))


def _sign(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.choice((-1, 1)) * rng.uniform(low, high))


def _late(power: np.ndarray, lag: np.ndarray | float) -> np.ndarray:
    """Power a lag later, by cubic splines, so that hardly anything is smoothed."""
    known = np.where(np.isfinite(power), power, 0)
    return map_coordinates(known, [np.arange(power.size) - lag], order=3, mode="nearest").clip(0)


Cause = Callable[[np.ndarray, Ride, np.random.Generator], np.ndarray]


def _hours(ride: Ride) -> np.ndarray:
    return np.arange(ride.power.size) / 3600


def _turns(ride: Ride) -> np.ndarray:
    """Cadence less its mean while pedalling, rev/min."""
    turns = np.nan_to_num(ride.cadence)
    return turns - turns[ride.power > 0].mean()


def _step(p: np.ndarray, ride: Ride, rng: np.random.Generator) -> np.ndarray:
    return p * (1 + _sign(rng, 0.02, 0.04) * (np.arange(p.size) > p.size * rng.uniform(0.3, 0.7)))


def _one_side(p: np.ndarray, ride: Ride, rng: np.random.Generator) -> np.ndarray:
    """Twice the left side: 47 to 49 %, nearer to a half at high power, wandering over 10 min, uneven by strokes."""
    left = rng.uniform(0.47, 0.49) + 0.02 * (p - np.nanmean(p)) / 100 + 0.008 * wander(rng, 600, p.size)
    return 2 * p * (left + 0.03 * rng.normal(0, 1, p.size))


def _dropouts(p: np.ndarray, ride: Ride, rng: np.random.Generator) -> np.ndarray:
    p = p.copy()
    for start in rng.integers(60, p.size - 60, 15):
        p[start:start + rng.integers(1, 6)] = 0
    return p


CAUSES: dict[str, Cause] = {
    "none": lambda p, ride, rng: p,
    "scale": lambda p, ride, rng: p * (1 + _sign(rng, 0.02, 0.05)),
    "offset": lambda p, ride, rng: p + _sign(rng, 4, 8),
    "offset in N m": lambda p, ride, rng: p + _sign(rng, 0.5, 0.9) * TURN * np.nan_to_num(ride.cadence, nan=85.0),
    "drift": lambda p, ride, rng: p + _sign(rng, 8, 14) * _hours(ride),
    "drift, gain": lambda p, ride, rng: p * (1 + _sign(rng, 0.04, 0.07) * _hours(ride)),
    "step": _step,
    "delay": lambda p, ride, rng: _late(p, _sign(rng, 0.6, 2)),
    "delay that varies": lambda p, ride, rng: _late(
        p, _sign(rng, 1, 2) * np.sin(np.arange(p.size) / rng.uniform(200, 500))),
    "smoothing": lambda p, ride, rng: uniform_filter1d(np.nan_to_num(p), int(rng.choice((3, 5, 7)))),
    "one side doubled": _one_side,
    "loss": lambda p, ride, rng: (1 - rng.uniform(0.009, 0.014)) * p - rng.uniform(2.2, 3.6),
    "device dropouts": _dropouts,
    # Adversaries: no line of power describes them.
    "bend": lambda p, ride, rng: p + _sign(rng, 0.08, 0.15) * np.maximum(p - np.nanquantile(p[p > 0], 0.6), 0),
    "gain by cadence": lambda p, ride, rng: p * (1 + _sign(rng, 0.002, 0.004) * _turns(ride)),
}
# What may be first: the cause, or a word of not being able to tell it from what it looks like.
RIGHT = {"none": {"none"}, "drift, gain": {"drift"}, "offset in N m": {"torque_offset"},
         "delay that varies": {"delay_that_varies"}, "one side doubled": {"one_side_doubled"},
         "device dropouts": {"dropout"}, "gain by cadence": {"cadence_gain"}}
PAIRS = (("scale", "offset"), ("scale", "drift"), ("scale", "step"), ("scale", "smoothing"),
         ("scale", "delay that varies"), ("scale", "device dropouts"), ("offset", "drift"), ("offset", "smoothing"),
         ("offset in N m", "scale"),
         ("step", "device dropouts"), ("drift", "delay"), ("smoothing", "device dropouts"))
UNSURE = ("scale, power within 20 %", "offset in N m, steady cadence", "offset in N m, no cadence", "loss")


def pair(ride: Ride, causes: tuple[str, ...], rng: np.random.Generator, tau: float, cadence: bool = True) -> Pairs:
    """Reference and calculated device."""
    true, n = ride.power, ride.power.size
    lag = float(rng.integers(0, 8))
    device = true
    for name in sorted(causes, key=lambda item: item == "device dropouts"):  # dropouts last: nothing filters them
        device = CAUSES[name](device, ride, rng)
    pedalling = true > 0
    turning = device > 0 if {"delay", "delay that varies", "smoothing"} & set(causes) else pedalling & (device > 0)
    error = ERROR_W * wander(rng, tau, n) + rng.normal(0, WHITE_W, n)
    x = np.round(np.where(pedalling, true + rng.normal(0, WHITE_W, n), 0).clip(0))
    y = np.round(np.where(turning, device + error, 0).clip(0))
    x[np.isnan(true)] = y[np.isnan(true)] = np.nan
    turns = ride.cadence if cadence else None
    if {"delay", "delay that varies"} & set(causes):  # a pairing takes delays out or refuses clocks that stray so
        return Pairs(reference=x, device=y, cadence=turns)
    return paired(x, y, turns, lag)


def paired(x: np.ndarray, y: np.ndarray, cadence: np.ndarray | None, lag: float) -> Pairs:
    """Pair as recordings are paired: two clocks, the device's `lag` s behind; coasting kept, missing rows left out."""
    time = np.arange(x.size, dtype=float)
    channels = {"time": time, "power": x} | ({} if cadence is None else {"cadence": np.nan_to_num(cadence)})
    reference, device = (pd.DataFrame(data)[np.isfinite(power)] for data, power in (
        (channels, x), ({"time": time + math.floor(lag), "power": y}, y)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        return pair_recordings(reference.reset_index(drop=True), device.reset_index(drop=True))


def diagnose(pairs: Pairs) -> tuple[Finding, ...]:
    """Findings of one pair."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        data = table(pairs, 30)
        return findings(data, correction(data, 0.95, 30))


def base(where: str, run: int, rng: np.random.Generator) -> Ride:
    """An invented ride, or one of the real ones in turn."""
    return invented(rng) if where == "invented" else real(REAL[run % len(REAL)])


def single(job: tuple[str, str, int]) -> tuple[Finding, ...]:
    """Findings with one cause put in."""
    where, cause, run = job
    rng = np.random.default_rng([run, *map(ord, where + cause)])
    return diagnose(pair(base(where, run, rng), (cause,), rng, TAUS[run // len(REAL) % 3]))


def double(job: tuple[str, tuple[str, str], int]) -> tuple[Finding, ...]:
    """Findings with two causes put in."""
    where, causes, run = job
    rng = np.random.default_rng([run, *map(ord, where + "".join(causes))])
    return diagnose(pair(base(where, run, rng), causes, rng, TAUS[run // len(REAL) % 3]))


def unsure(job: tuple[str, int]) -> tuple[Finding, ...]:
    """Findings where data cannot tell."""
    case, run = job
    rng = np.random.default_rng([run, *map(ord, case)])
    ride = invented(rng)
    if case.startswith("scale"):
        ride = Ride(np.where(ride.power > 0, 220 + 0.2 * (ride.power - 220), 0), ride.cadence)
    if "steady" in case:
        ride = Ride(ride.power, np.where(ride.power > 0, 88 + 0.1 * (ride.cadence - 88), 0))
    return diagnose(pair(ride, (case.split(",")[0],), rng, TAUS[run % 3], "no cadence" not in case))


def right(cause: str, found: tuple[Finding, ...]) -> bool:
    """Whether the cause stands first, by itself."""
    return named(found) in RIGHT.get(cause, {cause})


def included(cause: str, found: tuple[Finding, ...]) -> bool:
    """Whether the cause stands first, by itself or as one of those said not to be told apart."""
    names = {found[0].cause, *found[0].rivals} if found else {"none"}
    return bool(RIGHT.get(cause, {cause}) & names)


def among(causes: tuple[str, str], found: tuple[Finding, ...], first: int) -> bool:
    """Whether both causes are among the first ones, alone or as one of those not told apart."""
    names = [name for item in found[:first] for name in (item.cause, *item.rivals, item.perhaps)]
    return all(RIGHT.get(cause, {cause}) & set(names) for cause in causes)


def share(count: int, runs: int) -> str:
    """Per cent with Monte-Carlo standard error."""
    p = count / runs
    return f"{100 * p:.0f} % ± {100 * math.sqrt(max(p * (1 - p), 0.25 / runs) / runs):.0f}"


def named(found: tuple[Finding, ...]) -> str:
    """First cause, as the tables print it."""
    return " or ".join((found[0].cause, *found[0].rivals)) if found else "none"


def counts(names: list[str], most: int) -> str:
    """Names with how often each came."""
    return ", ".join(f"{name} {count}" for name, count in Counter(names).most_common(most))


def one_cause(pool: ProcessPoolExecutor, where: str, runs: int) -> None:
    print(f"\nOne cause put in, {where} rides, {runs} runs each\n\n| put in | named first, alone | alone or as one not "
          "told apart | first cause named |\n|---|---:|---:|---|")
    for cause in CAUSES:
        found = list(pool.map(single, [(where, cause, run) for run in range(FRESH, FRESH + runs)], chunksize=5))
        print(f"| {cause} | {share(sum(right(cause, item) for item in found), runs)} | "
              f"{share(sum(included(cause, item) for item in found), runs)} | {counts([*map(named, found)], 6)} |",
              flush=True)


def two_causes(pool: ProcessPoolExecutor, where: str, runs: int) -> None:
    print(f"\nTwo causes put in, {where} rides, {runs} runs each\n\n| put in | both among the first 2 | the first 3 | "
          "first two named |\n|---|---:|---:|---|")
    for causes in PAIRS:
        found = list(pool.map(double, [(where, causes, run) for run in range(FRESH, FRESH + runs)], chunksize=5))
        names = counts([" + ".join(item.cause for item in one[:2]) or "none" for one in found], 3)
        two, three = (share(sum(among(causes, one, first) for one in found), runs) for first in (2, 3))
        print(f"| {' + '.join(causes)} | {two} | {three} | {names} |", flush=True)


def cannot_tell(pool: ProcessPoolExecutor, runs: int) -> None:
    print(f"\nCauses that cannot be told, invented rides, {runs} runs each\n\n| put in | said in some finding | first "
          "cause named |\n|---|---:|---|")
    for case in UNSURE:
        found = list(pool.map(unsure, [(case, run) for run in range(FRESH, FRESH + runs)], chunksize=5))
        said = sum(any(item.rivals for item in one) for one in found)
        print(f"| {case} | {share(said, runs)} | {counts([*map(named, found)], 5)} |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=60)
    parser.add_argument("--jobs", type=int, default=2)
    arguments = parser.parse_args()
    with ProcessPoolExecutor(arguments.jobs) as pool:
        for part in (one_cause, two_causes):
            for where in ("invented", "real"):
                part(pool, where, arguments.runs)
        cannot_tell(pool, arguments.runs)


if __name__ == "__main__":
    main()
