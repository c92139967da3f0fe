"""Changes of a device's error: from state to state, and at a place inside one recording, with Monte-Carlo error.

    python benchmarks/trail.py [--runs 4000] [--splits 200] [--seed N] [--quick]

Neither part runs with 0 runs; runs of other seeds may be added up.

States: means of sessions are drawn about the error of the state, with a spread that differs between states and with
noise of SD 3 %, correlated over 60 s, that is less in long sessions. Without a change "changed" is wrong; at a change
of just the margin "not changed" is wrong; nominal 2.5 % a side each. The adversaries: unlike spreads with unlike
numbers of sessions, unequal lengths, skewed sessions, one session ten times noisier.

Splits: one recording without a change, 10-s means of errors that are white or correlated over 60 or 300 s. The place is
fixed beforehand at 45 % of it, or is that of the largest t, every minute tried, 5 minutes from either end at least.
"""

from __future__ import annotations

import argparse
import math
import sys

import numpy as np
from scipy.signal import lfilter

from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import session_shares, weighted_means
from agree.trail.split import change_at
from agree.trail.states import State, change_between

MARGIN, NOISE, CORRELATED_S = 0.75, 3.0, 60.0
CELLS = {  # minutes of each session of both states, their spreads, and how sessions are drawn
    "2 and 2, alike": ((60, 60), (60, 60), 0.4, 0.4, "normal"),
    "3 and 3, alike": ((60,) * 3, (60,) * 3, 0.4, 0.4, "normal"),
    "2 and 6, unlike": ((60,) * 2, (60,) * 6, 0.1, 0.6, "normal"),
    "6 and 2, unlike": ((60,) * 6, (60,) * 2, 0.1, 0.6, "normal"),
    "4 and 4, unlike": ((60,) * 4, (60,) * 4, 0.1, 0.8, "normal"),
    "3 and 4, lengths 10 to 180 min": ((10, 20, 180), (15, 30, 60, 120), 0.4, 0.4, "normal"),
    "6 and 6, lengths 10 to 180 min": ((10, 15, 20, 30, 60, 180),) * 2 + (0.2, 0.6, "normal"),
    "2 and 6, unlike, lengths 10 to 180 min": ((20, 120), (10, 15, 20, 30, 60, 180), 0.6, 0.1, "normal"),
    "4 and 4, skewed": ((60,) * 4, (60,) * 4, 0.4, 0.4, "skewed"),
    "4 and 4, one session ten times noisier": ((60,) * 4, (60,) * 4, 0.2, 0.2, "noisier"),
}


def drawn(rng: np.random.Generator, minutes: tuple[int, ...], sd: float, kind: str, sign: float) -> np.ndarray:
    """Means of the sessions of one state about its error."""
    rho = math.exp(-1 / CORRELATED_S)
    within = NOISE * np.sqrt((1 + rho) / (1 - rho) / (60 * np.array(minutes)))
    own = sign * (rng.exponential(size=len(minutes)) - 1) if kind == "skewed" else rng.normal(size=len(minutes))
    own[0] *= 10 if kind == "noisier" else 1
    result: np.ndarray = sd * own + within * rng.normal(size=len(minutes))
    return result


def state(means: np.ndarray, minutes: tuple[int, ...]) -> State:
    found = weighted_means(means[None], session_shares(60.0 * np.array(minutes), 300.0))
    item = Estimate(value=float(found.mean[0]), low=-9, high=9, level=0.95, method="t, between sessions",
                    standard_error=math.sqrt(float(found.guarded()[0, 0])), df=found.df)
    return State(state="", sessions=len(minutes), bias_percent=item, session_sd=float(means.std(ddof=1)))


def change_row(rng: np.random.Generator, cell: tuple, runs: int) -> tuple[float, float, float, float]:
    """Return percentages: missed below and above without a change, "not changed" at the margin, half-width."""
    first, second, sd1, sd2, kind = cell
    low = high = unchanged = 0
    width = 0.0
    for _ in range(runs):
        one = state(drawn(rng, first, sd1, kind, 1.0), first)
        means = drawn(rng, second, sd2, kind, -1.0)
        item, _ = change_between(one, state(means, second), margin=MARGIN)
        low, high, width = low + (item.low > 0), high + (item.high < 0), width + (item.high - item.low) / 2
        unchanged += change_between(one, state(means + MARGIN, second), margin=MARGIN)[1] == "not changed"
    return 100 * low / runs, 100 * high / runs, 100 * unchanged / runs, width / runs


def errors(rng: np.random.Generator, n: int, correlated_s: float) -> np.ndarray:
    """Errors of 10-s means, SD 1."""
    if correlated_s == 0:
        return rng.normal(size=n)
    rho = math.exp(-10 / correlated_s)
    noise = rng.normal(size=n) * math.sqrt(1 - rho**2)
    noise[0] = rng.normal()
    result: np.ndarray = lfilter([1.0], [1.0, -rho], noise)
    return result


def part(values: np.ndarray) -> Estimate:
    mean = float(values.mean())
    return estimate(mean, values - mean, level=0.95, sampling="serial", cautious=True)


def split_row(rng: np.random.Generator, minutes: int, correlated_s: float, runs: int) -> tuple[float, float, float]:
    """Percentages of wrong "changed": place fixed, place chosen and taken for fixed, place chosen and said so."""
    n = 6 * minutes
    fixed = taken = said = 0
    for _ in range(runs):
        values = errors(rng, n, correlated_s)
        found = {}
        for k in {int(0.45 * n), *range(30, n - 29, 6)}:
            one, two = part(values[:k]), part(values[k:])
            found[k] = change_at(one, two, values[:k] - one.value, values[k:] - two.value, 0.95)
        outside = {k: not item.beforehand.low <= 0 <= item.beforehand.high for k, item in found.items()}
        fixed += outside[int(0.45 * n)]
        taken += any(outside.values())
        said += any(not item.afterwards.low <= 0 <= item.afterwards.high for item in found.values())
    return 100 * fixed / runs, 100 * taken / runs, 100 * said / runs


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--runs", type=int, default=4000)
    parser.add_argument("--splits", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--quick", action="store_true", help="the hardest cells alone, with bounds that fail")
    asked = parser.parse_args()
    rng = np.random.default_rng(asked.seed)
    bad = [*(changes(rng, asked.runs, asked.quick) if asked.runs else ()),
           *(splits(rng, asked.splits, asked.quick) if asked.splits else ())]
    print("\nBeyond three standard errors: " + ("; ".join(bad) or "none"))
    return bool(bad)


def changes(rng: np.random.Generator, runs: int, quick: bool) -> list[str]:
    """Print the table of changes between states and return the cells out of bounds."""
    bad = []
    error = 100 * math.sqrt(0.025 * 0.975 / runs)
    print(f"Changes between states, {runs} runs; standard error of 2.5 %: {error:.2f}\n")
    print("| sessions of two states | missed below, % | missed above, % | wrong 'not changed', % | half-width |")
    print("|---|---|---|---|---|")
    for name, cell in list(CELLS.items())[2:7] if quick else CELLS.items():
        low, high, unchanged, width = change_row(rng, cell, runs)
        print(f"| {name} | {low:.1f} | {high:.1f} | {unchanged:.1f} | {width:.2f} |", flush=True)
        if max(low, high, unchanged) > 2.5 + 3 * error and cell[-1] == "normal":
            bad.append(name)
    return bad


def splits(rng: np.random.Generator, runs: int, quick: bool) -> list[str]:
    """Print the table of splits and return the cells out of bounds."""
    bad = []
    error = 100 * math.sqrt(0.05 * 0.95 / runs)
    print(f"\nSplits of one recording, {runs} runs; standard error of 5 %: {error:.1f}\n")
    print("| minutes | correlated over, s | fixed beforehand, % | chosen, taken for fixed, % | chosen and said so, % |")
    print("|---|---|---|---|---|")
    for minutes, correlated_s in ([(40, 60.0)] if quick else
                                  [(m, c) for c in (0.0, 60.0, 300.0) for m in (40, 60, 120)]):
        fixed, taken, said = split_row(rng, minutes, correlated_s, runs)
        print(f"| {minutes} | {correlated_s:g} | {fixed:.1f} | {taken:.1f} | {said:.1f} |", flush=True)
        if max(fixed, said) > 5 + 3 * error:
            bad.append(f"split, {minutes} min, {correlated_s:g} s")
    return bad


if __name__ == "__main__":
    sys.exit(main())
