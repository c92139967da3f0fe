"""The claim in every power band: how often a perfect device is told so, and a band at or beyond its limit missed.

    python benchmarks/verdict_bands.py [--runs 300]

45 min on a wandering power, claim ±2 %. Light noise: SD 2 % over 4 s and 0.2 % over 60 s; heavy: 3 % over 3 s.
Sessions differ by an SD common to their bands, and by one of each band. "3 % off": the middle third reads 3 % high.
"at the limit": it reads 2 % high. Adversaries: noise over 300 s, noise six times as large in the lowest band, one
unruly band.
"""

from __future__ import annotations

import argparse
import math
import warnings

import numpy as np
from coverage import wander

from agree import AgreeWarning, Claim, Pairs
from agree.verdict.bands import bands
from agree.verdict.columns import table
from agree.verdict.reference import ReferenceUncertainty

CLAIM, SECONDS = Claim.parse("2 %"), 2700
NOISE = {"light": ((2.0, 4), (0.2, 60)), "heavy": ((3.0, 3),), "slow": ((2.0, 4), (0.8, 300)),
         "uneven": ((2.0, 4),)}
CELLS = [("light", 1, 0.0, 0.0), ("light", 3, 0.3, 0.0), ("light", 3, 0.3, 0.2), ("heavy", 3, 0.8, 0.3),
         ("heavy", 5, 0.8, 0.3), ("slow", 1, 0.0, 0.0), ("slow", 3, 0.3, 0.0), ("uneven", 1, 0.0, 0.0),
         ("uneven", 3, 0.3, 0.0), ("unruly", 3, 0.3, 0.0)]


def ride(rng: np.random.Generator, noise: str, own: float, off: float, band_sd: float) -> Pairs:
    power = np.clip(220 + 60 * wander(rng, 90, SECONDS), 60, None)
    third = np.digitize(power, [195, 245])
    error = sum(sd * wander(rng, tau, SECONDS) for sd, tau in NOISE.get(noise, NOISE["light"]))
    if noise == "uneven":
        error = error * np.where(third == 0, 6.0, 1.0)
    each = band_sd * rng.normal(size=3)
    if noise == "unruly":
        each[1] += 1.0 * rng.normal()
    percent = own + each[third] + off * (third == 1) + error
    return Pairs(reference=power, device=power * (1 + percent / 100))


def share(cell: tuple[str, int, float, float], off: float, runs: int) -> tuple[float, float]:
    """Per cent of "holds" and "does not hold"."""
    noise, sessions, common, band_sd = cell
    rng = np.random.default_rng([sessions, int(10 * common), int(10 * off)])
    edges, exact = np.array([0.0, 195.0, 245.0, 2000.0]), ReferenceUncertainty.parse(None)
    counts = np.zeros(2)
    for _ in range(runs):
        pairs = [ride(rng, noise, common * rng.normal(), off, band_sd) for _ in range(sessions)]
        verdict = bands(table(pairs if sessions > 1 else pairs[0], 1), CLAIM, exact, 0.95, edges)[0].verdict
        counts += verdict == "holds", verdict == "does not hold"
    return tuple(float(value) for value in 100 * counts / runs)  # type: ignore[return-value]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=300)
    runs = parser.parse_args().runs
    warnings.simplefilter("ignore", AgreeWarning)
    print(f"{runs} runs a cell; Monte-Carlo SE at most {50 / math.sqrt(runs):.1f} points, "
          f"{100 * math.sqrt(0.05 * 0.95 / runs):.1f} at 5 %\n")
    print("| noise | sessions | SD common % | SD of a band % | exact: holds % | exact: does not hold % | "
          "3 % off: holds % | 3 % off: does not hold % | at the limit: holds % |")
    print("|---|---|---|---|---:|---:|---:|---:|---:|")
    for cell in CELLS:
        exact, off, limit = (share(cell, size, runs) for size in (0.0, 3.0, 2.0))
        print(f"| {' | '.join(f'{v}' for v in cell)} | {exact[0]:.0f} | {exact[1]:.1f} | {off[0]:.1f} | {off[1]:.0f} | "
              f"{limit[0]:.1f} |", flush=True)


if __name__ == "__main__":
    main()
