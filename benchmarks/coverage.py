"""Coverage of the 95 % serial interval on simulated 1-h rides, with Monte-Carlo error.

    python benchmarks/coverage.py [--runs 1000] [--jobs 2]

A ride is 3,600 s of a wandering power (mean 220 W, SD 60 W). Both devices add an error of SD 6 W, correlated over
a time tau (autoregressive, correlation exp(-1/tau) from second to second), the device also has scale 0.98 and offset
+1 W. Errors of equal size suit all three estimators; with unequal ones Deming's line needs their ratio. Prints a
Markdown table.
"""

from __future__ import annotations

import argparse
import math
import warnings
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from scipy.signal import lfilter

from agree import AgreeWarning, deming, passing_bablok
from agree.core.interval.engine import estimate
from agree.estimators.ratios import ratio_of_sums

SECONDS, SD, SLOPE, OFFSET = 3600, 6.0, 0.98, 1.0
TAUS = (5, 60, 300)
NAMES = ("bias", "Deming slope", "Deming intercept", "Passing-Bablok slope", "Passing-Bablok intercept")


def wander(rng: np.random.Generator, tau: float, n: int = SECONDS) -> np.ndarray:
    """Stationary autoregressive series of unit variance."""
    rho = math.exp(-1 / tau)
    noise = rng.normal(0, math.sqrt(1 - rho * rho), n)
    noise[0] = rng.normal()
    return lfilter([1], [1, -rho], noise)


def one(seed: tuple[int, int]) -> list[bool]:
    """Whether each interval covers its true value in one simulated ride."""
    tau, run = seed
    rng = np.random.default_rng([tau, run])
    true = 220 + 60 * wander(rng, 120)
    x = true + SD * wander(rng, tau)
    y = OFFSET + SLOPE * true + SD * wander(rng, tau)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        value, phi = ratio_of_sums(y - x, x)
        bias = estimate(value, phi, level=0.95, sampling="serial")
        straight, robust = (f(x, y, sampling="serial") for f in (deming, passing_bablok))
        lines = [straight.slope, straight.intercept, robust.slope, robust.intercept]
    # The bias of a recording is that of the power ridden in it.
    truth = [(OFFSET + (SLOPE - 1) * true.mean()) / true.mean(), SLOPE, OFFSET, SLOPE, OFFSET]
    return [item.low <= t <= item.high for item, t in zip([bias, *lines], truth, strict=True)]


def table(runs: int, jobs: int, taus: tuple[int, ...] = TAUS) -> dict[tuple[int, str], tuple[float, float]]:
    """Coverage and its Monte-Carlo standard error, both in per cent, for each tau and estimator."""
    result = {}
    with ProcessPoolExecutor(jobs) as pool:
        for tau in taus:
            covered = np.array(list(pool.map(one, [(tau, run) for run in range(runs)], chunksize=20)))
            for name, share in zip(NAMES, covered.mean(axis=0), strict=True):
                result[tau, name] = 100 * share, 100 * math.sqrt(share * (1 - share) / runs)
    return result


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=2)
    arguments = parser.parse_args()
    result = table(arguments.runs, arguments.jobs)
    print(f"Coverage of the 95 % serial interval, {arguments.runs} simulated 1-h rides (± Monte-Carlo SE)\n")
    print("| errors correlated over | " + " | ".join(NAMES) + " |\n|---|" + "---|" * len(NAMES))
    for tau in TAUS:
        cells = " | ".join("{:.1f} % ± {:.1f}".format(*result[tau, name]) for name in NAMES)
        print(f"| {tau} s | {cells} |")


if __name__ == "__main__":
    main()
