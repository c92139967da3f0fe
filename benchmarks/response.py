"""How well a known difference in response is found, and how the slope fares, on real rides.

    python benchmarks/response.py [--runs 200] [--jobs 2] [--conditions plain|untidy|stages] [--rows TEXT ...]

Power of three real rides of tests/data/rides is the truth. One side, chosen by chance, is smoothed (a trailing mean
or a lag), the device has scale 1.02 and offset +2 W. Then noise: of SD 3 to 8 W on the reference, the device or both,
white or correlated over 5 or 60 s; five gaps of 10 s in each; coasting stays 0; both rounded to 1 W. Half the rides are
cut to 30 min. Prints a Markdown table with Monte-Carlo standard errors. The second table breaks what the model takes
for granted: noise of 5 % of power, a clock that drifts by 60 ppm, readings between whole seconds, and 30-s means. The
third has two stages of smoothing in a row, lags that are slower one way, a delay by a part of a second, each with noise
of both sorts; and adversaries that no kind describes: three lags in a row, a mean above 200 W only, readings held for
3 s after pedalling ends. `--rows` takes the rows whose names begin so, `--seed` other runs of them.
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

from agree import AgreeWarning, Estimate, InputError, Response, response_difference

RIDES = Path(__file__).resolve().parent.parent / "tests" / "data" / "rides"
REAL = ("single-road-78min", "single-road-stops", "pair-1-bike")
FILTERS = (("none", 0.0), ("running mean", 2.0), ("running mean", 3.0), ("running mean", 5.0), ("running mean", 10.0),
           ("first order", 1.0), ("first order", 2.0), ("first order", 4.0))
SCALE, OFFSET, SHORT = 1.02, 2.0, 1800


class Untidy(NamedTuple):
    """A filter, and what of the model's terms a run breaks: size of noise, drift of a clock, readings between.

    `second` is the shorter one of two lags, the lag after a mean, or the constant downwards.
    """

    name: str
    kind: str
    size: float
    second: float = 0.0
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
)
STAGES = (
    Untidy("two lags, 2 s and 1 s", "two lags", 2.0, 1.0),
    Untidy("two lags, 2 s and 1.5 s", "two lags", 2.0, 1.5),
    Untidy("two lags, 3 s and 3 s", "two lags", 3.0, 3.0),
    Untidy("two lags, 5 s and 2 s", "two lags", 5.0, 2.0),
    Untidy("two lags, 10 s and 10 s", "two lags", 10.0, 10.0),
    Untidy("3-s mean, then a lag of 2.5 s", "mean and lag", 3.0, 2.5),
    Untidy("5-s mean, then a lag of 2 s", "mean and lag", 5.0, 2.0),
    Untidy("10-s mean, then a lag of 3 s", "mean and lag", 10.0, 3.0),
    Untidy("4 s up, 1.5 s down", "uneven", 4.0, 1.5),
    Untidy("2 s up, 3 s down", "uneven", 2.0, 3.0),
    Untidy("running mean 5 s", "running mean", 5.0),
    Untidy("first order 4 s", "first order", 4.0),
    Untidy("none, 0.4 s late", "late", 0.4),
    Untidy("three lags of 2 s", "", 2.0),
    Untidy("10-s mean above 200 W", "", 10.0),
    Untidy("holds 3 s at stops", "", 3.0),
)


class Outcome(NamedTuple):
    """What was found in one run: kind and side right, sizes, whether intervals cover, slopes, share explained."""

    kind: bool
    size: float
    size_covered: bool
    second: float
    second_covered: bool
    delay_covered: bool
    slope_covered: bool
    slope: float
    raw: float
    explained: float
    told: bool
    size_half: float
    slope_half: float
    wrong: bool    # a kind that is not the one, with a size, and no word that none fits
    none_fits: bool


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


def smooth(power: np.ndarray, how: Untidy) -> np.ndarray:
    """Return the trace of a device that averages, as it would be recorded."""
    if how.kind in ("running mean", "mean and lag"):
        power = np.convolve(power, np.ones(int(how.size)) / how.size)[:power.size]
    if how.kind in ("first order", "two lags"):
        power = lag(power, how.size)
    if how.kind in ("two lags", "mean and lag"):
        power = lag(power, how.second)
    if how.kind == "uneven":
        power = uneven(power, how.size, how.second)
    if how.kind == "late":
        power = (1 - how.size) * power + how.size * np.r_[power[:1], power[:-1]]
    if how.name.startswith("three lags"):
        power = lag(lag(lag(power, how.size), how.size), how.size)
    if how.name.endswith("above 200 W"):
        power = np.where(power > 200, np.convolve(power, np.ones(int(how.size)) / how.size)[:power.size], power)
    if how.name.startswith("holds"):
        since = np.arange(power.size) - np.maximum.accumulate(np.where(power > 0, np.arange(power.size), -10**6))
        power = np.where((since > 0) & (since <= how.size), power[np.maximum(np.arange(power.size) - since, 0)], power)
    return power


def lag(power: np.ndarray, tau: float) -> np.ndarray:
    keep = math.exp(-1 / tau)
    return lfilter([1 - keep], [1, -keep], power)


def uneven(power: np.ndarray, up: float, down: float) -> np.ndarray:
    """First-order lag with one constant to more power, and another one to less."""
    made = np.zeros(power.size)
    for at in range(1, power.size):
        apart = power[at] - made[at - 1]
        made[at] = made[at - 1] + apart * (1 - math.exp(-1 / (up if apart > 0 else down)))
    return made


def simulated(rng: np.random.Generator, how: Untidy) -> tuple[np.ndarray, np.ndarray, str, float]:
    """Reference, device, which of them is the smoother, and by how much it reads after whole seconds."""
    power = real(REAL[rng.integers(len(REAL))])
    if rng.random() < 0.5:
        start = rng.integers(power.size - SHORT)
        power = power[start:start + SHORT]
    side = ("reference", "device")[rng.integers(2)]
    tau, noisy = rng.choice((0.0, 5.0, 60.0)), ((1, 0), (0, 1), (1, 1))[rng.integers(3)]
    part = rng.random() if how.between else 0.0
    traces = []
    for name, has_noise in zip(("reference", "device"), noisy, strict=True):
        trace = smooth(power, how) if name == side else power
        if name == side:
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
    middle = (size - 1) / 2 * (kind in ("running mean", "mean and lag")) + part + size * (kind == "late")
    delay = middle * (1 if side == "device" else -1)
    item = found.width_s or found.time_constant_s
    other = (found.time_constant_s if kind == "mean and lag" else found.down_constant_s if kind == "uneven" else
             found.second_constant_s)
    right = found.kind == ("none" if kind == "late" else kind) and (found.kind == "none" or found.smoother == side)
    return Outcome(right, item.value if item else math.nan, _holds(item, size), other.value if other else math.nan,
                   _holds(other, how.second), _holds(found.delay_s, delay), _holds(found.slope, SCALE),
                   found.slope.value / SCALE, raw / SCALE, _share(found), not found.alike,
                   (item.high - item.low) / 2 if item else math.nan, (found.slope.high - found.slope.low) / 2,
                   not right and item is not None and found.fits, not found.fits)


def _holds(item: Estimate | None, value: float) -> bool:
    return item is not None and item.low <= value <= item.high


def _share(found: Response) -> float:
    return found.explained.value if found.explained else math.nan


def _percent(values: np.ndarray) -> str:
    share = float(np.mean(values))
    return f"{100 * share:.1f} ± {100 * math.sqrt(share * (1 - share) / values.size):.1f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--conditions", choices=("plain", "untidy", "stages"), default="plain")
    parser.add_argument("--rows", nargs="+", default=[""])
    parser.add_argument("--seed", type=int, default=0)
    arguments = parser.parse_args()
    plain = [Untidy(f"{kind} {size:g} s" if size else kind, kind, size) for kind, size in FILTERS]
    stages = [one._replace(name=one.name + words, of_power=share) for one in STAGES
              for words, share in (("", 0.0), (", noise 5 % of power", 0.05))]
    print("| put in | kind and side right, % | another kind told, % | no kind said to fit, % | others excluded, % | "
          "size, mean (SD) | interval of size covers, % | its half-width, median | second size, mean (SD) | covers, % "
          "| delay covers, % | slope matched / true, mean (SD) | raw least squares / true | slope covers, % | its "
          "half-width, median, % | variance explained, % |\n" + "|---" * 16 + "|")
    with ProcessPoolExecutor(arguments.jobs) as pool:
        for number, how in enumerate({"plain": plain, "untidy": UNTIDY, "stages": stages}[arguments.conditions]):
            if not how.name.startswith(tuple(arguments.rows)):
                continue
            offset = {"plain": 0, "untidy": 100, "stages": 200}[arguments.conditions] + 1000 * arguments.seed
            runs = list(pool.map(one, [(number + offset, run, how) for run in range(arguments.runs)], chunksize=5))
            made = [run for run in runs if run is not None]
            every = Outcome(*(np.array(column) for column in zip(*made, strict=True)))
            print(_row(how, every, len(runs) - len(made)), flush=True)


def _row(how: Untidy, every: Outcome, refused: int) -> str:
    right = every.kind
    size = second = "- | -"
    if right.any() and how.kind not in ("none", "late"):
        size = (f"{every.size[right].mean():.3f} ({every.size[right].std():.3f}) | "
                f"{_percent(every.size_covered[right])} | {np.median(every.size_half[right]):.3f}")
        second = (f"{every.second[right].mean():.3f} ({every.second[right].std():.3f}) | "
                  f"{_percent(every.second_covered[right])}") if how.second else "- | -"
    else:
        size += " | -"
    name = f"{how.name} ({refused} refused)" if refused else how.name
    return (f"| {name} | {_percent(right)} | {_percent(every.wrong)} | {_percent(every.none_fits)} | "
            f"{_percent(every.told)} | {size} | {second} | "
            f"{_percent(every.delay_covered[right]) if right.any() else '-'} | {every.slope.mean():.4f} "
            f"({every.slope.std():.4f}) | {every.raw.mean():.3f} | {_percent(every.slope_covered)} | "
            f"{100 * np.median(every.slope_half):.2f} | "
            + (f"{100 * every.explained[right].mean():.0f} |" if right.any() and how.kind not in ("none", "late")
               else "- |"))


if __name__ == "__main__":
    main()
