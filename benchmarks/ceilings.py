"""Ceilings beside delays and filters: mean, interval, whether the ceiling is told, and causes that are not there.

    python benchmarks/ceilings.py [--runs 12] [--first 1] [--conditions ...] [--keep FILE]

Rides of 25 min with sprints of 550 to 1050 W are made at 10 readings a second, cut at 400 to 900 W on either side, and
averaged to seconds in whole watts. The device is 0, 2 or -2 % off. Truth is that; of a bend, what the device read.
`--keep` writes each outcome to a file, and takes from it what is there: a long table is made in pieces. Prints a
Markdown table. Adversaries: no ceiling at all, and a device that gives 60 % of what is above half the largest power,
which is no ceiling; a ceiling that noise of 2 W follows has no one largest value. Further adversaries: a
device whose gain falls with power beside a slower reference; power a trainer holds for minutes, which it reads 3 % low.
"""

from __future__ import annotations

import argparse
import json
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.signal import lfilter

from agree import check_claim, pair_recordings
from agree.core.errors import AgreeError

HZ, SECONDS, NOISE = 10, 1500, 2.0
TRUE = (0.0, 2.0, -2.0)
CONDITIONS = ("delay, cut within the second", "delay, cut after it", "delay, noise after the cut",
              "one side slow, either cut", "cut before a mean or a lag", "no ceiling", "a bend",
              *(NOISY := ("noise after the cut, other side slow", "noise after a low cut",
                          "noise after the cut, halves", "noise after the cut, drift",
                          "no ceiling: gain falls, other side slow", "no ceiling: held power read low")))
DRIFT = 3.0  # per cent, from begin to end
BEST_TOLD = {"halves": {"partial"}, "drift": {"drift", "warm_up", "step"}, "held power": {"bend", "offset", "scale"}}
ALLOWED = {"saturation", "smoothing", "scale", "crank_length", "unit", "held"}  # a scale is there, in two of three

BENDS = {"bend", "cadence_gain", "torque_offset"}  # in sprints cadence rises with power: which bends is not tellable


def ride(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Power and cadence, ten times a second."""
    power = np.maximum(170 + lfilter([6.5], [1, -0.905], rng.normal(0, 1, SECONDS)), 20)
    fine, turns = np.repeat(power, HZ) + rng.normal(0, 6, SECONDS * HZ), np.full(SECONDS * HZ, 85.0)
    at = 1500
    while at < fine.size - 600:
        long = int(rng.integers(80, 160))
        fine[at:at + long] = rng.uniform(650, 1050) * np.linspace(1, rng.uniform(0.75, 1), long)
        turns[at:at + long] = 110
        at += int(rng.integers(1000, 2200))
    return np.maximum(fine, 0), turns


def later(power: np.ndarray, by: float) -> np.ndarray:
    return np.r_[np.full(round(by * HZ), power[0]), power][:power.size]


def slow(power: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A mean over 2 to 5 s, or a lag of 1 to 3 s."""
    if rng.integers(2):
        width = HZ * int(rng.integers(2, 6))
        return lfilter(np.full(width, 1 / width), [1], power - power[0]) + power[0]
    keep = np.exp(-1 / (HZ * rng.choice([1.0, 1.5, 2.0, 3.0])))
    return lfilter([1 - keep], [1, -keep], power - power[0]) + power[0]


def seconds(power: np.ndarray, rng: np.random.Generator, noise: float = NOISE) -> np.ndarray:
    means = power.reshape(-1, HZ).mean(axis=1)
    return np.maximum(means + rng.normal(0, noise, means.size), 0)


def noisy(condition: str, rng: np.random.Generator, true: float) -> tuple[list[np.ndarray], np.ndarray, float, int]:
    """Traces a second with noise of 1 to 3 W after a cut, beside something else; or with no cut, and what looks so."""
    power, turns = ride(rng)
    cut, top = int(rng.integers(2)), float(rng.choice([300, 400, 500, 600]))
    if "low" in condition:
        top = float(rng.uniform(180, 220))  # above it: up to a third of the ride
    if "held power" in condition:
        power = np.repeat(np.tile(np.r_[np.full(150, 150.0), np.full(150, 300.0)], 5), HZ)
        power = power + np.repeat(rng.normal(0, 3, SECONDS), HZ)
    columns = [power, (1 + true / 100) * power]
    if "drift" in condition:
        columns[1] = columns[1] * (1 + DRIFT / 100 * np.linspace(0, 1, power.size))
    if "gain falls" in condition:
        columns[1] = columns[1] * (1 - power / 15000)
    if "held power" in condition:
        columns[1] = np.where(power > 225, 0.97 * columns[1] + 0.03 * (columns[1] - 300), columns[1])
    if "no ceiling" in condition or "drift" in condition:
        true = 100 * (columns[1].sum() / columns[0].sum() - 1)
    if "no ceiling" in condition:
        cut, top = -1, np.inf
    slower = 0 if cut < 0 else 1 - cut
    if "slow" in condition:
        columns[slower] = slow(columns[slower], rng)
    traces = [seconds(np.minimum(column, top if side == cut else np.inf), rng, rng.uniform(1, 3))
              for side, column in enumerate(columns)]
    if "halves" in condition:
        side = int(rng.integers(2))
        for start in (300, 700, 1100):
            traces[side][start:start + 25] *= 0.5
    return traces, turns, true, cut


def made(condition: str, run: int) -> tuple[list[np.ndarray], np.ndarray, float, int]:
    """Reference and device, cadence, true error in per cent, and the side that is cut (-1 for none)."""
    rng = np.random.default_rng(run)
    if condition in NOISY:
        return noisy(condition, rng, TRUE[run % 3])
    power, turns = ride(rng)
    true, cut, top = TRUE[run % 3], int(rng.integers(2)), float(rng.choice([400, 500, 600, 700, 800, 900]))
    columns = [power, (1 + true / 100) * power]
    if condition == "a bend":
        half = power.max() / 2
        columns[1] = np.where(columns[1] > half, half + 0.6 * (columns[1] - half), columns[1])
        true, cut = 100 * (columns[1].sum() / power.sum() - 1), -1
    if condition == "no ceiling":
        cut = -1
    if condition.startswith("cut before"):
        columns[cut] = slow(np.minimum(columns[cut], top), rng)
        return [seconds(column, rng) for column in columns], turns, true, cut
    if condition.startswith("delay"):
        columns[1] = later(columns[1], rng.integers(1, 10) / 10)
    elif condition != "no ceiling" or run % 2:
        side = 1 if condition == "a bend" else int(rng.integers(2))
        columns[side] = slow(columns[side], rng)
    else:
        columns[1] = later(columns[1], rng.integers(1, 10) / 10)
    if cut >= 0 and "after it" not in condition:
        columns[cut] = np.minimum(columns[cut], top)
    exact = cut if "noise" not in condition else -1
    traces = [seconds(column, rng, 0.0 if side == exact else NOISE) for side, column in enumerate(columns)]
    if "after it" in condition:
        traces[cut] = np.minimum(traces[cut], top)
    return traces, turns, true, cut


def outcome(condition: str, run: int) -> dict[str, Any] | None:
    """What is told of a pair; None if it is refused: such a pair is in no count of the table."""
    traces, turns, true, cut = made(condition, run)
    frames = [pd.DataFrame({"time_s": np.arange(SECONDS), "power_W": np.round(trace),
                            "cadence_rpm": turns[::HZ]}) for trace in traces]
    try:
        check = check_claim(pair_recordings(*frames), "1.5%")
    except AgreeError:
        return None
    told = {item.cause for item in check.findings}
    wrong = check.verdict == ("holds" if abs(true) > 1.5 else "does not hold")
    return {"error": check.bias.value - true, "inside": bool(check.bias.low <= true <= check.bias.high),
            "wrong": wrong, "ceiling": "saturation" in told, "cut": cut >= 0,
            "false": sorted(told - ALLOWED - (BENDS if condition == "a bend" or "gain falls" in condition else set())
                            - set().union(*(causes for what, causes in BEST_TOLD.items() if what in condition)))}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=12)
    parser.add_argument("--first", type=int, default=1, help="seed of the first run")
    parser.add_argument("--conditions", nargs="+", default=list(CONDITIONS), choices=CONDITIONS)
    parser.add_argument("--keep", type=Path, help="file of outcomes, to go on from")
    given = parser.parse_args()
    warnings.simplefilter("ignore")
    kept = json.loads(given.keep.read_text()) if given.keep and given.keep.exists() else {}
    print("| condition | error of the mean, points: median / worst | truth in the 95 % interval | wrong answers | "
          "ceiling told | with a cause that is not there |\n|---|---|---|---|---|---|", flush=True)
    for condition in given.conditions:
        found = []
        for run in range(given.first, given.first + given.runs):
            name = f"{condition} {run}"
            if name not in kept:
                kept[name] = outcome(condition, run)
                if given.keep:
                    given.keep.write_text(json.dumps(kept))
            if kept[name] is not None:
                found.append(kept[name])
        size = np.abs([one["error"] for one in found])
        counts = [sum(bool(one[key]) for one in found) for key in ("inside", "wrong", "ceiling", "false")]
        print(f"| {condition} | {np.median(size):.3f} / {size.max():.2f} | " + " | ".join(
            f"{count} of {len(found)}" for count in counts) + " |", flush=True)


if __name__ == "__main__":
    main()
