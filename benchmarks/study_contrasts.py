"""Coverage of contrasts between devices and conditions, in balanced and unbalanced studies, nominal 95 %.

    python benchmarks/study_contrasts.py [--runs 400] [--athletes 4 8 20]

Errors in per cent: SD 0.5 between athletes, 0.3 of an athlete with a device, 0.3 of an athlete in a condition, 0.3 of
an effort that all devices share, 0.4 of a reading; 3 devices, 4 conditions, 2 sessions. "unbalanced" leaves out a third
of all readings at random and, of a fourth of the athletes, one device whole. Adversaries: athletes' effects from t with
3 degrees of freedom; one condition with thrice the scatter; two devices that share nothing, each ridden by half of the
athletes only. Columns: a device's mean, devices apart, conditions apart, devices apart within one condition.
Exit status 1 where a figure is below 92 % by more than 2 Monte-Carlo errors.
"""

from __future__ import annotations

import argparse
import sys

import numpy as np

from agree.core.errors import SampleSizeError
from agree.study.statistics.clustered import cell_means, contrast

DEVICES, CONDITIONS, SESSIONS = 3, 4, 2
CASES = ("balanced", "unbalanced", "unbalanced, t3 athletes", "unbalanced, one condition thrice as wild",
         "unbalanced, devices on other athletes")
LEAST = 0.92


def study(rng: np.random.Generator, athletes: int, case: str):
    """Errors with mean 0 in all cells, and what they are of."""
    shape = (athletes, DEVICES, CONDITIONS, SESSIONS)
    draw = rng.normal if "t3" not in case else lambda size: rng.standard_t(3, size) / np.sqrt(3)
    y = (0.5 * draw(size=(athletes, 1, 1, 1)) + 0.3 * draw(size=(athletes, DEVICES, 1, 1))
         + 0.3 * draw(size=(athletes, 1, CONDITIONS, 1)) + 0.3 * rng.normal(size=(athletes, 1, CONDITIONS, SESSIONS))
         + 0.4 * rng.normal(size=shape))
    kept = np.ones(shape, bool)
    if "wild" in case:
        y[:, :, 1] *= 3
    if case != "balanced":
        kept &= rng.random(shape) > 1 / 3
        for athlete in range(0, athletes, 4):
            kept[athlete, rng.integers(DEVICES)] = False
    if "other athletes" in case:
        kept[::2, 0] = False
        kept[1::2, 1] = False
    athlete, device, condition, _ = np.indices(shape)
    return y[kept], (device * CONDITIONS + condition)[kept], athlete[kept]


def weights() -> list[np.ndarray]:
    grid = np.zeros((4, DEVICES, CONDITIONS))
    grid[0, 0] = 1 / CONDITIONS
    grid[1, 1], grid[1, 0] = 1 / CONDITIONS, -1 / CONDITIONS
    grid[2, :, 1], grid[2, :, 0] = 1 / DEVICES, -1 / DEVICES
    grid[3, 1, 1], grid[3, 0, 1] = 1, -1
    return list(grid.reshape(4, -1))


def measure(rng: np.random.Generator, athletes: int, case: str, runs: int):
    held, known = np.zeros(4), np.zeros(4)
    for _ in range(runs):
        y, cell, athlete = study(rng, athletes, case)
        present, cell = np.unique(cell, return_inverse=True)
        fitted = cell_means(y, cell, athlete)
        for k, whole in enumerate(weights()):
            if np.setdiff1d(np.flatnonzero(whole), present).size:
                continue
            try:
                found = contrast(fitted, whole[present], 0.95)
            except SampleSizeError:
                continue
            known[k] += 1
            held[k] += found.low <= 0 <= found.high
    return held, known


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=400)
    parser.add_argument("--athletes", type=int, nargs="+", default=[4, 8, 20])
    given = parser.parse_args()
    print("| study | athletes | a device's mean | devices | conditions | devices in one condition | not known |\n"
          "|---|---:|---:|---:|---:|---:|---:|")
    rng, short = np.random.default_rng(14), []
    for case in CASES:
        for athletes in given.athletes:
            held, known = measure(rng, athletes, case, given.runs)
            cells = []
            for yes, of in zip(held, known, strict=True):
                p = yes / max(of, 1)
                error = np.sqrt(max(p * (1 - p), 0.01) / max(of, 1))
                cells.append(f"{100 * p:.1f} ± {100 * error:.1f}" if of else "-")
                short += [(case, athletes)] if of and p < LEAST - 2 * error else []
            print(f"| {case} | {athletes} | {' | '.join(cells)} | {int(4 * given.runs - known.sum())} |", flush=True)
    if short:
        sys.exit(f"below {LEAST:.0%}: {short}")


if __name__ == "__main__":
    main()
