"""Coverage of the intervals of `split_errors` and `equivalence` on simulated recordings, with Monte-Carlo error.

    python benchmarks/coverage_three.py [--runs 500] [--jobs 2]

Three devices record a wandering power (220 W, SD 50 W) for an hour (serial), at 30 independent instants, or in 6
sessions of 10 minutes. Their own errors have SD 2, 4 and 1 W and biases 0, 1 and -2 W; they are correlated over tau
(autoregressive, exp(-1/tau) from second to second); sessions add an error of their own to each device, of the same SD.
Prints Markdown: share of intervals that cover the true value at 90, 95 and 99 %, and the share of false answers of
`equivalence` (level 0.95) with the true value at the edge of the margin, of which theory promises 5 %.
"""

from __future__ import annotations

import argparse
import math
import warnings
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from itertools import combinations

import numpy as np
from scipy.signal import lfilter

from agree import AgreeWarning, Estimate, equivalence, split_errors

CONDITIONS = ("independent, n = 30", "serial 5 s", "serial 60 s", "serial 300 s", "sessions, 6")
SDS, BIASES = (2.0, 4.0, 1.0), (0.0, 1.0, -2.0)
LEVELS = (0.90, 0.95, 0.99)


def wander(rng: np.random.Generator, tau: float, n: int) -> np.ndarray:
    """Stationary autoregressive series of unit variance; white for tau 0."""
    rho = math.exp(-1 / tau) if tau else 0.0
    noise = rng.normal(0, math.sqrt(1 - rho * rho), n)
    noise[0] = rng.normal()
    return lfilter([1], [1, -rho], noise)


def recording(rng: np.random.Generator, condition: str) -> tuple[np.ndarray, dict, float]:
    """Readings (3, n) of one effort, the options to analyse them with, and a factor of the true SDs."""
    if condition.startswith("independent"):
        power, errors, options, factor = rng.uniform(120, 320, 30), rng.normal(size=(3, 30)), {}, 1.0
    elif condition.startswith("sessions"):
        labels = np.repeat(np.arange(6), 600)
        power = 220 + 50 * wander(rng, 120, 3600)
        errors = np.array([wander(rng, 5, 3600) for _ in SDS]) + rng.normal(size=(3, 6))[:, labels]
        options, factor = {"sampling": "sessions", "session": labels}, math.sqrt(2)
    else:
        tau = float(condition.split()[1])
        power = 220 + 50 * wander(rng, 120, 3600)
        errors, options, factor = np.array([wander(rng, tau, 3600) for _ in SDS]), {"sampling": "serial"}, 1.0
    return power + np.array(SDS)[:, None] * errors + np.array(BIASES)[:, None], options, factor


def simulate(rng: np.random.Generator, condition: str) -> Iterator[tuple[float, dict[str, float], dict[str, Estimate]]]:
    """Level, true values and estimates of one simulated recording, for each level."""
    readings, options, factor = recording(rng, condition)
    truth = {f"sd_{name}": sd * factor for name, sd in zip("abc", SDS, strict=True)}
    for i, j in combinations(range(3), 2):
        truth |= {f"bias {'abc'[j]} - {'abc'[i]}": BIASES[j] - BIASES[i], f"scale {'abc'[j]} - {'abc'[i]}": 1.0}
    for level in LEVELS:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", AgreeWarning)
            result = split_errors(*readings, level=level, **options)
        pairs = [item for pair in result.contrasts for item in (pair.bias, pair.scale)]
        yield level, truth, dict(zip(truth, (*result.sd, *pairs), strict=True))


def false_answers(rng: np.random.Generator, condition: str) -> list[bool]:
    """Whether equivalence is claimed with the true mean difference, or ratio of means, at the edge of the margin."""
    (a, b, _), options, _ = recording(rng, condition)
    edge = BIASES[1] - BIASES[0]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        difference = equivalence(a, b, margin=(-100, edge), **options)
        # b - a has mean `edge`; taken off and a scale put on, the ratio of means is that scale
        ratio = equivalence(a, (b - edge) * 1.02, margin=(0.5, 1.02), scale="ratio", **options)
    return [difference.equivalent, ratio.equivalent]


def _one(job: tuple[str, int]) -> list[list[bool]]:
    condition, run = job
    cases = simulate(np.random.default_rng([CONDITIONS.index(condition), run]), condition)
    return [[found[name].low <= truth[name] <= found[name].high for name in truth] for _, truth, found in cases]


def _errors(job: tuple[str, int]) -> list[bool]:
    return false_answers(np.random.default_rng([99, CONDITIONS.index(job[0]), job[1]]), job[0])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=2)
    arguments = parser.parse_args()
    runs = range(arguments.runs)
    cell = lambda share: f"{100 * share:.1f} ± {100 * math.sqrt(share * (1 - share) / len(runs)):.1f}"  # noqa: E731
    with ProcessPoolExecutor(arguments.jobs) as pool:
        print(f"Coverage in per cent (± Monte-Carlo SE), {len(runs)} simulated recordings each\n")
        _, names, _ = next(simulate(np.random.default_rng(0), CONDITIONS[0]))
        print("| recording | level | " + " | ".join(names) + " |\n|---|---|" + "---|" * len(names))
        for condition in CONDITIONS:
            shares = np.mean(list(pool.map(_one, [(condition, run) for run in runs], chunksize=20)), axis=0)
            for level, row in zip(LEVELS, shares, strict=True):
                print(f"| {condition} | {100 * level:g} % | " + " | ".join(map(cell, row)) + " |")
        print("\nFalse answers of `equivalence` at the edge of the margin, per cent; 5 promised\n")
        print("| recording | difference | ratio |\n|---|---|---|")
        for condition in CONDITIONS:
            shares = np.mean(list(pool.map(_errors, [(condition, run) for run in runs], chunksize=20)), axis=0)
            print(f"| {condition} | " + " | ".join(map(cell, shares)) + " |")


if __name__ == "__main__":
    main()
