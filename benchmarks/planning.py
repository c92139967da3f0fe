"""Chance of a plan beside the share of simulated tests that the verdict's own rule settles, in per cent.

    python benchmarks/planning.py [--runs 4000] [--short] [--kept-back]

Each test has the number of sessions that the plan names; a session's mean error is the true one + its own + that of its
seconds, and the reference's error is drawn once a test as it is stated. The answer is that of the mean over
sessions, its interval widened by the reference; with looks the first settled answer counts. Adversaries, which the
plan does not know of: sessions with heavy tails (t3), skewed ones, lengths of 10 to 110 min with the same mean.
"""

from __future__ import annotations

import argparse
import math
import sys
from typing import Any, NamedTuple

import numpy as np

from agree import plan
from agree.verdict.error_distribution import interval_half_width
from agree.verdict.looks import level_at
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import OPEN, three_way
from agree.verdict.sessions import mean_over_sessions

LIMIT, MINUTES = 1.5, 60.0


class Case(NamedTuple):
    """True error, SD between sessions, the reference, and further options of `plan`."""

    error: float
    sd: float
    reference: str | None
    options: dict[str, Any]


CASES = [
    Case(0.0, 0.4, None, {}), Case(0.0, 0.8, None, {}), Case(0.75, 0.4, None, {}), Case(2.5, 0.8, None, {}),
    Case(0.0, 0.8, "±0.5 %", {}), Case(0.3, 0.5, "±1 %", {"power": 0.5}), Case(3.0, 0.8, "1 % k=2", {}),
    Case(0.0, 0.8, None, {"level": 0.9}), Case(0.0, 0.3, None, {"meaning": "next_session"}),
    Case(0.2, 0.2, "±0.3 %", {"meaning": "next_session"}), Case(0.0, 0.8, None, {"looks": (3, 5, 8)}),
    Case(0.4, 0.5, "±0.5 %", {"looks": (4, 8, 12), "power": 0.7})]

# Chosen before any of them was run, and no threshold or formula was changed after.
KEPT_BACK = [
    Case(0.5, 0.6, None, {}), Case(0.9, 0.25, "±0.3 %", {}), Case(2.2, 0.5, None, {}),
    Case(0.0, 1.1, "±0.7 %", {"power": 0.6}), Case(0.1, 0.35, None, {"meaning": "next_session", "power": 0.9}),
    Case(4.0, 1.2, "0.5 % k=2", {}), Case(0.0, 0.6, None, {"looks": (4, 6, 10)}),
    Case(0.6, 0.3, None, {"level": 0.99})]


def simulated(case: Case, count: int, within: float, answer: str, runs: int, adversary: str) -> float:
    """Share of tests that end with the right answer."""
    rng = np.random.default_rng([round(1000 * case.error), round(100 * case.sd), count, len(adversary)])
    known = ReferenceUncertainty.parse(case.reference).known(200.0)
    size = (runs, count)
    seconds = 60 * (rng.uniform(10, 110, count) if adversary == "unequal lengths" else np.full(count, MINUTES))
    own = {"t3": lambda: rng.standard_t(3, size) / math.sqrt(3), "skewed": lambda: rng.exponential(1, size) - 1}.get(
        adversary, lambda: rng.normal(size=size))()
    errors = case.error + case.sd * own + within * np.sqrt(60 * MINUTES / seconds) * rng.normal(size=size)
    errors += sum(rng.uniform(-half, half, (runs, 1)) for half in known.rectangles)
    errors += known.normal * rng.normal(size=(runs, 1))
    looks = tuple(look for look in case.options.get("looks", (count,)) if look <= count)
    every, level = case.options.get("looks", (count,)), case.options.get("level", 0.95)
    ahead, found, open_ = case.options.get("meaning") == "next_session", 0, np.ones(runs, bool)
    for look in looks:
        at = level_at(every, look, level) or level
        items = [mean_over_sessions(row[:look], seconds[:look], at, ahead=ahead) for row in errors]
        errors_of = np.array([item.standard_error for item in items])
        grid = np.linspace(0.0, errors_of.max(), 300)  # half-widths as `widen` has them, between those of a grid
        half = np.interp(errors_of, grid, interval_half_width(grid, look - 1, known, at))
        said = np.array([three_way(item.value - h, item.value + h, LIMIT) for item, h in zip(items, half, strict=True)])
        found += int((open_ & (said == answer)).sum())
        open_ &= said == OPEN
    return found / runs


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=4000)
    parser.add_argument("--short", action="store_true", help="no adversaries; stops where the two differ too much")
    parser.add_argument("--kept-back", action="store_true", help="the cases that were kept back")
    arguments = parser.parse_args()
    runs, worst = arguments.runs, 0.0
    adversaries = ("",) if arguments.short else ("", "t3", "skewed", "unequal lengths")
    print(f"{runs} tests a case; Monte-Carlo error {50 / math.sqrt(runs):.1f} points at most\n")
    print("| true error % | SD % | reference | options | sessions | foretold % | "
          + " | ".join(name or "simulated" for name in adversaries) + " |\n|" + "---|" * (6 + len(adversaries)))
    for case in KEPT_BACK if arguments.kept_back else CASES:
        made = plan("1.5 %", true_error=case.error, session_sd=case.sd, minutes=MINUTES,
                    reference_uncertainty=case.reference, **case.options)
        row = made.cases[0]
        if row.sessions is None:
            sys.exit(f"{case}: no number of sessions is planned: {row.because}")
        shares = [simulated(case, row.sessions, made.within, row.answer, runs, name) for name in adversaries]
        worst = max(worst, abs(shares[0] - row.reached))
        options = ", ".join(f"{name} {value}" for name, value in case.options.items())
        print(f"| {case.error:g} | {case.sd:g} | {case.reference or 'exact'} | {options} | {row.sessions} | "
              f"{100 * row.reached:.1f} | " + " | ".join(f"{100 * share:.1f}" for share in shares) + " |", flush=True)
    print(f"\nLargest difference between foretold and simulated: {100 * worst:.1f} points")
    if worst > 0.03 + 1.5 / math.sqrt(runs):
        sys.exit("foretold and simulated differ by more than 3 points")


if __name__ == "__main__":
    main()
