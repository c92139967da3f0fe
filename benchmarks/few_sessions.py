"""Coverage of lines over few sessions, each with an offset and a slope of its own.

    python benchmarks/few_sessions.py [--runs N]

4, 6 and 10 sessions of 40 to 160 pairs (offset SD 3 W, slope SD 0.02, noise 4 W, 100 to 300 W). Adversaries: one
session of 180 to 220 W, which tells of no slope; and one eight times as long as the others. Prints a Markdown table
with the median width beside the coverage.
"""

from __future__ import annotations

import argparse
import warnings

import numpy as np

from agree import deming, passing_bablok, regression_limits

KINDS = ("alike", "one hardly ranges", "one long")


def study(rng: np.random.Generator, count: int, kind: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Reference, device, session."""
    size = rng.integers(40, 160, count)
    if kind == "one long":
        size[0] = 800
    label = np.repeat(np.arange(count), size)
    level = rng.uniform(100, 300, label.size)
    if kind == "one hardly ranges":
        level[label == 0] = rng.uniform(180, 220, size[0])
    own = rng.normal(0, 3, count)[label] + rng.normal(0, 0.02, count)[label] * (level - 200)
    return level, level + own + rng.normal(0, 4, label.size), label


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=400)
    runs = parser.parse_args().runs
    warnings.simplefilter("ignore")
    print(f"Coverage in % of 95, {runs} runs, Monte-Carlo error {100 * (0.95 * 0.05 / runs) ** 0.5:.1f}; in brackets "
          "the median width\n")
    print("| sessions | condition | regression_limits, slope | its bias at 200 W | least squares as Deming's limit | "
          "passing_bablok |\n|---:|---|---:|---:|---:|---:|")
    for count in (4, 6, 10):
        for kind in KINDS:
            rng, hits, widths = np.random.default_rng(5), np.zeros(4), []
            for _ in range(runs):
                x, y, label = study(rng, count, kind)
                lines = {"sampling": "sessions", "session": label}
                limits = regression_limits(x, y, against="reference", **lines)
                items = (limits.slope, limits.at(200).bias, deming(x, y, error_variance_ratio=1e9, **lines).slope,
                         passing_bablok(x, y, **lines).slope)
                hits += [item.low <= true <= item.high for item, true in zip(items, (0, 0, 1, 1), strict=True)]
                widths.append([item.high - item.low for item in items])
            cells = " | ".join(f"{100 * hit / runs:.1f} ({width:.3g})"
                               for hit, width in zip(hits, np.median(widths, axis=0), strict=True))
            print(f"| {count} | {kind} | {cells} |", flush=True)


if __name__ == "__main__":
    main()
