"""Wrong "holds" from one short recording whose errors are slow, with Monte-Carlo error.

    python benchmarks/short_recordings.py [--runs 400] [--short]

Errors are those of benchmarks/slow_errors.py: autoregressive over the time given; `5 + s`: 3 W over 5 s and 1 W over s
seconds. The true mean error lies at the limit, so that one side of the interval errs: promised are 2.5 %. Prints per
cent of wrong answers by minutes used; what is withheld (under 10 min) and what is said (under 30) rests on it.
"""

from __future__ import annotations

import argparse
import math

import numpy as np
from slow_errors import STEP_S, simulate

from agree.core.interval.engine import COSINES, cosine_transform, t_quantile
from agree.core.interval.slow_errors import COEFFICIENTS, slow_variance

MINUTES = (2, 3, 5, 10, 15, 20, 30, 45)
KINDS = ("5 s", "60 s", "5 + 60 s", "150 s", "5 + 150 s", "300 s", "5 + 300 s")


def wrong(kind: str, minutes: int, runs: int) -> float:
    """Share of recordings whose interval misses the true mean on one side."""
    n = 60 * minutes // STEP_S
    errors, _ = simulate(np.random.default_rng([minutes, KINDS.index(kind)]), kind, runs, n)
    parts = cosine_transform(errors - errors.mean(axis=1, keepdims=True), min(COEFFICIENTS, n - 1))
    half = t_quantile(0.95, COSINES) * np.sqrt([slow_variance(line, COSINES) / n for line in parts])
    return float((np.abs(errors.mean(axis=1)) > half).mean()) / 2


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=400)
    parser.add_argument("--short", action="store_true", help="10 min only; stops above 5 %% where errors are 60-150 s")
    arguments = parser.parse_args()
    minutes, runs = (10,) if arguments.short else MINUTES, arguments.runs
    error = 100 * math.sqrt(0.1 * 0.9 / runs) / 2
    print(f"{runs} runs, both sides counted and halved: Monte-Carlo error {error:.1f} points at 5 %\n")
    print("| errors | " + " | ".join(f"{m} min" for m in minutes) + " |\n|" + "---|" * (len(minutes) + 1))
    for kind in KINDS:
        found = [wrong(kind, m, runs) for m in minutes]
        print(f"| {kind} | " + " | ".join(f"{100 * share:.1f}" for share in found) + " |", flush=True)
        if arguments.short and "300" not in kind and found[0] > 0.05 + 0.03 * error:
            raise SystemExit(f"{kind}: {100 * found[0]:.1f} % wrong")


if __name__ == "__main__":
    main()
