"""The error that is left after a correction is entered, foretold and come: `Correction.error_left_percent`.

Invented sessions of 15 min as in `correction.py`: a device with a scale of 0.97, or an offset of -6 W, or none, and an
own factor for each session, of the SD stated. Each run finds a correction on some sessions with a step of 0.1 %; where
one is entered, it is tried on 40 further sessions of the same power. `foretold` and `came`: means over the runs that
entered, with Monte-Carlo errors; `ratio` their ratio. `next`: mean size of the next session's error over all runs, with
nothing entered where nothing is advised; `none`: with nothing entered at all.

Adversaries: factors of sessions that are skewed (exponential), heavy-tailed (t of 3 degrees of freedom, scaled to the
SD), sessions of 10 and of 60 min by turns, and a trend (each session lower than the one before by half an SD; the next
one goes on).
"""

from __future__ import annotations

import argparse
import warnings
from collections.abc import Callable

import numpy as np
from correction import NOISE_W, TRUTHS
from numpy.typing import NDArray
from scipy.signal import lfilter

from agree import Pairs
from agree.correction.find import correction
from agree.correction.rules import Rule, apply
from agree.verdict.columns import table

FURTHER = 40
SECONDS = 900
Draw = Callable[[np.random.Generator, int], NDArray[np.float64]]
SHAPES: dict[str, Draw] = {
    "normal": lambda rng, n: rng.normal(size=n),
    "skewed": lambda rng, n: rng.exponential(size=n) - 1,
    "t3": lambda rng, n: rng.standard_t(3, size=n) / np.sqrt(3),
    "unequal": lambda rng, n: rng.normal(size=n),
    "trend": lambda rng, n: rng.normal(size=n),
}


def ride(rng: np.random.Generator, seconds: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Power and the noise of one invented session, W."""
    wave = 220 + 80 * np.sin(np.arange(seconds) / 90 + rng.uniform(0, 6))
    true = np.clip(wave + 15 * lfilter([0.3], [1, -0.9], rng.normal(0, 1, seconds)), 40, None)
    return true, NOISE_W * lfilter([np.sqrt(1 - 0.9**2)], [1, -0.9], rng.normal(0, 1, seconds))


def one(truth: str, shape: str, spread: float, count: int, seed: int) -> tuple[float, float, float]:
    """Return what was foretold (NaN where nothing is entered), what came, and what comes with nothing entered."""
    rng = np.random.default_rng([sorted(TRUTHS).index(truth), list(SHAPES).index(shape), int(10 * spread), count, seed])
    scale, offset = TRUTHS[truth]
    trend = -0.5 * np.arange(count + 1) if shape == "trend" else np.zeros(count + 1)
    own = SHAPES[shape](rng, count) + trend[:count]
    made = []
    for k, off in enumerate(own):
        true, noise = ride(rng, (600, 3600)[k % 2] if shape == "unequal" else SECONDS)
        made.append(Pairs(reference=true, device=scale * (1 + spread / 100 * off) * true + offset + noise))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = correction(table(made, 30), 0.95, 30, step=0.1)
    true, noise = ride(rng, SECONDS)
    ahead = SHAPES[shape](rng, FURTHER) + trend[count]
    entered = found.entered if found.action not in ("none", "refused") else None
    rule = Rule(1.0, 0.0) if entered is None else Rule(entered.scale, entered.offset_w)
    came, plain = (float(np.mean([abs(100 * (apply(
        made_by, scale * (1 + spread / 100 * off) * true + offset + noise).sum() / true.sum() - 1)) for off in ahead]))
        for made_by in (rule, Rule(1.0, 0.0)))
    return (float("nan") if entered is None else found.error_left_percent), came, plain


def row(truth: str, shape: str, spread: float, count: int, runs: range) -> str:
    """Sum up the runs of one case."""
    told, came, plain = np.array([one(truth, shape, spread, count, seed) for seed in runs]).T
    entered = np.isfinite(told)
    n = int(entered.sum())
    cells = [truth, shape, f"{spread:g}", str(count), f"{100 * n / len(told):.0f}"]
    if n > 4:
        t, c = told[entered], came[entered]
        ratio = t.mean() / c.mean()
        error = (t - ratio * c).std() / c.mean() / n**0.5
        cells += [f"{t.mean():.2f}", f"{c.mean():.2f}", f"{ratio:.2f} ± {error:.2f}"]
    else:
        cells += ["-", "-", "-"]
    return "| " + " | ".join([*cells, f"{came.mean():.2f}", f"{plain.mean():.2f}"]) + " |"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="The error left after a correction, foretold and come.")
    parser.add_argument("--runs", type=int, default=20)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--truths", default="scale,offset,none")
    parser.add_argument("--shapes", default="normal")
    parser.add_argument("--spreads", default="0.5,1,1.5")
    parser.add_argument("--counts", default="2,3,4,6")
    options = parser.parse_args()
    print("| truth | sessions' factors | SD, % | sessions | entered, % | foretold, % | came, % | ratio | next, % "
          "| none, % |\n|---|---|" + "---:|" * 8)
    for a in options.truths.split(","):
        for b in options.shapes.split(","):
            for c in options.spreads.split(","):
                for d in options.counts.split(","):
                    print(row(a, b, float(c), int(d), range(options.seed, options.seed + options.runs)), flush=True)
