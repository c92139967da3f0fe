"""Coverage of limits of agreement over few sessions, and of a limit's two sides.

    python benchmarks/limits_over_sessions.py [--runs N] [--sessions 2 3 6 12]

Sessions of 150 readings, or of 20 to 800 ("unequal"); their means differ with an SD of 0.3 or 1 where the readings of a
session scatter with 1. True limits are mean -+ 1.96 SD of the readings to come, from other sessions. Adversaries, each
breaking an assumption: readings correlated over 20 of them, scatter that differs from session to session (lognormal, SD
0.5 of the logarithm; or one session in ten five times as much), readings with t (3 df), means of sessions with t (3
df) or exponential. Prints a Markdown table: coverage of both limits, then how often the upper one lies wholly below or
above the true limit, and the median width over the SD.
"""

from __future__ import annotations

import argparse
import math
import warnings

import numpy as np
from scipy.signal import lfilter

from agree import limits_of_agreement

KINDS = ("alike", "unequal", "serial", "scatter differs", "scatter differs, unequal", "one in ten wild", "t readings",
         "t sessions", "exponential sessions")
Z, RHO = 1.959964, math.exp(-1 / 20)


def lengths(rng: np.random.Generator, count: int, kind: str) -> np.ndarray:
    """Readings of each session."""
    return np.rint(np.exp(rng.uniform(math.log(20), math.log(800), count))).astype(int) if "unequal" in kind else (
        np.full(count, 150))


def readings(rng: np.random.Generator, label: np.ndarray, kind: str) -> tuple[np.ndarray, float]:
    """Errors within sessions, and their variance in the long run."""
    size, count = label.size, int(label[-1]) + 1
    if kind == "serial":
        raw = lfilter([1], [1, -RHO], rng.normal(0, math.sqrt(1 - RHO**2), (count, size // count + 100)))
        return np.asarray(raw)[:, 100:].ravel(), 1.0
    if kind == "t readings":
        return rng.standard_t(3, size) / math.sqrt(3), 1.0
    if "scatter" in kind:
        return rng.normal(size=size) * np.exp(rng.normal(0, 0.5, count))[label], math.exp(0.5)
    if kind == "one in ten wild":
        return rng.normal(size=size) * np.where(rng.random(count) < 0.1, 5.0, 1.0)[label], 3.4
    return rng.normal(size=size), 1.0


def means(rng: np.random.Generator, count: int, kind: str) -> np.ndarray:
    """Means of sessions, SD 1."""
    if kind == "t sessions":
        return rng.standard_t(3, count) / math.sqrt(3)
    return rng.exponential(size=count) - 1 if kind == "exponential sessions" else rng.normal(size=count)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=400)
    parser.add_argument("--sessions", type=int, nargs="+", default=[2, 3, 6, 12])
    arguments = parser.parse_args()
    warnings.simplefilter("ignore")
    print(f"Per cent of {arguments.runs} runs, Monte-Carlo error {100 * (0.95 * 0.05 / arguments.runs) ** 0.5:.1f} of "
          f"coverage, {100 * (0.025 * 0.975 / arguments.runs) ** 0.5:.1f} of a side\n\n| sessions | SD between | "
          "condition | lower covered | upper covered | upper too low | upper too high | width |\n"
          "|---:|---:|---|---:|---:|---:|---:|---:|")
    for count in arguments.sessions:
        for between in (0.3, 1.0):
            for kind in KINDS:
                rng, miss, widths = np.random.default_rng([count, KINDS.index(kind)]), np.zeros(3), []
                for _ in range(arguments.runs):
                    label = np.repeat(np.arange(count), lengths(rng, count, kind))
                    within, variance = readings(rng, label, kind)
                    error = between * means(rng, count, kind)[label] + within
                    true = Z * math.hypot(between, math.sqrt(variance))
                    found = limits_of_agreement(np.full(error.size, 256.0), 256 + error, sampling="sessions",
                                                session=label)
                    low, high = found.lower, found.upper
                    miss += [not low.low <= -true <= low.high, high.high < true, high.low > true]
                    widths.append((high.high - high.low) * Z / true)
                lower, below, above = 100 * miss / arguments.runs
                print(f"| {count} | {between} | {kind} | {100 - lower:.1f} | {100 - below - above:.1f} | {below:.1f} | "
                      f"{above:.1f} | {np.median(widths):.2f} |", flush=True)


if __name__ == "__main__":
    main()
