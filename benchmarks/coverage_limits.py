"""Coverage of every limit beyond the plain ones, on simulated pairs, with Monte-Carlo error.

    python benchmarks/coverage_limits.py [--runs 500] [--jobs 2] [--small]

Independent pairs: 200 (`--small`: 20). Serial: 1-h rides of 3,600 s whose errors are autoregressive over 5, 60 or
300 s. Sessions: 8 of 200 s whose bias differs with the SD of the errors within (60 s). Errors: normal, SD 6 W; growing
as 0.02 of the level where a method follows it. Truth of a serial or session interval is that of the process, not of the
recording. Tolerance limits are covered if they hold their content; prints a Markdown table.
"""

from __future__ import annotations

import argparse
import math
import warnings
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from scipy.signal import lfilter
from scipy.special import ndtr

from agree import AgreeWarning, quantile_limits, regression_limits, repeated_limits, tolerance_limits

LEVELS = (0.9, 0.95, 0.99)
CONDITIONS = ("independent", "serial 5 s", "serial 60 s", "serial 300 s", "sessions")
SD, BIAS, Z = 6.0, 2.0, 1.959963984540054
AT = 260.0


def wander(rng: np.random.Generator, tau: float, n: int) -> np.ndarray:
    """Stationary autoregressive series of unit variance."""
    rho = math.exp(-1 / tau)
    noise = rng.normal(0, math.sqrt(1 - rho * rho), n)
    noise[0] = rng.normal()
    return lfilter([1], [1, -rho], noise)


def simulate(rng: np.random.Generator, condition: str, n: int) -> tuple[np.ndarray, np.ndarray, dict]:
    """Level, error of unit variance, and the options of the sampling."""
    if condition == "independent":
        return rng.uniform(100, 340, n), rng.normal(size=n), {"sampling": "independent"}
    if condition == "sessions":
        session = np.repeat(np.arange(8), 200)
        error = np.concatenate([rng.normal() + wander(rng, 60, 200) for _ in range(8)]) / math.sqrt(2)
        level = 220 + 60 * wander(rng, 60, session.size)
        return level, error, {"sampling": "sessions", "session": session}
    tau = float(condition.split()[1])
    return 220 + 60 * wander(rng, 120, 3600), wander(rng, tau, 3600), {"sampling": "serial"}


def held(lower: float, upper: float, mean: float, sd: float) -> float:
    return float(ndtr((upper - mean) / sd) - ndtr((lower - mean) / sd))


def inside(item, truth: float) -> bool:
    return item.low <= truth <= item.high


def paired(rng: np.random.Generator, condition: str, level: float, n: int) -> dict[str, bool]:
    """Whether each interval of the methods for pairs covers."""
    x, error, options = simulate(rng, condition, n)
    d = BIAS + SD * error
    two, one = (tolerance_limits(x, x + d, level=level, sides=sides, **options) for sides in (2, 1))
    quantiles = quantile_limits(x, x + d, level=level, **options)
    spread = 0.02 * x + 2
    there = regression_limits(x, x + BIAS - 0.01 * x + spread * error, against="reference", level=level,
                              **options).at(AT)
    mean, sd = BIAS - 0.01 * AT, 0.02 * AT + 2
    return {
        "tolerance, two sides": held(two.lower, two.upper, BIAS, SD) >= 0.95,
        "tolerance, one side": ndtr((one.upper - BIAS) / SD) >= 0.95,
        "quantile limits, upper": inside(quantiles.upper, BIAS + Z * SD),
        "quantile limits, median": inside(quantiles.median, BIAS),
        "regression limits, bias": inside(there.bias, mean),
        "regression limits, sd": inside(there.sd, sd),
        "regression limits, upper": inside(there.upper, mean + Z * sd),
    }


def repeated(rng: np.random.Generator, subjects: int, unequal: bool, level: float) -> dict[str, bool]:
    """Whether the intervals of repeated_limits cover: SD 4 between subjects, 3 within each method."""
    sizes = rng.integers(1, 12, subjects) if unequal else np.full(subjects, 5)
    sizes[0] = max(sizes[0], 2)
    subject = np.repeat(np.arange(subjects), sizes)
    true = rng.uniform(100, 340, subjects)[subject]
    x = true + rng.normal(0, 3, subject.size)
    y = true + BIAS + rng.normal(0, 4, subjects)[subject] + rng.normal(0, 3, subject.size)
    sd = math.sqrt(34)
    result = {}
    for true_value in ("constant", "varying"):
        item = repeated_limits(x, y, subject, true_value=true_value, level=level)
        result |= {f"{true_value}, bias": inside(item.bias, BIAS), f"{true_value}, sd": inside(item.sd, sd),
                   f"{true_value}, upper": inside(item.upper, BIAS + Z * sd)}
    return result


def one(seed: tuple[str, float, int, int]) -> dict[str, bool]:
    """One simulated data set."""
    condition, level, run, n = seed
    rng = np.random.default_rng([*condition.encode(), run, n])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        if condition.startswith("repeated"):
            _, subjects, shape = condition.split()
            return repeated(rng, int(subjects), shape == "unequal", level)
        return paired(rng, condition, level, n)


def cases(conditions: tuple[str, ...], runs: int, n: int, jobs: int) -> Iterator[tuple[str, float, dict[str, float]]]:
    """Condition, level, and share of runs in which each interval covered."""
    with ProcessPoolExecutor(jobs) as pool:
        for condition in conditions:
            for level in LEVELS:
                found = list(pool.map(one, [(condition, level, run, n) for run in range(runs)], chunksize=25))
                yield condition, level, {name: float(np.mean([row[name] for row in found])) for name in found[0]}


def table(conditions: tuple[str, ...], runs: int, n: int, jobs: int) -> str:
    """Return the coverage of 90, 95 and 99 % intervals as a Markdown table."""
    cells: dict[str, dict[str, list[float]]] = {}
    for condition, _, shares in cases(conditions, runs, n, jobs):
        for name, share in shares.items():
            cells.setdefault(name, {}).setdefault(condition, []).append(100 * share)
    rows = ["| interval | " + " | ".join(conditions) + " |", "|---|" + "---|" * len(conditions)]
    rows += [f"| {name} | " + " | ".join(" / ".join(f"{v:.1f}" for v in row[c]) for c in conditions) + " |"
             for name, row in cells.items()]
    return "\n".join(rows)


def covariate_table(runs: int) -> str:
    """Limits by temperature over rides that differ, errors rising and widening with it; three adversaries below."""
    kinds = ("as assumed", "t, 5 df", "spread bends", "rides of 5 to 200 pairs")
    lines = ["| rides | condition | bias | sd | lower | upper |", "|---:|---|---:|---:|---:|---:|"]
    for rides, kind in ((6, kinds[0]), (12, kinds[0]), (25, kinds[0]), *((12, kind) for kind in kinds[1:])):
        rng, hits = np.random.default_rng(2), np.zeros(4)
        sd = math.hypot(1, 5)
        for _ in range(runs):
            size = rng.integers(5, 200, rides) if kind == kinds[3] else np.full(rides, 480 // rides)
            session, n = np.repeat(np.arange(rides), size), int(size.sum())
            x, warm = rng.uniform(100, 300, n), rng.uniform(-1, 1, n)
            error = rng.standard_t(5, n) / math.sqrt(5 / 3) if kind == kinds[1] else rng.normal(size=n)
            wide = 3 + 8 * warm**2 if kind == kinds[2] else 4 + 2 * warm  # 5 at 0.5 either way
            y = x + 2 * warm + rng.normal(0, 1, rides)[session] + wide * error
            found = regression_limits(x, y, by=warm, session=session).at(0.5)
            truth = (1, sd, 1 - 1.959964 * sd, 1 + 1.959964 * sd)
            hits += [item.low <= value <= item.high
                     for item, value in zip((found.bias, found.sd, found.lower, found.upper), truth, strict=True)]
        lines.append(f"| {rides} | {kind} | {' | '.join(f'{100 * hit / runs:.1f}' for hit in hits)} |")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--small", action="store_true", help="20 independent pairs instead of 200")
    parser.add_argument("--by", action="store_true", help="limits that follow temperature, over rides, alone")
    arguments = parser.parse_args()
    errors = " / ".join(f"{100 * math.sqrt(p * (1 - p) / arguments.runs):.1f}" for p in LEVELS)
    print(f"Coverage of 90 / 95 / 99 % intervals, per cent; {arguments.runs} runs, Monte-Carlo SE {errors}\n")
    if arguments.by:
        print(covariate_table(arguments.runs))
        return
    if arguments.small:
        print(table(("independent",), arguments.runs, 20, arguments.jobs))
        return
    print(table(CONDITIONS, arguments.runs, 200, arguments.jobs) + "\n")
    repeats = tuple(f"repeated {subjects} {shape}" for subjects in (6, 20) for shape in ("equal", "unequal"))
    print(table(repeats, arguments.runs, 0, arguments.jobs))


if __name__ == "__main__":
    main()
