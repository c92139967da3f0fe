"""Tables of trials: coverage of bias, SD and limits, and wrong answers of each meaning at the border.

At the border the truth is exactly at the limit, so that every "holds" and every "does not hold" is wrong. Adversaries:
lognormal errors (skewness 3.7), t with 3 degrees of freedom, 4 % wild readings, a spread that grows with the level, and
subjects with 1 or 20 trials.

    python benchmarks/trials.py --runs 500 [--part coverage|average|readings|next|levels]
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core import thresholds
from agree.core.interval.engine import t_quantile
from agree.core.quantities.known import plain
from agree.estimators.trials.skewed_mean import hall_ends
from agree.estimators.trials.unweighted import mean_error, spread_and_limits, subject_errors
from agree.trials import meanings
from agree.trials.meanings import TrialMeaning
from agree.trials.scaled import ScaledErrors, scaled_errors
from agree.trials.trials import Trials
from agree.verdict.claim import Claim
from agree.verdict.error_distribution import EXACT

Array = NDArray[np.float64]
LEVEL = 0.95
SHAPES = ("normal", "lognormal", "t3", "wild")
SIGMA = 0.8326  # of a lognormal whose skewness is 3.7


def sizes(kind: str, subjects: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Numbers of trials: "3" for all, "1-5" at random, "1 or 20" (a quarter have 20, at least one)."""
    if kind == "1-5":
        return rng.integers(1, 6, subjects)
    if kind == "1 or 20":
        return np.where(np.arange(subjects) < max(1, subjects // 4), 20, 1)
    return np.full(subjects, int(kind))


def draw(shape: str, count: int, rng: np.random.Generator) -> Array:
    """Deviates of mean 0 and SD 1."""
    if shape == "lognormal":
        mean, second = math.exp(SIGMA**2 / 2), math.exp(2 * SIGMA**2)
        return np.asarray((np.exp(SIGMA * rng.normal(size=count)) - mean) / math.sqrt(second - mean**2))
    if shape == "t3":
        return np.asarray(rng.standard_t(3, count) / math.sqrt(3))
    own = rng.normal(size=count)
    if shape == "wild":
        own = np.where(rng.random(count) < 0.04, 5 * own, own) / math.sqrt(0.96 + 0.04 * 25)
    return np.asarray(own)


def study(shape: str, subjects: int, kind: str, between: float, within: float, rng: np.random.Generator,
          cv_level: float = 0.0) -> tuple[Array, NDArray[np.intp], Array]:
    """Errors, subjects and levels of one study; with `cv_level` the spread grows with the level."""
    index = np.repeat(np.arange(subjects), sizes(kind, subjects, rng))
    level = 100 * np.exp(cv_level * rng.normal(size=subjects)) if cv_level else np.full(subjects, 100.0)
    error = between * draw(shape, subjects, rng)[index] + within * draw(shape, index.size, rng)
    return error * level[index] / 100, index, level[index]


def trials_of(error: Array, index: NDArray[np.intp], level: Array) -> Trials:
    """Return the study as trials whose reference is the level itself."""
    return Trials(reference=level, device=level + error, subject=index, quantity=plain("cm"),
                  subjects=tuple(map(str, range(int(index.max()) + 1))))


def scaled(error: Array, index: NDArray[np.intp], level: Array, limit: float) -> ScaledErrors:
    """Return the errors on the scale of a claim in cm."""
    claim = Claim(text=f"±{limit:.4g} cm", percent=None, absolute=limit, above=None, absolute_unit="cm")
    return scaled_errors(trials_of(error, index, level), claim)


def coverage(runs: int, rng: np.random.Generator) -> Iterator[str]:
    """Coverage of bias, SD and upper limit."""
    yield "| subjects | trials | SD between/within | bias | SD | upper limit |\n|---|---|---|---|---|---|"
    least = [100.0] * 3
    for subjects in (8, 15, 24, 40):
        for kind in ("3", "1-5", "1 or 20"):
            for ratio in (0.0, 1.0, 3.0):
                truth = math.hypot(ratio, 1)
                upper = 1.959964 * truth
                hits = np.zeros(3)
                for _ in range(runs):
                    error, index, _level = study("normal", subjects, kind, ratio, 1.0, rng)
                    found = subject_errors(error, index)
                    bias = mean_error(found, LEVEL)
                    sd, _, high = spread_and_limits(found, bias, 0.95, LEVEL)
                    for k, (item, true) in enumerate(((bias, 0.0), (sd, truth), (high, upper))):
                        hits[k] += item.low <= true <= item.high
                shown = 100 * hits / runs
                least = [min(a, b) for a, b in zip(least, shown, strict=True)]
                yield f"| {subjects} | {kind} | {ratio:g} | " + " | ".join(f"{value:.1f}" for value in shown) + " |"
    yield "| all | least | | " + " | ".join(f"{value:.1f}" for value in least) + " |"


def answers(items: list[TrialMeaning]) -> str:
    """Share of "holds" and of "does not hold", per cent."""
    said = [item.verdict for item in items]
    return " / ".join(f"{100 * said.count(word) / len(said):.1f}" for word in ("holds", "does not hold"))


CELLS = ((8, "3"), (15, "1"), (15, "3"), (15, "1 or 20"), (40, "1"), (40, "3"), (40, "1 or 20"), (80, "1"), (80, "3"))


def border_average(runs: int, rng: np.random.Generator) -> Iterator[str]:
    """The mean error is exactly the limit, on the side to which the errors are skewed, and on the other."""
    yield "| subjects | trials | " + " | ".join((*SHAPES, "lognormal, other side")) + " |\n|" + "---|" * 7
    for subjects, kind in CELLS:
        cells = []
        for shape, side in (*((shape, 1) for shape in SHAPES), ("lognormal", -1)):
            found = []
            for _ in range(runs):
                error, index, level = study(shape, subjects, kind, 1.0, 1.0, rng)
                found.append(meanings.average(scaled(side * error + 2.0, index, level, 2.0), LEVEL, EXACT))
            cells.append(answers(found))
        yield f"| {subjects} | {kind} | " + " | ".join(cells) + " |"


def skew(runs: int, rng: np.random.Generator) -> Iterator[str]:
    """Wrong "holds" for the mean error of skewed errors: by t alone, as decided, and without a warning; one trial each.

    `width`: of what decides over t's interval, median. `needed`: times what decides that the mean leaves in 2.5 % of
    studies; `asked`: what an answer must stand to go unwarned. At least 20,000 studies a row, since they are cheap.
    """
    many = max(runs, 20_000)
    yield ("| errors | subjects | t alone, % | decided, % | unwarned, % | width | times needed | times asked |\n"
           "|---|---|---|---|---|---|---|---|")
    for name, sigma in (("normal", 0.0), ("lognormal, skewness 2.3", 0.6), ("lognormal, 4.4", 0.85),
                        ("lognormal, 6.2", 1.0), ("exponential, 2", -1.0)):
        for subjects in (4, 6, 8, 12, 20, 40, 100):
            size = (many, subjects)
            if sigma > 0:
                error, truth = np.exp(sigma * rng.normal(size=size)), math.exp(sigma**2 / 2)
            else:
                error, truth = (rng.exponential(size=size), 1.0) if sigma else (1 + rng.normal(size=size), 1.0)
            mean, sd, t = error.mean(axis=1), error.std(axis=1, ddof=1), t_quantile(LEVEL, subjects - 1)
            low, high = hall_ends(error, t)
            half = t * sd / math.sqrt(subjects)
            low, high = np.maximum(half, -sd * low), np.maximum(half, sd * high)
            away = (truth - mean) / high
            asked = 1 + thresholds.TRIALS_SKEW_MARGIN / subjects**0.75
            yield (f"| {name} | {subjects} | {100 * (truth - mean > half).mean():.1f} | "
                   f"{100 * (away > 1).mean():.1f} | {100 * (away > asked).mean():.1f} | "
                   f"{np.median((low + high) / 2 / half):.2f} | {np.quantile(away, 0.975):.2f} | {asked:.2f} |")


def limit_of(shape: str, between: float, within: float, bias: float, cv_level: float, mean_of: int = 1) -> float:
    """Limit within which exactly 95 % of single errors are (or of subjects' means), from a million draws."""
    rng = np.random.default_rng(1)
    count = 1_000_000
    noise = sum(draw(shape, count, rng) for _ in range(mean_of)) / mean_of
    error = between * draw(shape, count, rng) + within * noise
    error = error * (np.exp(cv_level * rng.normal(size=count)) if cv_level else 1.0)
    return float(np.quantile(np.abs(error + bias), 0.95))


def border_readings(runs: int, rng: np.random.Generator) -> Iterator[str]:
    """95 % of single trials are within: counted, normal theory, holds / does not hold."""
    cases = [(shape, cv) for shape in SHAPES for cv in (0.0,)] + [("normal", 0.35), ("normal", 0.6)]
    yield ("| subjects | trials | rule | " + " | ".join(s if not cv else f"grows, CV {cv}" for s, cv in cases)
           + " |\n|" + "---|" * (3 + len(cases)))
    limits = {case: limit_of(case[0], 1.0, 1.0, 0.5, case[1]) for case in cases}
    for subjects, kind in CELLS:
        rows: dict[str, list[str]] = {"counted": [], "normal": []}
        for case in cases:
            found: dict[str, list[TrialMeaning]] = {"counted": [], "normal": []}
            for _ in range(runs):
                error, index, level = study(case[0], subjects, kind, 1.0, 1.0, rng, case[1])
                own = scaled(error + 0.5, index, level, limits[case])
                found["counted"].append(meanings.readings(own, LEVEL, EXACT, "nothing"))
                found["normal"].append(meanings.readings(own, LEVEL, EXACT, "normal"))
            for rule, items in found.items():
                rows[rule].append(answers(items))
        for rule, cells in rows.items():
            yield f"| {subjects} | {kind} | {rule} | " + " | ".join(cells) + " |"


def border_next(runs: int, rng: np.random.Generator) -> Iterator[str]:
    """95 % of subjects' means of M trials are within."""
    yield "| subjects | trials | M | rule | " + " | ".join(SHAPES) + " |\n|" + "---|" * (4 + len(SHAPES))
    for mean_of in (1, 3):
        limits = {shape: limit_of(shape, 1.0, 1.0, 0.5, 0.0, mean_of) for shape in SHAPES}
        cells_here = [cell for cell in CELLS if mean_of == 1 or cell[1] != "1"]
        for (subjects, kind), rule in ((cell, rule) for cell in cells_here for rule in ("nothing", "normal")):
            cells = []
            for shape in SHAPES:
                found = []
                for _ in range(runs):
                    error, index, level = study(shape, subjects, kind, 1.0, 1.0, rng)
                    found.append(meanings.next_subject(scaled(error + 0.5, index, level, limits[shape]), LEVEL, EXACT,
                                                       mean_of, rule))
                cells.append(answers(found))
            shown = "margin" if rule == "nothing" else rule
            yield f"| {subjects} | {kind} | {mean_of} | {shown} | " + " | ".join(cells) + " |"


def border_levels(runs: int, rng: np.random.Generator) -> Iterator[str]:
    """At the 95 % level the error is exactly the limit; and how often a trend is named where there is none."""
    yield ("| subjects | trials | noise of reference, device | holds / does not hold | false trends |\n|"
           + "---|" * 5)
    end = float(special.ndtri(0.95))
    for subjects, kind in ((8, "3"), (15, "1"), (15, "3"), (15, "1 or 20"), (40, "1"), (40, "3")):
        for noise in ((0.5, 0.5), (1.0, 0.3), (0.3, 1.0)):
            found, trends = [], 0
            for _ in range(runs):
                index = np.repeat(np.arange(subjects), sizes(kind, subjects, rng))
                level = 50 + 5 * rng.normal(size=subjects)[index]
                x = level + noise[0] * rng.normal(size=index.size)
                own = noise[1] * rng.normal(size=index.size) + 0.5 * rng.normal(size=subjects)[index]
                for slope in (0.1, 0.0):
                    d = own - (x - level) + slope * (level - 50 - 5 * end) + 2.0
                    made = scaled(d, index, x, 2.0)
                    line = meanings.line_of(made, LEVEL, EXACT)
                    if slope:
                        found.append(meanings.levels(made, line))
                    else:
                        trends += line is not None and line.trend
            yield (f"| {subjects} | {kind} | {noise[0]}, {noise[1]} | {answers(found)} | {100 * trends / runs:.1f} |")


PARTS = {"coverage": coverage, "average": border_average, "skew": skew, "readings": border_readings,
         "next": border_next, "levels": border_levels}


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--part", choices=PARTS, action="append")
    parser.add_argument("--seed", type=int, default=13)
    options = parser.parse_args()
    error = 100 * math.sqrt(0.95 * 0.05 / options.runs), 100 * math.sqrt(0.025 * 0.975 / options.runs)
    print(f"{options.runs} runs a cell; Monte-Carlo error {error[0]:.1f} at 95 %, {error[1]:.1f} at 2.5 %; "
          f"seed {options.seed}")
    least = 93.0 - 4 * error[0]
    for name in options.part or PARTS:
        began = time.perf_counter()
        print(f"\n## {name}\n\n{PARTS[name].__doc__}\n")
        for line in PARTS[name](options.runs, np.random.default_rng(options.seed)):
            print(line, flush=True)
            if line.startswith("| all | least") and min(map(float, line.split("|")[4:-1])) < least:
                raise SystemExit(f"coverage below {least:.1f} %")
        print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
