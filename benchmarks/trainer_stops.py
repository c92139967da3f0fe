"""Whether stops that one recorder does not count are found on a trainer: each with its size, or the pair refused.

Run: python benchmarks/trainer_stops.py [--runs N] [--seed N] [--only WORDS]
Invented rides of 50 min: targets of a minute each (also with a wave of 31 s, which is alike at many lags), targets of
20 s to 8 min, and two levels in turn, with a rider's own changes of 6 W. Five stops of 45 s, or of 3 to 60 s, begin
every 150 s from some place on. *at stops* the reference reads 0 and the device does not count; *riding* the device
misses the seconds. *right*: as many steps as stops, all within 1.5 s. 1 of 8 has a Monte-Carlo error of 12 %.
"""

from __future__ import annotations

import argparse
from collections import Counter

import numpy as np
from clocks import Pause, device, record
from programmes import noise, workout
from scipy.signal import lfilter

from agree import pair_recordings
from agree.core.errors import InputError

SIZE, OWN_W = 3000, 6.0
KINDS = ("targets of a minute", "targets of a minute and a wave of 31 s", "targets of 20 s to 8 min", "two levels")
DEVICES: dict[str, dict[str, float]] = {"noise 4 W": {"noise": 4}, "5-s mean, 4 W": {"noise": 4, "mean": 5}}


def trainer(kind: str, rng: np.random.Generator) -> np.ndarray:
    """Power that a rider on a trainer makes."""
    if kind == "two levels":
        target = np.r_[np.full(300, 120.0), np.tile(np.repeat([280.0, 150.0], 60), SIZE // 120)][:SIZE]
    elif kind == "targets of 20 s to 8 min":
        target = workout(SIZE, rng)
    else:
        target = np.repeat(rng.choice(np.arange(120.0, 310.0, 30.0), SIZE // 60), 60)
        target = target + (15 * np.sin(2 * np.pi * np.arange(SIZE) / 31) if "wave" in kind else 0)
    return np.rint(np.maximum(lfilter([0.3], [1, -0.7], target) + noise(SIZE, rng, OWN_W, 0.8), 1))


def stopped(x: np.ndarray, rng: np.random.Generator, lengths: list[int], riding: bool) -> tuple[
        np.ndarray, list[Pause]]:
    """The ride with stops put in, unless the device misses riding; and the pauses of its clock."""
    first, pauses, added = int(rng.integers(150, 900)), [], 0
    for number, length in enumerate(lengths):
        place = first + 150 * number
        if not riding:
            x = np.insert(x, place + added, np.zeros(length))
        pauses.append(Pause(place + added, length))
        added += 0 if riding else length
    return x, pauses


def row(kind: str, riding: bool, name: str, even: bool, runs: int, rng: np.random.Generator) -> None:
    count: Counter[str] = Counter()
    off = [0.0]
    for _ in range(runs):
        lengths = [45] * 5 if even else np.rint(np.exp(rng.uniform(np.log(3), np.log(60), 5))).astype(int).tolist()
        x, pauses = stopped(trainer(kind, rng), rng, lengths, riding)
        y = device(x, rng, pauses=pauses, phase=float(rng.uniform(0, 9)), **DEVICES[name])
        try:
            pairs = pair_recordings(record(x), record(y))
        except InputError:
            count["refused"] += 1
            continue
        told = [-step.step_s for step in pairs.alignment.steps]
        right = len(told) == len(lengths) and all(abs(a - b) < 1.5 for a, b in zip(told, lengths, strict=True))
        count["right" if right else "wrong"] += 1
        used = pairs.used & np.isfinite(pairs.matched.reference) & np.isfinite(pairs.matched.device)
        off.append(100 * (pairs.matched.device[used].sum() / pairs.matched.reference[used].sum() / 0.97 - 1))
    print(f"| {kind} | {'riding' if riding else 'at stops'} | {'45' if even else '3 to 60'} s | {name} | {runs} | "
          f"{count['right']} | {count['refused']} | {count['wrong']} | {max(off, key=abs):+.2f} |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=8)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="rows whose name holds this")
    options = parser.parse_args()
    print("| trainer | five stops | length | device | tried | right | refused | wrong | largest error of the mean, "
          "points |\n|---|---|---|---|---:|---:|---:|---:|---:|")
    for number, kind in enumerate(KINDS):
        for riding in (False, True):
            for even in (True, False):
                for place, name in enumerate(DEVICES):
                    if options.only in f"{kind}, {'riding' if riding else 'at stops'}, {name}":
                        row(kind, riding, name, even, options.runs,
                            np.random.default_rng([48, options.seed, number, riding, even, place]))


if __name__ == "__main__":
    main()
