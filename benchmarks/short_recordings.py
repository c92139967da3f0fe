"""Wrong "holds" from one short recording whose errors are slow, with Monte-Carlo error.

    python benchmarks/short_recordings.py [--runs 400] [--short]

Errors are those of benchmarks/slow_errors.py: autoregressive over the time given; `5 + s`: 3 W over 5 s and 1 W over s
seconds. The true mean error lies at the limit, so that one side of the interval errs: promised are 2.5 %. Prints per
cent of wrong answers by minutes used, by the interval shown and as "holds" is given (under 45 min it must stand for
errors slower than the recording too), and how often an exact device holds by both. Under 10 min nothing holds.
"""

from __future__ import annotations

import argparse
import math
from typing import NamedTuple

import numpy as np
from slow_errors import STEP_S, simulate

from agree.assessment.doubts.slower_errors import asked_times
from agree.core.interval.engine import COSINES, cosine_transform, t_quantile
from agree.core.interval.slow_errors import COEFFICIENTS, slow_variance

MINUTES = (2, 5, 10, 15, 20, 30, 40, 45)
KINDS = ("5 s", "60 s", "5 + 60 s", "150 s", "5 + 150 s", "300 s", "5 + 300 s")


class Cell(NamedTuple):
    """Shares of one kind and length: wrong "holds" at the limit and "holds" of an exact device, shown and as given."""

    wrong: float
    asked_wrong: float
    holds: float
    asked_holds: float


def cell(kind: str, minutes: int, runs: int) -> Cell:
    """Judge recordings by the interval shown, and as "holds" is given: under 45 min for slower errors too."""
    n = 60 * minutes // STEP_S
    errors, _ = simulate(np.random.default_rng([minutes, KINDS.index(kind)]), kind, runs, n)
    parts = cosine_transform(errors - errors.mean(axis=1, keepdims=True), min(COEFFICIENTS, n - 1))
    shown, wide = (t_quantile(0.95, COSINES) * np.sqrt(
        [slow_variance(line, COSINES, slower=slower) / n for line in parts]) for slower in (False, True))
    asked = shown * [asked_times(max(times, 1.0), 60.0 * minutes) for times in wide / shown]
    off = np.abs(errors.mean(axis=1))
    limit = 2 * float(shown.mean())
    return Cell(*(float((off > half).mean()) / 2 for half in (shown, asked)),
                *(float((off + half <= limit).mean()) for half in (shown, asked)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=400)
    parser.add_argument("--short", action="store_true", help="10 min only; stops above 3.5 %%")
    arguments = parser.parse_args()
    minutes, runs = (10,) if arguments.short else MINUTES, arguments.runs
    error = 100 * math.sqrt(0.1 * 0.9 / runs) / 2
    print(f"{runs} runs, both sides counted and halved: Monte-Carlo error {error:.1f} points at 5 %\n")
    print("| errors | " + " | ".join(f"{m} min" for m in minutes) + " |\n|" + "---|" * (len(minutes) + 1))
    table = {kind: [cell(kind, m, runs) for m in minutes] for kind in KINDS}
    for kind, found in table.items():
        print(f"| {kind} | " + " | ".join(f"{100 * item.wrong:.1f} → {100 * item.asked_wrong:.1f}" for item in found)
              + " |", flush=True)
        if arguments.short and found[0].asked_wrong > 0.035 + 0.03 * error:
            raise SystemExit(f"{kind}: {100 * found[0].asked_wrong:.1f} % wrong")
    print("\nHolds of an exact device, limit two mean half-widths\n\n| errors | "
          + " | ".join(f"{m} min" for m in minutes) + " |\n|" + "---|" * (len(minutes) + 1))
    for kind, found in table.items():
        print(f"| {kind} | " + " | ".join(f"{100 * item.holds:.0f} → {100 * item.asked_holds:.0f}" for item in found)
              + " |")


if __name__ == "__main__":
    main()
