"""How well clocks are matched: steps put into real rides, clean rides, wrong pairings, and the lag's standard error.

Run: python benchmarks/clocks.py [--rides DIR] [--runs N] [steps] [clean] [wrong] [lag]
DIR holds single-*.csv and pair-1-*.csv of the form of tests/data/rides. A device is calculated from a ride: its clock
has a lag, a drift and pauses; power is scaled, averaged and noisy, and read between seconds where its clock is so.
"""

from __future__ import annotations

import argparse
import contextlib
import math
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from agree import Pairs, Recording, pair_recordings
from agree.core.errors import MatchError, SampleSizeError


class Ride(NamedTuple):
    """Channels on a 1-s grid, NaN where there is no row."""

    power: np.ndarray
    cadence: np.ndarray


class Pause(NamedTuple):
    """Seconds a clock does not count, from `start` on the ride's time."""

    start: float
    length: float


def read(path: Path) -> Ride:
    table = pd.read_csv(path)
    stamp = pd.to_datetime(table["timestamp"]).astype("datetime64[s, UTC]").astype("int64") if "timestamp" in table \
        else table["time_s"]
    second = stamp.to_numpy(int)
    found = np.full((2, second[-1] - second[0] + 1), np.nan)
    found[:, second - second[0]] = table[["power_W", "cadence_rpm"]].to_numpy(float).T
    first, last = np.flatnonzero(np.isfinite(found[0]) & (found[0] > 0))[[0, -1]]
    return Ride(*found[:, first:last + 1])


def record(power: np.ndarray, begin: float = 0.0, cadence: np.ndarray | None = None) -> Recording:
    return Recording(time=begin + np.arange(power.size), power=power, cadence=cadence)


def device(x: np.ndarray, rng: np.random.Generator, *, pauses: list[Pause] | None = None, ppm: float = 0.0,
           phase: float = 0.0, noise: float = 0.0, mean: int = 1, scale: float = 0.97) -> np.ndarray:
    """Return what a device reads at its own whole seconds; the first is `phase` s after the ride's second 0."""
    y = scale * np.mean([np.r_[np.full(back, x[0]), x[:x.size - back]] for back in range(mean)], axis=0)
    own = np.arange(x.size)  # its clock
    true = phase + own / (1 + 1e-6 * ppm)
    for pause in sorted(pauses or []):
        true = true + np.where(true >= pause.start, pause.length, 0.0)
    true = true[true <= x.size - 1]
    low = true.astype(int)
    share = true - low
    read_ = np.where(share > 0, (1 - share) * y[low] + share * y[np.minimum(low + 1, x.size - 1)], y[low])
    noisy = np.maximum(read_ + noise * rng.standard_normal(read_.size), 0.0)
    return np.rint(np.where(read_ > 0, noisy, read_))


def spots(x: np.ndarray, count: int, rng: np.random.Generator, stop: bool) -> list[int]:
    """Places for pauses, at least 200 s apart: where the rider coasts, or anywhere."""
    allowed = np.flatnonzero((x == 0) & (np.roll(x, 1) == 0)) if stop else np.flatnonzero(x > 0)
    allowed = allowed[(allowed > 250) & (allowed < x.size - 250 - 320 * count)]
    found: list[int] = []
    for _ in range(2000):
        place = int(rng.choice(allowed))
        if all(abs(place - other) > 530 for other in found):
            found.append(place)
        if len(found) == count:
            break
    return sorted(found)


def stepped(x: np.ndarray, rng: np.random.Generator, count: int, stop: bool, **options: float) -> tuple[
        np.ndarray, np.ndarray, list[Pause]]:
    """Ride, device and pauses; at a stop the reference goes on with 0 W, elsewhere the device misses riding."""
    lengths = np.exp(rng.uniform(math.log(10), math.log(300), count))
    pauses: list[Pause] = []
    for place, length in zip(spots(x, count, rng, stop), lengths, strict=False):
        if stop:
            at = place + sum(math.ceil(p.length) for p in pauses)
            x = np.insert(x, at, np.zeros(math.ceil(length)))
            pauses.append(Pause(at, length))
        else:
            pauses.append(Pause(place, length))
    return x, device(x, rng, pauses=pauses, **options), pauses


class Tally(NamedTuple):
    """Of pauses put in: detected, error of size and place, size error in standard errors; false steps; refusals."""

    put: list[int]
    hit: list[int]
    size: list[float]
    place: list[float]
    z: list[float]
    false: list[int]
    refused: list[int]


def score(pairs: Pairs, pauses: list[Pause], tally: Tally, sign: int, first: float) -> None:
    """Compare steps found with pauses put in; a step is right within 30 s of the pause and 1.5 s of its length."""
    steps = list(pairs.alignment.steps)
    tally.put.append(len(pauses))
    hits = 0
    for pause in pauses:
        end = pause.start + pause.length - first
        near = [s for s in steps if abs(s.time_s - end) <= 30 + (pause.length if pause.length else 0)
                and abs(-sign * s.step_s - pause.length) <= 1.5]
        if near:
            best = min(near, key=lambda s: abs(s.time_s - end))
            steps.remove(best)
            hits += 1
            tally.size.append(-sign * best.step_s - pause.length)
            tally.place.append(abs(best.time_s - end))
            tally.z.append((-sign * best.step_s - pause.length) / best.se_s)
    tally.hit.append(hits)
    tally.false.append(len(steps))


def steps(rides: dict[str, Ride], runs: int) -> None:
    print("| device | pauses | put in | found, % | false | refused | size: mean, SD (s) | size within 1.96 SE, % | "
          "place: median, 95 % (s) |\n|---|---|---:|---:|---:|---:|---:|---:|---:|")
    kinds: dict[str, dict[str, float]] = {
        "as it is": {}, "noise 8 W": {"noise": 8}, "noise 20 W": {"noise": 20}, "3-s mean": {"mean": 3},
        "3-s mean, 8 W": {"mean": 3, "noise": 8}, "100 ppm, 8 W": {"ppm": 100, "noise": 8},
        "250 ppm, 8 W": {"ppm": 250, "noise": 8}, "10-s mean, 8 W": {"mean": 10, "noise": 8}}
    cases = [(name, options, where, role) for name, options in kinds.items()
             for where, role in (("at stops", 1), ("anywhere", 1))]
    cases += [("3-s mean, 8 W", kinds["3-s mean, 8 W"], "anywhere, of the reference", -1)]
    for name, options, where, role in cases:
        rng = np.random.default_rng(11)
        tally = Tally(*([] for _ in Tally._fields))
        for ride in (r for key, r in rides.items() if not key.startswith("pair")):
            for run in range(runs):
                x, y, pauses = stepped(ride.power, rng, 1 + run % 5, where == "at stops",
                                       phase=float(rng.uniform(0, 20)), **options)
                one, two = (x, y)[::role]
                try:
                    pairs = pair_recordings(record(one), record(two, 1000.0))
                except MatchError:
                    tally.refused.append(1)
                    tally.put.append(len(pauses))
                    continue
                # The pairs begin at the device's first second, on the ride's time.
                score(pairs, pauses, tally, role, role * (1000.0 - pairs.alignment.lag_s))
        size, place, z = (np.array(v) for v in (tally.size, tally.place, tally.z))
        known = np.isfinite(z)
        print(f"| {name} | {where} | {sum(tally.put)} | {100 * sum(tally.hit) / max(sum(tally.put), 1):.1f} | "
              f"{sum(tally.false)} | {len(tally.refused)} | {size.mean():+.2f}, {size.std():.2f} | "
              f"{100 * (np.abs(z[known]) <= 1.96).mean():.0f} | {np.median(place):.1f}, "
              f"{np.quantile(place, 0.95):.1f} |", flush=True)


def damaged(x: np.ndarray, rng: np.random.Generator, kind: str) -> np.ndarray:
    """Return a device on a clock without steps that errs in a way that might look like one."""
    y = device(x, rng, noise=5, mean=3, phase=3.3)
    at = int(rng.integers(300, y.size - 700))
    if kind == "dead for 5 min":
        y[at:at + 300] = 0
    elif kind == "held for 5 min":
        y[at:at + 300] = y[at]
    elif kind == "half for 10 min":
        y[at:at + 600] = np.rint(y[at:at + 600] / 2)
    elif kind == "absent for 5 min":
        y[at:at + 300] = np.nan
    elif kind == "10 % zeros":
        y[rng.random(y.size) < 0.1] = 0
    elif kind == "another ride for 5 min":
        y[at:at + 300] = y[50:350]
    return y


def clean(rides: dict[str, Ride], runs: int) -> None:
    print("| device without steps | matched | with a step | refused |\n|---|---:|---:|---:|")
    kinds: dict[str, Callable[[np.ndarray, np.random.Generator], np.ndarray]] = {
        "as it is": lambda x, rng: device(x, rng, phase=3.3), "noise 8 W": lambda x, rng: device(x, rng, noise=8),
        "noise 20 W": lambda x, rng: device(x, rng, noise=20), "noise 40 W": lambda x, rng: device(x, rng, noise=40),
        "3-s mean, 8 W": lambda x, rng: device(x, rng, mean=3, noise=8, phase=0.4),
        "10-s mean, 8 W": lambda x, rng: device(x, rng, mean=10, noise=8, phase=0.4),
        "30-s mean": lambda x, rng: device(x, rng, mean=30),
        "250 ppm, 8 W": lambda x, rng: device(x, rng, ppm=250, noise=8, phase=7.0),
        "-1000 ppm, 8 W": lambda x, rng: device(x, rng, ppm=-1000, noise=8, phase=7.0)}
    for kind in ("dead for 5 min", "held for 5 min", "half for 10 min", "absent for 5 min", "10 % zeros",
                 "another ride for 5 min"):
        kinds[kind] = lambda x, rng, kind=kind: damaged(x, rng, kind)
    for name, make in kinds.items():
        rng = np.random.default_rng(12)
        count = {"matched": 0, "step": 0, "refused": 0}
        for ride in (r for key, r in rides.items() if not key.startswith("pair")):
            for _ in range(runs):
                start = int(rng.integers(0, ride.power.size - 2400))
                x = ride.power[start:start + int(rng.integers(2000, ride.power.size - start + 1))]
                try:
                    found = pair_recordings(record(x), record(make(x, rng)))
                    count["matched"] += 1
                    count["step"] += bool(found.alignment.steps)
                except MatchError:
                    count["refused"] += 1
        print(f"| {name} | {count['matched']} | {count['step']} | {count['refused']} |", flush=True)
    bike, pedals = rides["pair-1-bike"].power, rides["pair-1-pedals"].power
    rng = np.random.default_rng(13)
    pieces, stepped_, refused = 0, 0, 0
    for _ in range(10 * runs):
        start, length = int(rng.integers(0, 2400)), int(rng.integers(600, 3800))
        try:
            found = pair_recordings(record(bike[start:start + length]), record(pedals))
            pieces += 1
            stepped_ += bool(found.alignment.steps)
        except MatchError:
            refused += 1
    print(f"| the real pair, whole or in pieces of 10 min and more | {pieces} | {stepped_} | {refused} |")


def wrong(rides: dict[str, Ride], runs: int) -> None:
    print("| wrong pairings | tried | accepted without steps | accepted with steps |\n|---|---:|---:|---:|")
    names = list(rides)
    several = [(a, b) for a in names for b in names if a != b and not a[:4] == b[:4] == "pair"]
    rng = np.random.default_rng(14)
    for what in ("whole rides", "pieces of 10 min", "pieces of 30 min", "pieces of 60 min", "a ride, reversed"):
        tried = [0, 0, 0]
        for _ in range(1 if what == "whole rides" else runs):
            for a, b in several:
                x, y = rides[a].power, rides[b].power
                if "pieces" in what:
                    length = 60 * int(what.split()[2])
                    x, y = (v[i:i + length] for v in (x, y) for i in [int(rng.integers(0, max(v.size - length, 1)))])
                elif "reversed" in what:
                    i = int(rng.integers(0, x.size // 2))
                    x, y = x[i:], x[i:][::-1]
                tried[0] += 1
                with contextlib.suppress(MatchError, SampleSizeError):
                    tried[1 + bool(pair_recordings(record(x), record(y)).alignment.steps)] += 1
        print(f"| {what} | {tried[0]} | {tried[1]} | {tried[2]} |", flush=True)


def lag(rides: dict[str, Ride], runs: int) -> None:
    print("| device | overlap | runs | bias (s) | SD (s) | mean SE (s) | within 1.96 SE, % |\n"
          "|---|---|---:|---:|---:|---:|---:|")
    kinds: dict[str, dict[str, float]] = {
        "as it is": {}, "noise 8 W": {"noise": 8}, "noise 20 W": {"noise": 20},
        "3-s mean, 8 W": {"mean": 3, "noise": 8}, "10-s mean, 8 W": {"mean": 10, "noise": 8}}
    for name, options in kinds.items():
        for minutes in (20, 60):
            rng = np.random.default_rng(15)
            errors, ses = [], []
            for ride in (r for key, r in rides.items() if not key.startswith("pair")):
                for _ in range(4 * runs):
                    start = int(rng.integers(0, max(ride.power.size - 60 * minutes, 1)))
                    x = ride.power[start:start + 60 * minutes]
                    phase = float(rng.uniform(0, 10))
                    found = pair_recordings(record(x), record(device(x, rng, phase=phase, **options))).alignment
                    errors.append(found.lag_s + phase - (options.get("mean", 1) - 1) / 2)
                    ses.append(found.lag_se_s)
            e, s = np.array(errors), np.array(ses)
            known = np.isfinite(s)
            print(f"| {name} | {minutes} min | {e.size} | {e.mean():+.3f} | {e.std():.3f} | {s[known].mean():.3f} | "
                  f"{100 * (np.abs(e) <= 1.96 * s)[known].mean():.0f} |", flush=True)


PARTS = {"steps": steps, "clean": clean, "wrong": wrong, "lag": lag}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=Path, default=Path(__file__).parent.parent / "tests/data/rides")
    parser.add_argument("--runs", type=int, default=10)
    parser.add_argument("parts", nargs="*", default=list(PARTS))
    options = parser.parse_args()
    rides = {path.stem: read(path) for path in sorted(options.rides.glob("*.csv"))}
    for part in options.parts:
        began = time.process_time()
        print(f"\n### {part}\n", flush=True)
        PARTS[part](rides, options.runs)
        print(f"\n{time.process_time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
