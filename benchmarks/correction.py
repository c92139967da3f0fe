"""How often the right correction is advised, and what is left of the error in a session it was not found on.

Run: python benchmarks/correction.py [--runs 100] [--seconds 1500]
Sessions are invented: 100 to 340 W, a device with a scale, an offset, an own factor for each session (normal, SD as
stated) and noise of 4 W that is correlated over about 10 s. Each run finds a correction on some sessions, enters it in
steps of 0.1 % as advised, and looks at one further session at three quarters of the power. Nothing is entered where
none is advised or where it is refused. `worse`: share of the entered corrections that make the mean error of the
further session larger; `foretold`: mean error on data left out, as the result states it, and `came` what came of these
corrections. `if all entered` takes the refused ones too.
"""

from __future__ import annotations

import argparse
import time
import warnings
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from typing import NamedTuple

import numpy as np
from scipy.signal import lfilter

from agree import Pairs, find_correction
from agree.correction.rules import Rule, apply

TRUTHS = {"none": (1.0, 0.0), "scale": (0.97, 0.0), "offset": (1.0, -6.0), "scale and offset": (0.97, -6.0)}
NOISE_W = 4.0
EASIER = 0.75     # power of the further session, so that a wrong kind of correction shows
SPREADS = (0.0, 0.5, 1.0, 1.5)
COUNTS = (1, 2, 3, 4, 6)


class Run(NamedTuple):
    """Outcome of one run; errors are of the further session, per cent, without sign."""

    action: str
    before: float
    after: float
    entered: float
    foretold: float


def session(rng: np.random.Generator, truth: str, spread: float, seconds: int, effort: float = 1.0) -> Pairs:
    """One invented session with a factor of its own."""
    scale, offset = TRUTHS[truth]
    wave = 220 + 80 * np.sin(np.arange(seconds) / 90 + rng.uniform(0, 6))
    true = np.clip(wave + 15 * lfilter([0.3], [1, -0.9], rng.normal(0, 1, seconds)), 40, None)
    true *= effort
    error = NOISE_W * lfilter([np.sqrt(1 - 0.9**2)], [1, -0.9], rng.normal(0, 1, seconds))
    return Pairs(reference=true, device=scale * (1 + spread / 100 * rng.normal()) * true + offset + error)


def one(case: tuple[str, float, int, int, int]) -> Run:
    """Find a correction and try it on a further session."""
    truth, spread, count, seconds, seed = case
    rng = np.random.default_rng([sorted(TRUTHS).index(truth), int(10 * spread), count, seed])
    new = session(rng, truth, spread, seconds, EASIER)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = find_correction([session(rng, truth, spread, seconds) for _ in range(count)], step=0.1)

    def error(scale: float = 1.0, offset: float = 0.0) -> float:
        made = apply(Rule(scale, offset), new.device)
        return float(abs(100 * (made.sum() / new.reference.sum() - 1)))

    before = error()
    entered = before if found.entered is None else error(found.entered.scale, found.entered.offset_w)
    advised = found.action not in ("none", "refused")
    foretold = float("nan") if found.after is None else found.after.after_percent
    return Run(found.action, before, entered if advised else before, entered, foretold)


def rows(runs: int, seconds: int) -> Iterator[str]:
    """Lines of a Markdown table."""
    yield ("| truth | session SD, % | sessions | none | scale | offset | both | refused | before, % | after, % | worse "
           "| foretold, % | came, % | if all entered, % | worse |")
    yield "|---|" + "---:|" * 14
    with ProcessPoolExecutor(2) as pool:
        for truth in TRUTHS:
            for spread in SPREADS:
                for count in COUNTS:
                    cases = [(truth, spread, count, seconds, seed) for seed in range(runs)]
                    yield row(truth, spread, count, list(pool.map(one, cases, chunksize=10)))


def row(truth: str, spread: float, count: int, done: list[Run]) -> str:
    """Sum up the runs of one case."""
    actions = [100 * sum(run.action == name for run in done) / len(done)
               for name in ("none", "scale", "offset", "scale and offset", "refused")]
    advised = [run for run in done if run.action not in ("none", "refused")]
    tried = [run for run in done if run.action != "none"]

    def mean(values: list[float], form: str = ".2f") -> str:
        return format(float(np.mean(values)), form) if values else "-"

    cells = [truth, f"{spread:g}", str(count), *(f"{share:.0f}" for share in actions),
             mean([run.before for run in done]), mean([run.after for run in done]),
             mean([float(run.after > run.before) for run in advised], ".0%"),
             mean([run.foretold for run in advised]), mean([run.after for run in advised]),
             mean([run.entered for run in done]), mean([float(run.entered > run.before) for run in tried], ".0%")]
    return "| " + " | ".join(cells) + " |"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Corrections on sessions they were not found on.")
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--seconds", type=int, default=1500)
    options = parser.parse_args()
    begin = time.perf_counter()
    for line in rows(options.runs, options.seconds):
        print(line, flush=True)
    print(f"\n{options.runs} runs a row, {options.seconds} s a session, {time.perf_counter() - begin:.0f} s")
