"""Whether a file of which a part is of another ride is refused, or said to be doubtful: at its end, start or middle.

Run: python benchmarks/joined_rides.py [--fetch] [--rides DIR] [--half settle|judge|all] [--runs N] [--seed N]
     [--only WORDS]
Rides are those of same_ride.py. Of each row N devices: a quarter each with noise of 4 W, of 15 W, and means over 3 and
10 s. *replaced*: the seconds of the other ride stand where those of the true one were; *put in*: the true ride goes on
after them, so that its clock is late by their length. The other ride is as hard as the true one in half of the draws.
The adversary is a faulty device, which is no other ride: it fails, is held, halves, is noisy or reads double for a
like part. 10 % of 40 has a Monte-Carlo error of 5 points.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
from clocks import device, record
from same_ride import invented, one_ride, rides

from agree import pair_recordings
from agree.core.errors import InputError

Rides = dict[str, tuple[float, np.ndarray]]
DEVICES: tuple[dict[str, float], ...] = ({"noise": 4}, {"noise": 15}, {"noise": 4, "mean": 3},
                                         {"noise": 4, "mean": 10})
DOUBTS = ("pair_minutes_unlike", "pair_part_other")
HEAD = ("| tried | refused as joined | refused otherwise | doubt said | accepted without a word | "
        "of these largest error of the mean, points |\n|---|---:|---:|---:|---:|---:|---:|")


def two(found: Rides, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """A ride of 25 min to 1.5 h, and another one, of like power in half of the draws."""
    names = list(found)
    while True:
        one, other = (found[names[k]] for k in rng.choice(len(names), 2, replace=False))
        if one_ride(one, other):
            continue
        x, z = (np.nan_to_num(power) for _, power in (one, other))
        x = x[:int(rng.integers(1500, 5401))]
        if rng.random() < 0.5:
            z = z * np.median(x[x > 0]) / np.median(z[z > 0])
        return x, np.resize(z, max(x.size, z.size))


def joined(x: np.ndarray, other: np.ndarray, rng: np.random.Generator, where: str) -> np.ndarray:
    """The ride with a part of the other one, 15 to 70 % at an end, 15 to 50 % in the middle, at least 6 min."""
    size = max(round(float(rng.uniform(0.15, 0.5 if where.startswith("middle") else 0.7)) * x.size), 360)
    start = int(rng.integers(0, other.size - size + 1))
    part = other[start:start + size]
    if where == "end":
        return np.r_[x[:-size], part]
    if where == "start":
        return np.r_[part, x[size:]]
    cut = int(rng.integers(x.size // 6, max(x.size - size, x.size // 6 + 1)))
    return np.r_[x[:cut], part, x[cut + (size if where == "middle, replaced" else 0):]]


def faulty(x: np.ndarray, rng: np.random.Generator, fault: str) -> np.ndarray:
    """The ride as a device reads it that fails for 6 to 25 min."""
    size = min(int(rng.integers(360, 1500)), x.size // 2)
    start = int(rng.integers(0, x.size - size))
    y = x.copy()
    part = slice(start, start + size)
    y[part] = {"zeros": np.zeros(size), "held": np.full(size, x[start]), "half": x[part] / 2, "double": 2 * x[part],
               "noise of 60 W": np.maximum(x[part] + 60 * rng.standard_normal(size), 0) * (x[part] > 0),
               "zeros now and then": np.where(rng.random(size) < 0.3, 0.0, x[part]),
               "30-s mean": np.convolve(x, np.ones(30) / 30)[:x.size][part],
               "each reading for 20 s": np.repeat(x[part][::20], 20)[:size],
               "as it is": x[part]}[fault]
    return y


FAULTS = ("zeros", "held", "half", "double", "noise of 60 W", "zeros now and then", "30-s mean",
          "each reading for 20 s", "as it is")


def outcome(x: np.ndarray, y: np.ndarray) -> tuple[str, float]:
    """How a pairing ends, and the error of the mean if it is accepted, points (the device is 3 % low)."""
    try:
        pairs = pair_recordings(record(x), record(y))
    except InputError as refusal:
        return "joined" if "are of different rides" in str(refusal) else "refused", 0.0
    used = pairs.used & np.isfinite(pairs.matched.reference) & np.isfinite(pairs.matched.device)
    off = 100 * (pairs.matched.device[used].sum() / pairs.matched.reference[used].sum() / 0.97 - 1)
    return "said" if any(getattr(note, "kind", "") in DOUBTS for note in pairs.notes) else "accepted", float(off)


def row(name: str, make: Callable[[np.random.Generator], tuple[np.ndarray, np.ndarray]], runs: int,
        rng: np.random.Generator) -> None:
    count: Counter[str] = Counter()
    off = [0.0]
    for run in range(runs):
        x, y = make(rng)
        y = device(y, rng, phase=float(rng.uniform(0, 9)), **DEVICES[run % len(DEVICES)])
        told, error = outcome(x, y)
        count[told] += 1
        if told == "accepted":
            off.append(error)
    print(f"| {name} | {runs} | {count['joined']} | {count['refused']} | {count['said']} | {count['accepted']} | "
          f"{max(off, key=abs):+.2f} |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=Path, default=Path(__file__).parent.parent / "tests/data/rides")
    parser.add_argument("--fetch", action="store_true")
    parser.add_argument("--half", choices=("settle", "judge", "all"), default="all")
    parser.add_argument("--runs", type=int, default=40)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="rows whose name holds this")
    options = parser.parse_args()
    found = {name: ride for name, ride in rides(options).items() if ride[1].size >= 1500}
    began = time.process_time()
    print(f"| the device's file {HEAD}")
    places = ("end", "start", "middle, replaced", "middle, put in")

    def make(where: str, real: bool) -> Callable[[np.random.Generator], tuple[np.ndarray, np.ndarray]]:
        def draw(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
            x, other = two(found, rng)
            return x, joined(x, other if real else invented(x.size, rng), rng, where)
        return draw

    def fail(fault: str) -> Callable[[np.random.Generator], tuple[np.ndarray, np.ndarray]]:
        return lambda rng: (lambda x: (x, faulty(x, rng, fault)))(two(found, rng)[0])

    rows = [(f"another ride at the {where}" if real else f"an invented ride at the {where}", make(where, real))
            for real in (True, False) for where in places]
    rows += [(f"one ride, device at fault for a part: {fault}", fail(fault)) for fault in FAULTS]
    for number, (name, draw) in enumerate(rows):
        if options.only in name:
            row(name, draw, options.runs, np.random.default_rng([45, options.seed, number]))
    print(f"\n{time.process_time() - began:.0f} s")


if __name__ == "__main__":
    main()
