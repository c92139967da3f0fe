"""What is named where the error of a real ride changes once, drifts or dies away, and where it does none of these.

    python benchmarks/slow_courses.py [--rides DIR] [--names a,b] [--runs 3] [--seed 0]

Rides of DIR are cut to a random 30 to 90 min. The device has one course of 1, 2 or 4 % of power, up or down, in W (of
mean power) or in per cent: a step at a third or half; a straight drift, or one that slows (time constant a third of the
ride), counted from start to end; a warm-up that dies away (95 % in 10 to 20 min). It answers at once or by a mean over
5 s; error of SD 2.5 W correlated over 5, 15 or 60 s and white noise of 2 W; noise of 2 W on the reference. Without a
course the device is right, or has a scale of 2 % and a zero of -3 W. Adversaries: the error of 60 s, the slowing drift,
which is neither straight nor over, and an error that wanders (SD 1.5 %, 300 s) with no course at all. Prints what is
named of the three, what is named besides, and how often the interval of a size named holds it.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import warnings
from collections import Counter
from pathlib import Path
from typing import NamedTuple

import numpy as np
from diagnosis import ERROR_W, TAUS, WHITE_W, diagnose, paired, share, wander
from faults import read

from agree import AgreeWarning, InputError, Pairs
from agree.diagnosis.finding import Finding

SLOW = ("step", "drift", "warm_up")
TRUE = {"nothing": "none", "scale and zero": "none", "wandering": "none", "step at a third": "step",
        "step at half": "step", "drift": "drift", "slowing drift": "drift", "warm-up": "warm_up"}
CELLS = [(kind, size) for kind, true in TRUE.items() for size in ((0.0,) if true == "none" else (1.0, 2.0, 4.0))]


class Made(NamedTuple):
    """A pair, the size put in, per cent of power over the whole course, hours, and mean power, W."""

    pairs: Pairs
    size: float
    hours: float
    mean_w: float


def course(kind: str, n: int, rng: np.random.Generator) -> np.ndarray:
    """Course of size 1 over the seconds of a ride."""
    t = np.arange(n)
    if kind == "drift":
        return t / n
    if kind == "slowing drift":
        return (1 - np.exp(-3 * t / n)) / (1 - np.exp(-3))
    if kind == "warm-up":
        return np.exp(-3 * t / rng.uniform(600, 1200))
    return (t >= n / {"step at a third": 3, "step at half": 2}.get(kind, 0.1)).astype(float)


def draw(ride: np.ndarray, kind: str, size: float, mean: int, seed: tuple[int, int]) -> Made | None:
    """Make one pair; None if it is refused."""
    rng = np.random.default_rng([*seed, list(TRUE).index(kind), round(10 * size), mean])
    n = min(int(rng.integers(1800, 5401)), ride.size)
    start = int(rng.integers(0, ride.size - n + 1))
    x = ride[start:start + n]
    x = x[int(np.argmax(x > 0)):]
    works, n = x > 0, x.size
    signed = size * rng.choice((-1, 1))
    level = x if rng.random() < 0.5 else np.full(n, x[works].mean())
    device = x + signed / 100 * level * course(kind, n, rng) * works
    if kind == "wandering":
        device = device * (1 + 0.015 * wander(rng, 300, n))
    elif kind == "scale and zero":
        device = (1.02 * device - 3 * works).clip(0)
    if mean > 1:
        total = np.cumsum(np.r_[np.zeros(mean), device])
        device = (total[mean:] - total[:-mean]) / mean
    error = ERROR_W * wander(rng, TAUS[seed[0] % 3], n) + rng.normal(0, WHITE_W, n)
    y = np.round(np.where(device > 0.5, device + error, 0).clip(0))
    x = np.round(np.where(works, x + rng.normal(0, WHITE_W, n), 0).clip(0))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        try:
            return Made(paired(x, y, None, 0), float(signed), n / 3600, float(x[works].mean()))
        except InputError as refusal:
            print(f"{kind}, {size} %, mean of {mean} s, seed {seed}: {refusal}", file=sys.stderr)
            return None


def names(found: tuple[Finding, ...]) -> str:
    """Slow causes named, each with the slow causes it is not told from."""
    named = [" or ".join((item.cause, *(one for one in item.rivals if one in SLOW)))
             for item in found if item.cause in SLOW]
    return " + ".join(named) or "none"


def holds(made: Made, found: tuple[Finding, ...], true: str) -> bool | None:
    """Whether the size of the cause put in, where it is named, is in its interval."""
    item = next((one for one in found if one.cause == true), None)
    if item is None or item.size is None:
        return None
    factor = 100 / made.mean_w if item.unit.startswith("W") else 1.0
    if item.cause == "drift":
        factor *= made.hours
    return bool(item.size.low * factor <= made.size <= item.size.high * factor)


def row(kind: str, size: float, mean: int, made: list[Made]) -> str:
    """One line of the table."""
    found, true = [diagnose(one.pairs) for one in made], TRUE[kind]
    told, n = [names(one) for one in found], len(made)
    others = Counter(item.cause for one in found for item in one if item.cause not in (*SLOW, "smoothing"))
    held = [one for one in (holds(*item, true) for item in zip(made, found, strict=True)) if one is not None]
    return (f"| {kind} | {f'{size:g} %' if size else '-'} | {'at once' if mean == 1 else 'mean of 5 s'} | {n} | "
            f"{', '.join(f'{name} {count}' for name, count in Counter(told).most_common())} | "
            f"{share(sum(one == true for one in told), n)} | "
            f"{share(sum(true in one.split(' or ') for one in told), n)} | "
            f"{', '.join(f'{name} {count}' for name, count in others.most_common()) or '-'} | "
            f"{f'{sum(held)} of {len(held)}' if held else '-'} |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=Path, default=Path(__file__).parent.parent / "tests/data/rides")
    parser.add_argument("--names", default="", help="of rides; all if empty")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--keep", type=Path, help="file to which the pairs are written")
    given = parser.parse_args()
    rides = [np.nan_to_num(read(path)) for path in sorted(given.rides.glob("*.csv"))
             if path.stem in given.names.split(",") or (not given.names and path.stem.startswith("single"))]
    kept = []
    print("| put in | size | device | runs | named | alone | among those not told apart | besides | size held |\n"
          "|---|---:|---|---:|---|---:|---:|---|---:|")
    for kind, size in CELLS:
        for mean in (1, 5):
            drawn = [draw(ride, kind, size, mean, (run, key)) for key, ride in enumerate(rides)
                     for run in range(given.seed, given.seed + given.runs)]
            made = [one for one in drawn if one is not None]
            print(row(kind, size, mean, made), flush=True)
            kept.append((kind, size, mean, made))
            if given.keep:
                given.keep.write_bytes(pickle.dumps(kept))


if __name__ == "__main__":
    main()
