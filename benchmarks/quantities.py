"""Heart rate: whose a delay is, and locks to the steps: recall, and false events where there is none.

Simulated sessions of an hour in efforts of 1 to 5 min, both clocks absolute with an error of SD 0.7 s between them; the
device's noise has SD 1.2 bpm. Adversaries: a device that averages over 10 or 20 s, six unrelated artefacts a session
(runs of 20 to 60 s some 10 to 30 bpm off), cadences that come near the heart rate.

    python benchmarks/quantities.py --runs 200
"""

from __future__ import annotations

import argparse
import math

import numpy as np
from numpy.typing import NDArray

from agree.core.quantities.known import HEART_RATE
from agree.quantities.delays.delay import find_delay
from agree.quantities.faults import find_trace_faults
from agree.quantities.overlay import Overlay, lay_over

Array = NDArray[np.float64]
HOUR = 3600


def heart(rng: np.random.Generator) -> Array:
    """Heart rate in efforts and rests, second by second."""
    effort = int(rng.integers(60, 301))
    t = np.arange(HOUR)
    top, rest = rng.uniform(150, 175), rng.uniform(105, 125)
    drive = np.where(t % (2 * effort) < effort, top, rest) + 3 * np.sin(t / rng.uniform(100, 400))
    result = np.empty(HOUR)
    result[0] = rest
    pace = rng.uniform(18, 35)
    for k in range(1, HOUR):
        result[k] = result[k - 1] + (drive[k] - result[k - 1]) / pace
    return result


def session(rng: np.random.Generator, late: float, averaged: int = 1) -> tuple[Array, Array, Array]:
    """Time, strap and wrist; the wrist's clock is off by SD 0.7 s."""
    t = np.arange(HOUR, dtype=float)
    true = heart(rng)
    worn = np.interp(t - late - rng.normal(0, 0.7), t, true)
    if averaged > 1:
        worn = np.convolve(np.pad(worn, (averaged - 1, 0), mode="edge"), np.ones(averaged) / averaged, "valid")
    return t, np.round(true + rng.normal(0, 0.4, HOUR)), worn + rng.normal(0, 1.2, HOUR)


def overlaid(t: Array, strap: Array, wrist: Array, steps: Array | None = None) -> Overlay:
    """Lay strap and wrist over each other."""
    return lay_over((t, strap), (t, np.round(wrist)), HEART_RATE, absolute=True,
                    shadow=None if steps is None else (t, steps))


def delays(runs: int) -> None:
    """Print how often a delay is called the device's, and how far the lag is off."""
    print("| true delay, s | averaging, s | called the device's, % | error of the lag, s: mean, SD | "
          "covered by ±1.96 se, % | averaging named, % | mean absolute error as worn, % |\n|" + "---|" * 7)
    for late, averaged in ((0, 1), (3, 1), (6, 1), (12, 1), (20, 1), (3, 10), (0, 20)):
        own = named = covered = 0
        errors, sizes = [], []
        for run in range(runs):
            rng = np.random.default_rng([late, averaged, run])
            t, strap, wrist = session(rng, late, averaged)
            found = find_delay(overlaid(t, strap, wrist))
            own += found.belongs_to == "device"
            named += found.averaged_s > 1
            errors.append(found.lag_s - late - (averaged - 1) / 2)
            covered += abs(errors[-1]) <= 1.96 * math.hypot(found.se_s, 0.7)
            sizes.append(float(np.mean(np.abs(wrist - strap) / strap)))
        print(f"| {late} | {averaged} | {100 * own / runs:.1f} | {np.mean(errors):+.2f}, {np.std(errors):.2f} | "
              f"{100 * covered / runs:.0f} | {100 * named / runs:.0f} | {100 * np.mean(sizes):.1f} |", flush=True)


def locks(runs: int) -> None:
    """Print the recall of locked seconds, and sessions with false locks."""
    print("\n| sessions | clear locked seconds found, % | unclear of the locked, % | with a false lock, % | "
          "false s an hour |\n|---|---|---|---|---|")
    for name, artefacts, locked in (("clean", 0, False), ("six artefacts", 6, False), ("locked", 0, True),
                                    ("locked, six artefacts", 6, True)):
        hit = clear = unclear = total = false = wrong = 0
        for run in range(runs):
            rng = np.random.default_rng([7, artefacts, locked, run])
            t, strap, wrist = session(rng, float(rng.uniform(0, 12)))
            steps = np.round(rng.uniform(155, 185) + 4 * np.sin(t / 80) + rng.normal(0, 1, HOUR))
            for _ in range(artefacts):
                start, length = int(rng.integers(0, HOUR - 60)), int(rng.integers(20, 61))
                wrist[start:start + length] += rng.choice([-1, 1]) * rng.uniform(10, 30)
            truth = np.zeros(HOUR, bool)
            if locked:
                for _ in range(2):
                    start, length = int(rng.integers(0, HOUR - 400)), int(rng.integers(90, 400))
                    truth[start:start + length] = True
                    wrist[start:start + length] = steps[start:start + length] + rng.normal(0, 1, length)
            found = np.zeros(HOUR, bool)
            for fault in find_trace_faults(overlaid(t, strap, wrist, steps)):
                if fault.kind == "cadence_lock":
                    found[fault.start_s:fault.start_s + fault.seconds] = True
            plain = truth & (np.abs(wrist - strap) > 8)
            hit, clear = hit + int((found & plain).sum()), clear + int(plain.sum())
            unclear, total = unclear + int((truth & ~plain).sum()), total + int(truth.sum())
            outside = int((found & ~truth).sum())
            false, wrong = false + outside, wrong + (outside > 0)
        recall = f"{100 * hit / clear:.1f}" if clear else "-"
        doubt = f"{100 * unclear / total:.0f}" if total else "-"
        print(f"| {name} | {recall} | {doubt} | {100 * wrong / runs:.1f} | {false / runs:.1f} |", flush=True)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=200)
    runs = parser.parse_args().runs
    print(f"{runs} sessions a row; Monte-Carlo error {100 * math.sqrt(0.05 * 0.95 / runs):.1f} at 5 or 95 %\n")
    delays(runs)
    locks(runs)


if __name__ == "__main__":
    main()
