"""Limits of agreement of few errors that are not normal: how often their intervals hold the true quantiles.

    python benchmarks/limits_shape.py [--runs N] [--pairs 20 40 80 145]

Independent errors of shapes for which the robust interval was made ("made for"), of others of no heavier tails, and of
adversaries whose tails are heavier than any of them or that lie in groups or in steps. Each limit's interval is set
beside the true 2.5 or 97.5 % quantile of the errors. Beyond: the outer end lies short of the quantile, so that the
device looks better than it is; within: the inner end lies beyond it; 2.5 % each are promised. Beside it, the same of
the upper limit's exact normal interval, for all samples and for those in which skewness and kurtosis show nothing
(`warn_of_shape`): a test of shape is too weak a switch. Last, how far the robust outer end lies from the bias, and how
wide the interval is, over those of the exact one (medians). Prints a Markdown table.
"""

from __future__ import annotations

import argparse
import math
import warnings
from collections.abc import Callable
from typing import Literal

import numpy as np

from agree import LimitsOfAgreement, limits_of_agreement

SHARE = 0.975
KINDS: dict[str, Callable[[np.random.Generator, int], np.ndarray]] = {
    "normal": lambda rng, n: rng.normal(size=n),
    "uniform": lambda rng, n: rng.random(n),
    "t, 3 df": lambda rng, n: rng.standard_t(3, n),
    "exponential": lambda rng, n: rng.exponential(size=n),
    "lognormal 0.5": lambda rng, n: np.exp(0.5 * rng.normal(size=n)),
    "not made for: t, 5 df": lambda rng, n: rng.standard_t(5, n),
    "not made for: gamma 2": lambda rng, n: rng.gamma(2, size=n),
    "not made for: 5 % five times as large": lambda rng, n: rng.normal(size=n) * np.where(rng.random(n) < 0.05, 5, 1),
    "not made for: 10 % three times as large": lambda rng, n: rng.normal(size=n) * np.where(rng.random(n) < 0.1, 3, 1),
    "adversary: lognormal 1": lambda rng, n: np.exp(rng.normal(size=n)),
    "adversary: t, 2 df": lambda rng, n: rng.standard_t(2, n),
    "adversary: two groups": lambda rng, n: rng.normal(size=n) + np.where(rng.random(n) < 0.1, 4, 0),
    "adversary: whole units, SD 0.7": lambda rng, n: np.round(0.7 * rng.normal(size=n)),
}


def limits(error: np.ndarray, interval: Literal["robust", "exact"]) -> tuple[LimitsOfAgreement, bool]:
    """Limits of the errors, and whether their shape was warned of."""
    with warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        found = limits_of_agreement(np.full(error.size, 256.0), 256 + error, interval=interval)
    return found, any("not normal" in str(item.message) for item in seen)


def row(n: int, kind: str, runs: int) -> str:
    """One row of the table."""
    draw, rng = KINDS[kind], np.random.default_rng([n, list(KINDS).index(kind)])
    least, most = np.quantile(draw(np.random.default_rng(1), 4_000_000), [1 - SHARE, SHARE])
    told, reach, width, miss = np.zeros(runs, bool), np.zeros(runs), np.zeros(runs), np.zeros((6, runs), bool)
    for k in range(runs):
        error = draw(rng, n)
        (safe, told[k]), (exact, _) = limits(error, "robust"), limits(error, "exact")
        up, low, normal = safe.upper, safe.lower, exact.upper
        miss[:, k] = (up.high < most, up.low > most, low.low > least, low.high < least, normal.high < most,
                      normal.low > most)
        reach[k] = (up.high - safe.bias.value) / (normal.high - safe.bias.value)
        width[k] = (up.high - up.low) / (normal.high - normal.low)
    rates = " | ".join(f"{100 * share:.1f}" for share in miss.mean(axis=1))
    quiet = f"{100 * miss[4, ~told].mean():.0f}" if (~told).sum() >= 20 else "-"
    return (f"| {n} | {kind} | {100 - 100 * miss[:2].any(axis=0).mean():.1f} | "
            f"{100 - 100 * miss[2:4].any(axis=0).mean():.1f} | {rates} | {quiet} | {np.median(reach):.2f} | "
            f"{np.median(width):.2f} |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--pairs", type=int, nargs="+", default=[20, 40, 80, 145])
    arguments = parser.parse_args()
    runs = arguments.runs
    print(f"Per cent of {runs} runs, Monte-Carlo error {100 * math.sqrt(0.05 * 0.95 / runs):.1f} of a coverage of 95, "
          f"{100 * math.sqrt(0.025 * 0.975 / runs):.1f} of a side\n\n| pairs | errors | upper covered | "
          "lower covered | upper beyond | within | lower beyond | within | exact upper beyond | within | beyond, of "
          "those that show nothing | reach | width |\n|---:|---|" + 11 * "---:|")
    for n in arguments.pairs:
        for kind in KINDS:
            print(row(n, kind, runs), flush=True)


if __name__ == "__main__":
    main()
