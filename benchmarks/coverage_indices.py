"""Coverage of the intervals of the agreement indices on simulated data, with Monte-Carlo error.

    python benchmarks/coverage_indices.py [--runs 500] [--jobs 2]

Paired indices: the reference wanders (mean 220 W, SD 60 W, correlated over 120 s), the device reads 1 W + 0.98 times
it with an error of SD 6 W. `independent`: 60 unrelated pairs; `tau s`: 1,800 s whose errors are correlated over tau;
`sessions`: 8 sessions of 100 pairs, half of the error's variance common to a session. True values are those of the
population for independent pairs and sessions; in a recording, of the power ridden in it.

Tables: 10 subjects by 3 raters (two-way model), and 8 groups of 2 to 6 readings (one-way model). Prints Markdown.
"""

from __future__ import annotations

import argparse
import math
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
from scipy import optimize, special
from scipy.signal import lfilter

import agree

SD, SLOPE, OFFSET, MEAN, RANGE = 6.0, 0.98, 1.0, 220.0, 60.0
CONDITIONS = ("independent", "5 s", "60 s", "300 s", "sessions")
LEVELS = (0.9, 0.95, 0.99)
LIMIT, SHARE = 10.0, 0.9
Sample = tuple[dict[str, float], dict[str, agree.Estimate]]


def wander(rng: np.random.Generator, tau: float, n: int) -> np.ndarray:
    """Stationary autoregressive series of unit variance; white for tau = 0."""
    rho = math.exp(-1 / tau) if tau else 0.0
    noise = rng.normal(0, math.sqrt(1 - rho * rho), n)
    noise[0] = rng.normal()
    return lfilter([1], [1, -rho], noise)


def recording(rng: np.random.Generator, condition: str) -> tuple[np.ndarray, np.ndarray, dict[str, object], bool]:
    """Power, error in units of its SD, options, and whether the power is a sample of its population."""
    if condition == "independent":
        return MEAN + RANGE * rng.normal(size=60), rng.normal(size=60), {"sampling": condition}, True
    if condition == "sessions":
        session = np.repeat(np.arange(8), 100)
        error = (rng.normal(size=8)[session] + rng.normal(size=800)) / math.sqrt(2)
        return MEAN + RANGE * rng.normal(size=800), error, {"sampling": condition, "session": session}, True
    tau = float(condition.removesuffix(" s"))
    return MEAN + RANGE * wander(rng, 120, 1800), wander(rng, tau, 1800), {"sampling": "serial"}, False


def paired(rng: np.random.Generator, condition: str, level: float) -> Sample:
    """Concordance, deviation index and share within a limit, on one simulated recording."""
    power, noise, options, sampled = recording(rng, condition)
    m, s = (MEAN, RANGE) if sampled else (power.mean(), power.std())
    y = OFFSET + SLOPE * power + SD * noise
    options["level"] = level
    rho = agree.concordance(power, y, **options)
    sy, bias = math.hypot(SLOPE * s, SD), OFFSET + (SLOPE - 1) * m
    truth = {"concordance": 2 * SLOPE * s * s / (s * s + sy * sy + bias * bias), "correlation": SLOPE * s / sy,
             "accuracy": 2 * s * sy / (s * s + sy * sy + bias * bias)}
    found = {"concordance": rho.concordance, "correlation": rho.precision, "accuracy": rho.accuracy}
    # Errors of the indices of single readings are normal: a device of slope 1 here.
    z = power + OFFSET + SD * noise
    outside = lambda k: special.ndtr((OFFSET - k) / SD) + special.ndtr((-OFFSET - k) / SD)  # noqa: E731
    index = optimize.brentq(lambda k: outside(k) - 1 + SHARE, 0, 100)
    for distribution in ("normal", "any"):
        truth |= {f"index, {distribution}": index, f"share, {distribution}": 1 - outside(LIMIT)}
        found[f"index, {distribution}"] = agree.deviation_index(
            power, z, coverage=SHARE, distribution=distribution, **options).index
        found[f"share, {distribution}"] = agree.coverage_probability(
            power, z, limit=LIMIT, distribution=distribution, **options).probability
    # Two trials of one device: half the variance of their difference each.
    trials = agree.typical_error(power, z, **options)
    return ({**truth, "typical error": SD / math.sqrt(2), "change in mean": OFFSET},
            {**found, "typical error": trials.typical_error, "change in mean": trials.change})


def intraclass(rng: np.random.Generator, condition: str, level: float) -> Sample:
    """Table of 10 subjects by 3 raters; `condition` is the share of variance between subjects."""
    share = float(condition)
    between, rater, error = share, (1 - share) / 4, 3 * (1 - share) / 4
    subjects, errors = rng.normal(size=(10, 1)) * math.sqrt(between), rng.normal(size=(10, 3))
    raters = rng.normal(size=3) * math.sqrt(rater)
    crossed = agree.intraclass(subjects + raters + errors * math.sqrt(error), level=level)
    nested = agree.intraclass(subjects + errors * math.sqrt(1 - share), level=level)
    truth = {"ICC(1,1)": share, "ICC(2,1)": share, "ICC(3,1)": between / (between + error)}
    return truth, {"ICC(1,1)": nested.one_way, "ICC(2,1)": crossed.agreement, "ICC(3,1)": crossed.consistency}


def groups(rng: np.random.Generator, condition: str, level: float) -> Sample:
    """Eight groups of 2 to 6 readings, SD 1 within; `condition` is the SD between."""
    sd = float(condition)
    labels = np.repeat(np.arange(8), [2, 6, 3, 5, 2, 4, 6, 2])
    result = agree.precision(sd * rng.normal(size=8)[labels] + rng.normal(size=labels.size), labels, level=level)
    truth = {"s_r": 1.0, "s_L": sd, "s_R": math.hypot(1, sd), "mean": 0.0}
    return truth, {"s_r": result.repeatability_sd, "s_L": result.between_sd, "s_R": result.reproducibility_sd,
                   "mean": result.mean}


def cases() -> Iterator[tuple[str, Callable[..., Sample], tuple[str, ...]]]:
    """Title, simulation and its conditions."""
    yield "sampling", paired, CONDITIONS
    yield "share of variance between subjects", intraclass, ("0.2", "0.5", "0.9")
    yield "SD between over SD within", groups, ("0.2", "1", "3")


def one(simulate: Callable[..., Sample], condition: str, run: int) -> dict[str, list[bool]]:
    """Whether each interval covers its true value, at each level, in one run (the same data at each)."""
    covered: dict[str, list[bool]] = {}
    for level in LEVELS:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", agree.AgreeWarning)
            truth, found = simulate(np.random.default_rng([run, *condition.encode()]), condition, level)
        for name, item in found.items():
            covered.setdefault(name, []).append(item.low <= truth[name] <= item.high)
    return covered


def table(
    simulate: Callable[..., Sample], condition: str, runs: int, pool: ProcessPoolExecutor
) -> dict[str, np.ndarray]:
    """Coverage in per cent at each level, by name."""
    results = list(pool.map(partial(one, simulate, condition), range(runs), chunksize=25))
    return {name: 100 * np.mean([item[name] for item in results], axis=0) for name in results[0]}


FEW_KINDS: dict[str, Callable[[np.random.Generator, int], np.ndarray]] = {
    "normal": lambda rng, size: rng.normal(size=size),
    "t, 3 df": lambda rng, size: rng.standard_t(3, size) / math.sqrt(3),
    "uniform": lambda rng, size: rng.uniform(-1, 1, size) * math.sqrt(3),
    "exponential": lambda rng, size: rng.exponential(size=size) - 1,
}


def few_pairs(runs: int, numbers: list[int]) -> None:
    """Print where the index of few errors of SD 1 misses: normal ones with several biases, and three adversaries."""
    print(f"| pairs | errors | bias, SD | covered | low end above | high end below |  ({runs} runs)\n"
          "|---:|---|---:|---:|---:|---:|")
    warnings.simplefilter("ignore")
    for n in numbers:
        for kind, bias in (*(("normal", b) for b in (0.0, 0.5, 1.0, 3.0)), ("t, 3 df", 0.5), ("uniform", 0.5),
                           ("exponential", 0.5)):
            rng, draw = np.random.default_rng(77 + n), FEW_KINDS[kind]
            truth, above, below = float(np.quantile(np.abs(bias + draw(rng, 2_000_000)), SHARE)), 0, 0
            for _ in range(runs):
                item = agree.deviation_index(np.zeros(n), bias + draw(rng, n), coverage=SHARE).index
                above, below = above + (item.low > truth), below + (item.high < truth)
            shares = " | ".join(f"{100 * v / runs:.1f}" for v in (runs - above - below, above, below))
            print(f"| {n} | {kind} | {bias} | {shares} |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--few", type=int, nargs="+", help="numbers of pairs: the deviation index alone")
    arguments = parser.parse_args()
    runs = arguments.runs
    if arguments.few:
        few_pairs(runs, arguments.few)
        return
    errors = ", ".join(f"± {100 * math.sqrt(p * (1 - p) / runs):.1f}" for p in LEVELS)
    print(f"Coverage in % of intervals of level 90 / 95 / 99 %, {runs} runs (Monte-Carlo error {errors})")
    with ProcessPoolExecutor(arguments.jobs) as pool:
        for title, simulate, conditions in cases():
            columns = [table(simulate, condition, runs, pool) for condition in conditions]
            print(f"\n| {title} | " + " | ".join(conditions) + " |\n|---|" + "---|" * len(conditions))
            for name in columns[0]:
                print(f"| {name} | " + " | ".join(" / ".join(f"{v:.1f}" for v in c[name]) for c in columns) + " |",
                      flush=True)


if __name__ == "__main__":
    main()
