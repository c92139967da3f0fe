"""Tables of trials as they come: few or many subjects, unequal trials, proportional errors, coarse readings; plans.

At the border the truth, before any rounding, is exactly at the limit, so that every "holds" and every "does not hold"
is wrong. Each row pools 12 cells: 4, 10, 25 and 60 subjects with 1, 6 or 1 to 6 trials; half with errors that grow
with the level and a claim in per cent. `step`: the step of both readings over the SD of errors. The third part is the
adversary of rounding: readings whose true values all lie at one place of the step, errors that are nearly alike.

    python benchmarks/trials_odd.py --runs 60 [--part apart|border|alike|plan] [--seed 31]
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray
from trials import Array, draw

from agree import plan_trials
from agree.core.quantities.known import plain
from agree.trials import meanings
from agree.trials.doubts.far_off import far_off
from agree.trials.doubts.withheld import few_subjects
from agree.trials.meanings import TrialMeaning
from agree.trials.scaled import ScaledErrors, scaled_errors
from agree.trials.trials import Trials
from agree.verdict.claim import Claim
from agree.verdict.error_distribution import EXACT

LEVEL = 0.95
SHAPES = ["normal", "lognormal", "t3"]
SUBJECTS, EACH = (4, 10, 25, 60), ("1", "6", "1-6")
ASKED: dict[str, Callable[[ScaledErrors], TrialMeaning]] = {
    "average": lambda s: meanings.average(s, LEVEL, EXACT),
    "levels": lambda s: meanings.levels(s, meanings.line_of(s, LEVEL, EXACT)),
    "readings": lambda s: meanings.readings(s, LEVEL, EXACT, "nothing"),
    "mean absolute": lambda s: meanings.mean_absolute(s, LEVEL, EXACT)}


def numbers(kind: str, subjects: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Subject of each trial."""
    sizes = rng.integers(1, 7, subjects) if kind == "1-6" else np.full(subjects, int(kind))
    return np.repeat(np.arange(subjects), sizes)


def on_grid(values: Array, step: float) -> Array:
    """Round to a step; 0 leaves them."""
    return np.round(values / step) * step if step else values


def study(x: Array, y: Array, index: NDArray[np.intp], limit: float, *, percent: bool = False) -> ScaledErrors:
    """Errors on the scale of a claim in cm or per cent."""
    trials = Trials(reference=x, device=y, subject=index, quantity=plain("cm"),
                    subjects=tuple(map(str, range(int(index.max()) + 1))))
    claim = (Claim(text="%", percent=limit, absolute=None, above=None, absolute_unit="") if percent else
             Claim(text="cm", percent=None, absolute=limit, above=None, absolute_unit="cm"))
    return scaled_errors(trials, claim)


def limits_of(shape: str, bias: float) -> dict[str, float]:
    """Limit at which each meaning is just true, of errors with SD 1 between subjects and within, from a million."""
    rng = np.random.default_rng(1)
    error = bias + draw(shape, 1_000_000, rng) + draw(shape, 1_000_000, rng)
    return {"average": bias, "levels": bias, "readings": float(np.quantile(np.abs(error), 0.95)),
            "mean absolute": float(np.abs(error).mean())}


def border(runs: int, rng: np.random.Generator) -> Iterator[str]:
    """Wrong answers at the border, per cent, holds / does not hold, and the most wrong "holds" of a cell."""
    yield "| errors | step | " + " | ".join(f"{name} | worst" for name in ASKED) + " |"
    yield "|" + "---|" * (2 + 2 * len(ASKED))
    for shape in SHAPES:
        limits = limits_of(shape, 2.0)
        for step in (0.0, 0.3, 1.0, 3.0):
            wrong = {name: np.zeros((len(SUBJECTS) * len(EACH), 2)) for name in ASKED}
            for cell in range(len(SUBJECTS) * len(EACH)):
                subjects, kind, percent = SUBJECTS[cell // len(EACH)], EACH[cell % len(EACH)], cell % 2 == 1
                for _ in range(runs):
                    index = numbers(kind, subjects, rng)
                    level = 100 * np.exp(0.2 * rng.normal(size=subjects))[index]
                    level = level * (1 + 0.02 * rng.normal(size=index.size))
                    error = 2.0 + draw(shape, subjects, rng)[index] + draw(shape, index.size, rng)
                    x, y = level, level + error * (level / 100 if percent else 1.0)
                    x, y = (on_grid(values, step * math.sqrt(2)) for values in (x, y))
                    for name, answer in ASKED.items():
                        made = study(x, y, index, limits[name], percent=percent)
                        said = few_subjects(answer(made), made).verdict
                        wrong[name][cell] += (said == "holds", said == "does not hold")
            cells = [f"{100 * w[:, 0].mean() / runs:.1f} / {100 * w[:, 1].mean() / runs:.1f} | "
                     f"{100 * w[:, 0].max() / runs:.0f}" for w in wrong.values()]
            yield f"| {shape} | {step:g} | " + " | ".join(cells) + " |"


def alike(runs: int, rng: np.random.Generator) -> Iterator[str]:
    """Readings in whole cm whose true reference is whole too: the mean error is at the limit, holds / does not hold."""
    yield "| subjects | trials | SD, cm | " + " | ".join(
        f"{name}, {mean:g} cm" for name in ("average", "levels", "mean absolute") for mean in (0.35, 0.45, 1.3))
    yield "|" + "---|" * 12
    for subjects, each in ((8, 3), (20, 2), (40, 3)):
        for sd in (0.05, 0.1, 0.2, 0.3, 0.5, 1.0):
            cells = []
            for name in ("average", "levels", "mean absolute"):
                for mean in (0.35, 0.45, 1.3):
                    sample = mean + sd * math.sqrt(2) * np.random.default_rng(1).normal(size=200_000)
                    limit = float(np.abs(sample).mean()) if name == "mean absolute" else mean
                    said = []
                    for _ in range(runs):
                        index = np.repeat(np.arange(subjects), each)
                        x = np.round(rng.normal(40, 6, subjects))[index] + rng.integers(-3, 4, index.size)
                        own = sd * (rng.normal(size=subjects)[index] + rng.normal(size=index.size))
                        y = np.round(x + mean + own)
                        said.append(ASKED[name](study(x, y, index, limit)).verdict)
                    cells.append(f"{100 * said.count('holds') / runs:.0f} / "
                                 f"{100 * said.count('does not hold') / runs:.0f}")
            yield f"| {subjects} | {each} | {sd:g} | " + " | ".join(cells) + " |"


def plans(runs: int, rng: np.random.Generator) -> Iterator[str]:
    """Share of studies with the number planned for 80 % that hold, in each meaning, errors normal, limit 2 cm."""
    yield "| SD between, within, error | trials | meaning | rule | subjects | held, % |\n|---|---|---|---|---|---|"
    for between, within, error in ((0.4, 0.5, 0.0), (0.4, 0.5, 0.8), (0.6, 0.2, 0.8), (0.2, 0.7, 0.0)):
        for each in (1, 3, 5):
            planned = plan_trials("2 cm", subject_sd=between, trial_sd=within, trials=each, true_error=error)
            for row in planned.rows:
                if row.subjects is None:
                    continue
                held, index = 0, np.repeat(np.arange(row.subjects), each)
                for _ in range(runs):
                    x = rng.normal(40, 6, row.subjects)[index]
                    own = between * rng.normal(size=row.subjects)[index] + within * rng.normal(size=index.size)
                    y = x + error + own
                    made = study(x, y, index, 2.0)
                    found = (ASKED[row.meaning](made) if row.meaning in ASKED else
                             meanings.next_subject(made, LEVEL, EXACT, each, "nothing"))
                    held += found.verdict == "holds"
                yield (f"| {between:g}, {within:g}, {error:g} | {each} | {row.meaning} | {row.rule} | {row.subjects} | "
                       f"{100 * held / runs:.1f} |")


def apart(runs: int, rng: np.random.Generator) -> Iterator[str]:
    """Share of studies in which trials are named as far apart, %: as they are (adversary: tails), slips, zeros."""
    slips: dict[str, Callable[[Array], Array]] = {
        "as they are": lambda y: y, "one digit doubled": lambda y: 10 * y + y % 10, "point lost": lambda y: 10 * y,
        "last two digits exchanged": lambda y: 10 * (y % 10) + y // 10, "zero": lambda y: 0 * y}
    yield "| errors | subjects | " + " | ".join(slips) + " |\n|" + "---|" * (2 + len(slips))
    for shape in ("normal", "lognormal", "t3"):
        for subjects in (10, 20, 60):
            index, found = np.repeat(np.arange(subjects), 3), dict.fromkeys(slips, 0)
            for _ in range(runs):
                x = rng.normal(40, 8, subjects)[index] + rng.normal(size=index.size)
                y = x + draw(shape, subjects, rng)[index] + draw(shape, index.size, rng)
                one = int(rng.integers(index.size))
                for name, slip in slips.items():
                    given = y.copy()
                    given[one] = slip(np.round(given[one]))
                    found[name] += bool(far_off(study(x, given, index, 2.0))[one] if name != "as they are" else
                                        far_off(study(x, y, index, 2.0)).any())
            yield f"| {shape} | {subjects} | " + " | ".join(f"{100 * k / runs:.1f}" for k in found.values()) + " |"


PARTS = {"apart": apart, "border": border, "alike": alike, "plan": plans}


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=60)
    parser.add_argument("--part", choices=PARTS, action="append")
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--shape", choices=tuple(SHAPES), help="of the errors at the border, if not all")
    options = parser.parse_args()
    SHAPES[:] = [options.shape] if options.shape else SHAPES
    one = 100 * math.sqrt(0.025 * 0.975 / options.runs)
    print(f"{options.runs} runs a cell, seed {options.seed}; Monte-Carlo error {one:.1f} at 2.5 % in a cell, "
          f"{one / math.sqrt(12):.1f} in a pooled row, "
          f"{100 * math.sqrt(0.16 / options.runs):.1f} at 80 %")
    for name in options.part or PARTS:
        began = time.perf_counter()
        print(f"\n## {name}\n\n{PARTS[name].__doc__}\n")
        for line in PARTS[name](options.runs, np.random.default_rng(options.seed)):
            print(line, flush=True)
        print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
