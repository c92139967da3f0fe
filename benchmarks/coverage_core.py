"""Coverage of the core estimators at 90, 95 and 99 %, independent, serial and between sessions.

    python benchmarks/coverage_core.py [--runs 400] [--jobs 2]

As `coverage.py`, with rides of 30 min; 60 independent pairs; and 8 sessions of 200 s whose scales differ by SD 1 %.
Prints a Markdown table, coverage at 90 / 95 / 99 %.
"""

from __future__ import annotations

import argparse
import math
import warnings
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from coverage import OFFSET, SD, SLOPE, wander

from agree import AgreeWarning, deming, limits_of_agreement, passing_bablok

LEVELS = (0.90, 0.95, 0.99)
CONDITIONS = ("independent", "5 s", "60 s", "300 s", "sessions")
NAMES = ("limits of agreement: bias", "limits of agreement: upper, exact or engine",
         "limits of agreement: upper, approximate", "Deming slope", "Deming intercept", "Passing-Bablok slope",
         "Passing-Bablok intercept")


def data(condition: str, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray | None, str]:
    """Simulate reference and device, session labels and the sampling to ask for."""
    if condition == "independent":
        true, (a, b) = rng.normal(220, 60, 60), SD * rng.normal(size=(2, 60))
        return true + a, OFFSET + SLOPE * true + b, None, "independent"
    if condition == "sessions":
        true, label = rng.normal(220, 60, 1600), np.repeat(np.arange(8), 200)
        own = (0.01 * rng.normal(size=8))[label]
        a, b = SD * rng.normal(size=(2, 1600))
        return true + a, OFFSET + (SLOPE + own) * true + b, label, "sessions"
    tau, n = float(condition.removesuffix(" s")), 1800
    true = 220 + 60 * wander(rng, 120, n)
    return true + SD * wander(rng, tau, n), OFFSET + SLOPE * true + SD * wander(rng, tau, n), None, "serial"


def truths() -> tuple[float, ...]:
    """True bias, upper limit, slope and intercept of the simulation (sessions add to the spread of differences)."""
    bias = OFFSET + (SLOPE - 1) * 220
    return bias, SLOPE, OFFSET


def upper(condition: str) -> float:
    """True upper limit of agreement: bias + 1.96 SD of the differences."""
    own = 0.01 * math.hypot(220, 60) if condition == "sessions" else 0.0
    return truths()[0] + 1.959964 * math.sqrt(2 * SD**2 + ((SLOPE - 1) * 60) ** 2 + own**2)


def one(job: tuple[str, int]) -> list[list[bool | None]]:
    """For each level, whether each interval covers its true value; None where the form does not apply."""
    condition, run = job
    x, y, label, sampling = data(condition, np.random.default_rng([run, CONDITIONS.index(condition)]))
    bias, slope, intercept = truths()
    rows = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        for level in LEVELS:
            options = {"level": level, "sampling": sampling, "session": label}
            limits = limits_of_agreement(x, y, **options)
            rough = limits_of_agreement(x, y, interval="approximate", **options) if label is None else None
            straight, robust = deming(x, y, **options), passing_bablok(x, y, **options)
            items = [(limits.bias, bias), (limits.upper, upper(condition)),
                     (rough.upper if rough and sampling == "independent" else None, upper(condition)),
                     (straight.slope, slope), (straight.intercept, intercept), (robust.slope, slope),
                     (robust.intercept, intercept)]
            rows.append([None if item is None else bool(item.low <= true <= item.high) for item, true in items])
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=400)
    parser.add_argument("--jobs", type=int, default=2)
    arguments = parser.parse_args()
    runs = arguments.runs
    print(f"Coverage at 90 / 95 / 99 %, {runs} runs (Monte-Carlo SE {100 * math.sqrt(0.09 / runs):.1f} / "
          f"{100 * math.sqrt(0.0475 / runs):.1f} / {100 * math.sqrt(0.0099 / runs):.1f})\n")
    print("| interval | " + " | ".join(CONDITIONS) + " |\n|---|" + "---|" * len(CONDITIONS))
    with ProcessPoolExecutor(arguments.jobs) as pool:
        found = {c: list(pool.map(one, [(c, run) for run in range(runs)], chunksize=10)) for c in CONDITIONS}
    for k, name in enumerate(NAMES):
        cells = []
        for condition in CONDITIONS:
            columns = [[rows[i][k] for rows in found[condition]] for i in range(len(LEVELS))]
            cells.append("-" if columns[0][0] is None else " / ".join(
                f"{100 * sum(map(bool, column)) / runs:.1f}" for column in columns))
        print(f"| {name} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    main()
