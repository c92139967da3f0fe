"""Verdicts over sessions of unequal length, noise and shape: wrong answers, settled shares beside an oracle.

    python benchmarks/verdict_sessions.py [--runs 4000] [--short] [--named]

A session's mean error is the device's error + its own (SD 0.8 %, of the shape named) + noise that falls with its length
(SD 0.4 % at 30 min). The claim is ±1.5 %. Wrong: "holds" at a true error of 1.5 %, and "does not hold" there;
2.5 % each are promised. Settled: "holds" at 0. The oracle knows every variance and weighs by them. Adversaries: one
session three times as noisy, heavy tails (t3), skewed sessions (exponential), ageing (0.4 % a session), the first
session off by a warm-up of 1 %, a step of 1 % half-way. A second table has testers who look before the end, with
their looks declared (each spends a part of the error) and not.
"""

from __future__ import annotations

import argparse
import math
import sys

import numpy as np

from agree import Estimate
from agree.verdict.looks import level_at
from agree.verdict.rule import FAILS, HOLDS, OPEN, three_way
from agree.verdict.sessions import mean_over_sessions, session_effects

LIMIT, SD, NOISE = 1.5, 0.8, 0.4
LENGTHS = {"2 x 30": [30] * 2, "3 x 30": [30] * 3, "5 x 30": [30] * 5, "8 x 30": [30] * 8, "12 x 30": [30] * 12,
           "10, 20, 60": [10, 20, 60], "15, 15, 30, 60, 120": [15, 15, 30, 60, 120],
           "20, 20, 20, 180": [20, 20, 20, 180], "3, 10, 30, 90, 180": [3, 10, 30, 90, 180],
           "3 x 180, 9 x 3": [180] * 3 + [3] * 9}
SHAPES = ("normal", "one noisy", "t3", "skewed", "ageing", "warm-up", "step")


def own(rng: np.random.Generator, shape: str, runs: int, count: int) -> np.ndarray:
    """Sessions' own errors, (runs, count), SD 0.8 and mean 0 (what ages or steps has its mean over sessions at 0)."""
    if shape == "t3":
        return SD * rng.standard_t(3, (runs, count)) / math.sqrt(3)
    if shape == "skewed":
        return SD * (rng.exponential(1, (runs, count)) - 1)
    plain = SD * rng.normal(size=(runs, count))
    if shape == "one noisy":
        plain[:, 0] *= 3
    extra = {"ageing": 0.4 * np.arange(count), "warm-up": 1.0 * (np.arange(count) == 0),
             "step": 1.0 * (np.arange(count) >= count / 2)}.get(shape, np.zeros(count))
    return plain + extra


def cell(name: str, shape: str, runs: int) -> tuple[float, float, float, float, float]:
    """Shares: wrong "holds", wrong "does not hold", settled at 0, settled by the oracle; half-width over its."""
    rng = np.random.default_rng([len(name), len(shape), runs])
    seconds = 60.0 * np.array(LENGTHS[name])
    noise = NOISE * np.sqrt(1800 / seconds)
    errors = own(rng, shape, runs, seconds.size) + noise * rng.normal(size=(runs, seconds.size))
    weight = seconds / (seconds + 300)
    if shape in ("ageing", "warm-up", "step"):  # the estimand is the mean over sessions
        extra = own(np.random.default_rng(0), shape, 1, seconds.size) - own(np.random.default_rng(0), "normal", 1,
                                                                             seconds.size)
        errors = errors - float((weight * extra[0]).sum() / weight.sum())
    variance = SD**2 * np.where((np.arange(seconds.size) == 0) & (shape == "one noisy"), 9, 1) + noise**2
    best = 1 / variance
    half = 1.96 / math.sqrt(best.sum())
    counts, widths = np.zeros(4), 0.0
    for row in errors:
        item = mean_over_sessions(row, seconds, 0.95)
        counts[0] += three_way(item.low + LIMIT, item.high + LIMIT, LIMIT) == HOLDS
        counts[1] += three_way(item.low + LIMIT, item.high + LIMIT, LIMIT) == FAILS
        counts[2] += three_way(item.low, item.high, LIMIT) == HOLDS
        counts[3] += abs(float(best @ row / best.sum())) + half <= LIMIT
        widths += (item.high - item.low) / 2
    return (*(float(share) for share in 100 * counts / runs), widths / runs / half)  # type: ignore[return-value]


def looking(shape: str, runs: int) -> str:
    """Wrong "holds" at the limit of a tester who stops at the first settled answer, up to 8 sessions of 30 min."""
    rng = np.random.default_rng([8, len(shape), runs])
    errors = own(rng, shape, runs, 8) + NOISE * rng.normal(size=(runs, 8)) + LIMIT
    cells = []
    for looks, spends in (((8,), True), ((3, 5, 8), True), ((3, 5, 8), False), ((2, 3, 4, 5, 6, 7, 8), True),
                          ((2, 3, 4, 5, 6, 7, 8), False)):
        wrong = 0
        for row in errors:
            for count in looks:
                level = (level_at(looks, count, 0.95) if spends else None) or 0.95
                item = mean_over_sessions(row[:count], np.full(count, 1800.0), level)
                if (said := three_way(item.low, item.high, LIMIT)) != OPEN:
                    wrong += said == HOLDS
                    break
        cells.append(f"{100 * wrong / runs:.1f}")
    return f"| {shape} | " + " | ".join(cells) + " |"


def named(name: str, shape: str, runs: int) -> tuple[float, float]:
    """How often a session is called odd, and the device said to age, in per cent; `own` says what is the matter."""
    rng = np.random.default_rng([len(name), len(shape), runs, 3])
    seconds = 60.0 * np.array(LENGTHS[name])
    noise = NOISE * np.sqrt(1800 / seconds)
    counts = np.zeros(2)
    for row in own(rng, shape, runs, seconds.size) + noise * rng.normal(size=(runs, seconds.size)):
        found = session_effects([Estimate(value=v, low=v - 2 * s, high=v + 2 * s, level=0.95, method="t",
                                          standard_error=s, df=8.0)
                                 for v, s in zip(row.tolist(), noise.tolist(), strict=True)], seconds=seconds.tolist())
        counts += bool(found.odd), found.ageing
    return tuple(float(x) for x in 100 * counts / runs)  # type: ignore[return-value]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=4000)
    parser.add_argument("--short", action="store_true", help="unequal lengths and normal sessions only, with a bound")
    parser.add_argument("--named", action="store_true", help="how often a session is called odd, and ageing named")
    arguments = parser.parse_args()
    runs = arguments.runs
    if arguments.named:
        print(f"{runs} runs; Monte-Carlo error {100 * math.sqrt(0.05 * 0.95 / runs):.1f} points at 5 %\n\n"
              "| lengths, min | " + " | ".join(SHAPES) + " |\n|---|" + "---|" * len(SHAPES))
        for name in LENGTHS:
            cells = (named(name, shape, runs) for shape in SHAPES)
            print(f"| {name} | " + " | ".join(f"{odd:.1f} / {ages:.1f}" for odd, ages in cells) + " |", flush=True)
        return
    error = 100 * math.sqrt(0.025 * 0.975 / runs)
    print(f"{runs} runs a cell; Monte-Carlo SE of a share of 2.5 %: {error:.2f} points\n")
    print("| lengths, min | sessions' own errors | wrong holds % | wrong does not hold % | settled % | oracle % "
          "| half-width over its |")
    print("|---|---|---:|---:|---:|---:|---:|")
    worst = widest = 0.0
    for name in LENGTHS:
        for shape in SHAPES[:1] if arguments.short else SHAPES:
            found = cell(name, shape, runs)
            if shape == "normal":
                worst = max(worst, *found[:2])
                widest = max(widest, found[4] if name in ("5 x 30", "8 x 30", "12 x 30") else 0.0)
            print(f"| {name} | {shape} | {found[0]:.1f} | {found[1]:.1f} | {found[2]:.0f} | {found[3]:.0f} "
                  f"| {found[4]:.2f} |", flush=True)
    if arguments.short and worst > 2.5 + 2 * error + 0.5:  # 2.8 % is the most that the grid of designs showed
        sys.exit(f"wrong answers in {worst:.1f} %")
    if arguments.short and widest > 1.35:
        sys.exit(f"from 5 equal sessions on intervals are {widest:.2f} times as wide as the oracle's")
    if not arguments.short:
        print("\nWrong holds %, stopping at the first settled answer:\n\n| sessions' own errors | once, after 8 "
              "| 3, 5, 8 declared | 3, 5, 8 not declared | each of 2-8 declared | each of 2-8 not declared |\n"
              "|---|" + "---:|" * 5)
        for shape in ("normal", "t3", "skewed"):
            print(looking(shape, runs), flush=True)


if __name__ == "__main__":
    main()
