"""Whether what is promised of repeated measures, of a planned number of pairs and of a folded distribution is kept.

    python benchmarks/repeated_measures.py [--runs N]

`repeated_correlation` (0.6 within subjects), `concordance` over subjects, `repeated_limits` (upper limit): 4 to 30
subjects of 5 pairs. `limits_sample_size`: mean width of the interval of a limit over the width asked for, and the
share of intervals no wider than asked where 80 % were promised. `folded_distribution`: share of later errors beyond its
reach at 2.5 %. Adversaries, each breaking an assumption: subjects of 2 to 12 pairs, errors with t (3 df), errors of a
subject whose neighbours are alike (correlation 0.8), slopes that differ between subjects (SD 0.5), exponential levels,
skewed errors. Prints Markdown.
"""

from __future__ import annotations

import argparse
import math
import warnings
from collections.abc import Callable

import numpy as np

from agree import (
    concordance,
    folded_distribution,
    limits_of_agreement,
    limits_sample_size,
    repeated_correlation,
    repeated_limits,
)

KINDS = ("as assumed", "2 to 12 pairs", "t, 3 df", "neighbours alike", "slopes differ", "exponential levels")
SHAPES: dict[str, Callable[[np.random.Generator, int], np.ndarray]] = {
    "normal": lambda rng, n: rng.normal(size=n),
    "t, 3 df": lambda rng, n: rng.standard_t(3, n) / math.sqrt(3),
    "exponential": lambda rng, n: rng.exponential(size=n) - 1,
    "neighbours alike": lambda rng, n: alike(rng, np.zeros(n, int)),
}
BETWEEN, OWN, OFFSET = 3.0, 1.0, 0.5  # SD of subjects' levels, of their differences; bias
RHO, SLOPE, SCATTER = 0.8, 0.75, 1.0  # 0.75/sqrt(0.75^2 + 1) = 0.6


def alike(rng: np.random.Generator, subject: np.ndarray) -> np.ndarray:
    """Errors of SD 1 whose neighbours in a subject have a correlation of RHO."""
    error = rng.normal(size=subject.size)
    for k in range(1, error.size):
        if subject[k] == subject[k - 1]:
            error[k] = RHO * error[k - 1] + math.sqrt(1 - RHO**2) * error[k]
    return error


def table(rng: np.random.Generator, count: int, kind: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Subject of each pair, what varies within it, and its error."""
    sizes = rng.integers(2, 13, count) if kind == "2 to 12 pairs" else np.full(count, 5)
    subject = np.repeat(np.arange(count), sizes)
    if kind == "neighbours alike":
        return subject, alike(rng, subject), alike(rng, subject)
    return subject, rng.normal(size=subject.size), SHAPES[kind if kind in SHAPES else "normal"](rng, subject.size)


def covered(rng: np.random.Generator, count: int, kind: str) -> list[bool]:
    """Whether the intervals of correlation, concordance and upper limit hold the true values."""
    subject, x, error = table(rng, count, kind)
    slope = SLOPE + (0.5 * rng.normal(size=count)[subject] if kind == "slopes differ" else 0.0)
    levels = rng.exponential(size=count) - 1 if kind == "exponential levels" else rng.normal(size=count)
    level = BETWEEN * levels[subject]
    within = repeated_correlation(level + x, slope * x + SCATTER * error, subject).correlation
    own = OWN * rng.normal(size=count)[subject]
    device = level + x + OFFSET + own + (slope - SLOPE) * x + SCATTER * error
    agreed = concordance(level + x, device, sampling="sessions", session=subject).concordance
    upper = repeated_limits(level + x, device, subject).upper
    differ = 0.25 if kind == "slopes differ" else 0.0  # variance of slopes
    noise = OWN**2 + SCATTER**2 + differ
    spread = BETWEEN**2 + 1
    truths = (SLOPE / math.sqrt(SLOPE**2 + differ + SCATTER**2), 2 * spread / (2 * spread + noise + OFFSET**2),
              OFFSET + 1.959964 * math.sqrt(noise))
    return [item.low <= truth <= item.high for item, truth in zip((within, agreed, upper), truths, strict=True)]


def planned(rng: np.random.Generator, shape: str, runs: int) -> list[float]:
    """Mean width over the one asked for, share no wider than asked (80 % promised), and share beyond a fold."""
    mean, sure = limits_sample_size(width=0.8, sd=1.0).n, limits_sample_size(width=0.8, sd=1.0, chance=0.8).n

    def width(n: int) -> float:
        item = limits_of_agreement(np.full(n, 256.0), 256 + SHAPES[shape](rng, n), interval="exact").upper
        return item.high - item.low

    later, beyond = SHAPES[shape](rng, 200_000), []
    for n in (40, 200):
        ends = [folded_distribution(np.full(n, 256.0), 256 + SHAPES[shape](rng, n)).reach(0.025) for _ in range(runs)]
        beyond.append(100 * float(np.mean([np.mean((later < low) | (later > high)) for low, high in ends[:100]])))
    return [float(np.mean([width(mean) for _ in range(runs)])) / 0.8,
            100 * float(np.mean([width(sure) <= 0.8 for _ in range(runs)])), *beyond]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=400)
    runs = parser.parse_args().runs
    warnings.simplefilter("ignore")
    print(f"Coverage in % of 95, {runs} runs, Monte-Carlo error {100 * (0.95 * 0.05 / runs) ** 0.5:.1f}\n\n"
          "| subjects | condition | repeated_correlation | concordance over subjects | repeated_limits, upper |\n"
          "|---:|---|---:|---:|---:|")
    for count in (4, 5, 10, 30):
        for kind in KINDS:
            rng = np.random.default_rng([count, KINDS.index(kind)])
            shares = 100 * np.mean([covered(rng, count, kind) for _ in range(runs)], axis=0)
            print(f"| {count} | {kind} | " + " | ".join(f"{share:.1f}" for share in shares) + " |", flush=True)
    print("\n| errors | mean width over the one asked for | no wider than asked, 80 % promised | later errors beyond "
          "the fold of 40, % | of 200, % (5 if the share were exact) |\n|---|---:|---:|---:|---:|")
    for shape in SHAPES:
        ratio, *shares = planned(np.random.default_rng(6), shape, runs)
        print(f"| {shape} | {ratio:.3f} | " + " | ".join(f"{share:.1f}" for share in shares) + " |", flush=True)


if __name__ == "__main__":
    main()
