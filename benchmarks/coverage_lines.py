"""Coverage of the intervals of lines and bands on simulated rides, with Monte-Carlo error.

    python benchmarks/coverage_lines.py [--runs 500] [--jobs 2]

Conditions: 120 independent pairs; 1-h rides of 1,200 pairs (one every 3 s) with errors correlated over 5, 60 or
300 s (autoregressive); 8 sessions of 150 pairs whose errors have a part of their own per session, of half the error's
variance. Power: mean 220 W, SD 60 W. Both devices have errors of SD 6 W (device: times the slope 0.98); offset 1 W.
Prints Markdown tables: share of intervals that hold the true value, and for what must hold everywhere at once
the share of runs in which all do.
"""

from __future__ import annotations

import argparse
import math
import os
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # one process a core

import numpy as np
from scipy.signal import lfilter

from agree import AgreeWarning, Estimate, bias_by_band, bias_curve, linearity, passing_bablok, variance_ratio, york
from agree.core.interval.engine import t_quantile

SLOPE, OFFSET, SD = 0.98, 1.0, 6.0
EDGES = np.array([-math.inf, 150, 190, 220, 250, 290, math.inf])
CONDITIONS = ("independent", "5 s", "60 s", "300 s", "sessions")
TRUTH = {"slope": SLOPE, "intercept": OFFSET}
Case = dict[str, bool]


def wander(rng: np.random.Generator, tau_steps: float, n: int) -> np.ndarray:
    """Stationary autoregressive series of unit variance."""
    rho = math.exp(-1 / tau_steps)
    noise = rng.normal(0, math.sqrt(1 - rho * rho), n)
    noise[0] = rng.normal()
    return lfilter([1], [1, -rho], noise)


def simulate(rng: np.random.Generator, condition: str) -> tuple[np.ndarray, np.ndarray, np.ndarray, dict]:
    """True power, reference, device, and the sampling options that fit."""
    if condition == "independent":
        true, errors = 220 + 60 * rng.normal(size=120), rng.normal(size=(2, 120))
        options: dict = {"sampling": "independent"}
    elif condition == "sessions":
        session = np.repeat(np.arange(8), 150)
        true = 220 + 60 * wander(rng, 40, 1200)
        errors = math.sqrt(0.5) * (rng.normal(size=(2, 1200)) + rng.normal(size=(2, 8))[:, session])
        options = {"sampling": "sessions", "session": session}
    else:
        tau = float(condition.split()[0]) / 3
        true = 220 + 60 * wander(rng, 40, 1200)
        errors = np.stack([wander(rng, tau, 1200) for _ in range(2)])
        options = {"sampling": "serial"}
    return true, true + SD * errors[0], OFFSET + SLOPE * (true + SD * errors[1]), options


def covers(name: str, item: Estimate, truth: float) -> dict[str, bool]:
    return {name: bool(item.low <= truth <= item.high)}


def case_lines(rng: np.random.Generator, condition: str, level: float) -> Case:
    """Slopes and intercepts."""
    _, x, y, options = simulate(rng, condition)
    options = {**options, "level": level}
    u = {"u_reference": SD, "u_device": SD * SLOPE}
    lines = {"York": york(x, y, **u, **options), "Passing-Bablok": passing_bablok(x, y, **options),
             "equivariant": passing_bablok(x, y, equivariant=True, **options)}
    if condition == "independent":
        lines["York, scaled"] = york(x, y, **u, scaled=True, **options)
    return {f"{name} {part}": hit for name, line in lines.items() for part, truth in TRUTH.items()
            for hit in covers("", getattr(line, part), truth).values()}


def case_groups(rng: np.random.Generator, condition: str, level: float) -> Case:
    """Passing-Bablok without slopes inside a group: 12 blocks of steady power."""
    true, x, y, options = simulate(rng, condition)
    group = np.arange(x.size) * 12 // x.size
    move = rng.uniform(100, 350, 12)[group] - true
    slope = passing_bablok(x + move, y + SLOPE * move, group=group, level=level, **options).slope
    return covers("Passing-Bablok by groups, slope", slope, SLOPE)


def case_bands(rng: np.random.Generator, condition: str, level: float) -> Case:
    """Bands by the true level: one at a time, all at once by the joint law and by Sidak's level, and pooled."""
    true, x, y, options = simulate(rng, condition)
    result = bias_by_band(x, y, edges=EDGES, by=true, scale="difference", joint=True, pool=True, level=level, **options)
    hit, alone, pooled, sidak = [], [], [], []
    for band in result.bands:
        inside = (true >= band.low) & (true < band.high)
        if not inside.any() or not math.isfinite(band.bias.low):
            continue
        truth = OFFSET + (SLOPE - 1) * float(true[inside].mean())
        wide = t_quantile(level ** (1 / len(result.bands)), band.bias.df) * band.bias.standard_error
        hit.append(band.joint.low <= truth <= band.joint.high)
        sidak.append(abs(band.bias.value - truth) <= wide)
        alone.append(band.bias.low <= truth <= band.bias.high)
        pooled.append(band.pooled is None or band.pooled.low <= truth <= band.pooled.high)
    pick = int(rng.integers(len(alone)))  # one band a run, so that runs are independent
    return {"band alone": bool(alone[pick]), "bands, joint": all(hit), "bands, Sidak": all(sidak),
            "band pooled": bool(pooled[pick])}


def case_curve(rng: np.random.Generator, condition: str, level: float) -> Case:
    """Curve by the true level, whose error is straight in it."""
    true, x, y, options = simulate(rng, condition)
    curve = bias_curve(x, y, by=true, scale="difference", level=level, **options)
    truth = OFFSET + (SLOPE - 1) * curve.at
    inside = (curve.low <= truth) & (truth <= curve.high)
    return {"curve, one place": bool(inside[int(rng.integers(truth.size))]),
            "curve, joint": bool(((curve.joint_low <= truth) & (truth <= curve.joint_high)).all())}


def case_linearity(rng: np.random.Generator, condition: str, level: float) -> Case:
    """Share of runs in which no bend is found in what is a line."""
    _, x, y, options = simulate(rng, condition)
    return {"linearity not rejected": linearity(x, y, **options).p_value >= 1 - level}


def case_ratio(rng: np.random.Generator, condition: str, level: float) -> Case:
    """Ratio of error variances from 12 steady blocks."""
    true, x, y, options = simulate(rng, condition)
    ex, ey = ((v - o).reshape(12, -1) for v, o in ((x, true), (y, OFFSET + SLOPE * true)))
    session = options.pop("session", None)
    labels = None if session is None else np.arange(12) * 8 // 12
    return covers("variance ratio", variance_ratio(ex, ey, level=level, session=labels, **options).ratio, SLOPE**2)


def cases() -> Iterator[Callable[[np.random.Generator, str, float], Case]]:
    yield from (case_lines, case_groups, case_bands, case_curve, case_linearity, case_ratio)


def one(seed: tuple[str, int, float]) -> Case:
    """All cases in one simulated recording."""
    condition, run, level = seed
    rng = np.random.default_rng([2004, CONDITIONS.index(condition), run])
    found: Case = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)
        for case in cases():
            found |= case(rng, condition, level)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--levels", type=float, nargs="+", default=[0.95])
    arguments = parser.parse_args()
    with ProcessPoolExecutor(arguments.jobs) as pool:
        for level in arguments.levels:
            table: dict[str, dict[str, float]] = {}
            for condition in CONDITIONS:
                runs = list(pool.map(one, [(condition, k, level) for k in range(arguments.runs)], chunksize=10))
                for name in runs[0]:
                    table.setdefault(name, {})[condition] = 100 * float(np.mean([run[name] for run in runs]))
            error = 100 * math.sqrt(level * (1 - level) / arguments.runs)
            print(f"\nCoverage in per cent, nominal {100 * level:g}, {arguments.runs} runs, "
                  f"Monte-Carlo SE {error:.1f}\n")
            print("| | " + " | ".join(CONDITIONS) + " |\n|---|" + "---|" * len(CONDITIONS))
            for name, row in table.items():
                cells = " | ".join(f"{row[c]:.1f}" if c in row else "-" for c in CONDITIONS)
                print(f"| {name} | {cells} |")


if __name__ == "__main__":
    main()
