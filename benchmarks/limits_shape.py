"""Limits of agreement of few errors that are not normal: coverage of all, and of those that bring no warning.

    python benchmarks/limits_shape.py [--runs N]

20 to 145 independent errors of six shapes; the exact normal interval of the upper limit is set beside the true 97.5 %
quantile of the errors, for all samples and for those in which skewness and kurtosis show nothing (`warn_of_shape`): a
test of shape is too weak a switch. Beside it, `quantile_limits` with tails="usual". Too low: the interval's high end
lies below the quantile, so that the device looks better than it is; 2.5 % is promised. Prints a Markdown table.
"""

from __future__ import annotations

import argparse
import math
import warnings
from collections.abc import Callable

import numpy as np

from agree import AssumptionWarning, limits_of_agreement, quantile_limits

SHARE = 0.975
KINDS: dict[str, Callable[[np.random.Generator, int], np.ndarray]] = {
    "normal": lambda rng, n: rng.normal(size=n),
    "t, 3 df": lambda rng, n: rng.standard_t(3, n),
    "exponential": lambda rng, n: rng.exponential(size=n),
    "5 % five times as large": lambda rng, n: rng.normal(size=n) * np.where(rng.random(n) < 0.05, 5, 1),
    "two groups": lambda rng, n: rng.normal(size=n) + np.where(rng.random(n) < 0.1, 4, 0),
    "whole units, SD 0.7": lambda rng, n: np.round(0.7 * rng.normal(size=n)),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    runs = parser.parse_args().runs
    print(f"Per cent of {runs} runs, Monte-Carlo error {100 * math.sqrt(0.025 * 0.975 / runs):.1f} near 2.5, at most "
          f"{50 / math.sqrt(runs):.1f}\n\n| pairs | errors | warned of | upper limit too low | too low, of those "
          "without a warning | too high | quantile_limits, usual tails: too low | too high |\n"
          "|---:|---|---:|---:|---:|---:|---:|---:|")
    for n in (20, 40, 80, 145):
        for kind, draw in KINDS.items():
            rng = np.random.default_rng([n, len(kind)])
            truth = float(np.quantile(draw(rng, 2_000_000), SHARE))
            told, low, high, other = (np.zeros(runs, bool) for _ in range(4))
            above = np.zeros(runs, bool)
            for k in range(runs):
                error = 256 + draw(rng, n)
                with warnings.catch_warnings(record=True) as seen:
                    warnings.simplefilter("always")
                    upper = limits_of_agreement(np.full(n, 256.0), error).upper
                    safe = quantile_limits(np.full(n, 256.0), error, tails="usual").upper
                told[k] = any(issubclass(item.category, AssumptionWarning) and "normal" in str(item.message)
                              for item in seen)
                low[k], high[k] = upper.high < truth, upper.low > truth
                other[k], above[k] = safe.high < truth, safe.low > truth
            quiet = 100 * low[~told].mean() if (~told).sum() >= 20 else math.nan
            print(f"| {n} | {kind} | {100 * told.mean():.0f} | {100 * low.mean():.1f} | {quiet:.1f} | "
                  f"{100 * high.mean():.1f} | {100 * other.mean():.1f} | {100 * above.mean():.1f} |", flush=True)


if __name__ == "__main__":
    main()
