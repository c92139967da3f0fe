"""Upper limit of agreement by quantiles below 146 pairs, for errors of many shapes, beside the exact normal interval.

    python benchmarks/far_tail.py [--runs 4000]

Coverage in % of the one-sided upper end (97.5 promised) by `quantile_limits(tails="usual")` and, in brackets, by the
exact normal interval; and the median distance of the end from the median error over that of the normal interval. Shapes
in the first part were not among those that the end was made for; the adversaries have heavier tails than any of those.
"""

from __future__ import annotations

import argparse
import math

import numpy as np
from scipy import stats

from agree.estimators.limits.agreement import exact_limit
from agree.estimators.limits.far_tail import stretch

SIZES = (10, 20, 40, 60, 100, 145)
SHAPES = {
    "normal": stats.norm(), "logistic": stats.logistic(), "t, 4 df": stats.t(4), "gamma 2": stats.gamma(2),
    "Weibull 0.8": stats.weibull_min(0.8), "lognormal 0.8": stats.lognorm(0.8),
    "adversary: t, 2 df": stats.t(2), "adversary: lognormal 1.5": stats.lognorm(1.5),
    "adversary: Cauchy": stats.cauchy(),
}


def cell(name: str, n: int, runs: int) -> str:
    """Coverage of both ends and the ratio of their reaches."""
    law = SHAPES[name]
    rng = np.random.default_rng([n, list(SHAPES).index(name)])
    x = np.sort(law.rvs((runs, n), random_state=rng), axis=1)
    truth, middle = law.ppf(0.975), x[:, (n + 1) // 2 - 1]
    end = middle + stretch(n, 0.975, 0.025) * (x[:, -1] - middle)
    unit = exact_limit(0.0, 1.0, n, stats.norm.ppf(0.975), 0.95).high
    normal = x.mean(axis=1) + unit * x.std(axis=1, ddof=1)
    reach = float(np.median(end - middle) / np.median(normal - middle))
    return f"{100 * float((end >= truth).mean()):.1f} ({100 * float((normal >= truth).mean()):.0f}) {reach:.1f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=4000)
    runs = parser.parse_args().runs
    print(f"{runs} runs, Monte-Carlo error {100 * math.sqrt(0.025 * 0.975 / runs):.2f}\n")
    print("| errors | " + " | ".join(f"n = {n}" for n in SIZES) + " |\n|---|" + "---|" * len(SIZES))
    for name in SHAPES:
        print(f"| {name} | " + " | ".join(cell(name, n, runs) for n in SIZES) + " |", flush=True)


if __name__ == "__main__":
    main()
