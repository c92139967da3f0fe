"""Operating characteristics: how often simulated testers are told "holds", "does not hold" or "not settled".

    python benchmarks/verdicts.py [--runs 500] [--jobs 2] [--short]

A tester records S sessions of 40 min on a wandering power. The device's true error in per cent is constant, each
session adds its own (SD `session`), each second an error of SD 5 % correlated over `tau` seconds; the reference has a
scale error drawn from its stated ±a; 1 % of seconds drop out (known as such). The claim is ±1.5 %. With one
session the question is the error in that recording, with several the device's; both against the true power.
Prints, for each cell, the share of each answer; an answer is wrong if it says "holds" while the error asked for is
outside the limit, or "does not hold" while it is inside.
"""

from __future__ import annotations

import argparse
import itertools
import math
import warnings
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from coverage import wander

from agree import AgreeWarning, Claim, Pairs
from agree.verdict import meanings
from agree.verdict.columns import table
from agree.verdict.reference import ReferenceUncertainty

LIMIT, SECONDS, SD = 1.5, 2400, 5.0
CLAIM = Claim.parse("1.5 %")
TRUE = (0.0, 0.75, 1.499, 1.501, 3.0)
SESSIONS, SESSION_SD, TAUS, REFERENCE = (1, 2, 4, 8), (0.0, 0.8, 1.5), (5, 60, 300), (0.0, 0.5)
ANSWERS = ("holds", "not settled", "does not hold")
Cell = tuple[float, int, float, int, float]


def simulate(cell: Cell, run: int) -> tuple[list[Pairs], float]:
    """One tester's recordings, and the error in per cent that the question asks for."""
    true, sessions, session_sd, tau, a = cell
    rng = np.random.default_rng([run, *(int(1000 * value) for value in cell)])
    reference_error = rng.uniform(-a, a)
    pairs, asked = [], true
    for number in range(sessions):
        power = 220 + 50 * wander(rng, 120, SECONDS)
        own = true + session_sd * rng.normal()
        reference = power * (1 + reference_error / 100)
        noise = SD / 100 * 220 * wander(rng, tau, SECONDS)
        device = power * (1 + own / 100) + noise
        dropped = rng.random(SECONDS) < 0.01
        pairs.append(Pairs(reference=reference, device=np.where(dropped, 0, device), session=str(number),
                           reason=np.where(dropped, "device_dropout", "")))
        if sessions == 1:  # the error in this recording: its own, the noise of its hour is chance
            asked = own
    return pairs, asked


def one(job: tuple[Cell, int]) -> tuple[int, bool]:
    """Answer (index) and whether it is wrong."""
    cell, run = job
    pairs, asked = simulate(cell, run)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        data = table(pairs if len(pairs) > 1 else pairs[0], 30)
        reading = meanings.average(data, CLAIM, ReferenceUncertainty.parse(cell[4]), 0.95)
    inside = abs(asked) <= LIMIT
    wrong = reading.verdict == ("does not hold" if inside else "holds")
    return ANSWERS.index(reading.verdict), wrong


def cells(short: bool) -> list[Cell]:
    every = list(itertools.product(TRUE, SESSIONS, SESSION_SD, TAUS, REFERENCE))
    # At the limit errors are likeliest; the short form looks there only.
    return [c for c in every if c[0] in (1.499, 1.501) and c[1] in (1, 4) and c[2] in (0.0, 1.5) and c[4] == 0.0
            ] if short else every


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--short", action="store_true")
    arguments = parser.parse_args()
    chosen, runs = cells(arguments.short), arguments.runs
    rows = []
    with ProcessPoolExecutor(arguments.jobs) as pool:
        jobs = ((cell, run) for cell in chosen for run in range(runs))
        answers = list(pool.map(one, jobs, chunksize=50))
    for k, cell in enumerate(chosen):
        part = answers[k * runs:(k + 1) * runs]
        rows.append((cell, [sum(a == i for a, _ in part) / runs for i in range(3)], sum(w for _, w in part) / runs))
    worst = max(rows, key=lambda row: row[2])
    error = 100 * math.sqrt(worst[2] * (1 - worst[2]) / runs)
    print(f"{len(rows)} cells, {runs} runs each (Monte-Carlo SE of a share: at most {50 / math.sqrt(runs):.1f} %).\n"
          f"Wrong answers: worst cell {100 * worst[2]:.1f} % ± {error:.1f}; cells above 5 %: "
          f"{sum(row[2] > 0.05 for row in rows)}; mean {100 * sum(row[2] for row in rows) / len(rows):.1f} %.\n")
    print("| true error % | sessions | session SD % | tau s | reference ± % | " + " | ".join(ANSWERS) + " | wrong |")
    print("|---|---|---|---|---|---|---|---|---|")
    for cell, shares, wrong in rows:
        print("| " + " | ".join(f"{value:g}" for value in cell) + " | "
              + " | ".join(f"{100 * share:.0f} %" for share in shares) + f" | {100 * wrong:.1f} % |")


if __name__ == "__main__":
    main()
