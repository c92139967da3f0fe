"""Coverage of intervals that rest on normal errors, where the errors have heavy tails or are skewed.

    python benchmarks/heavy_tails.py [--runs N]

`precision` (10 groups of 3), `intraclass` (20 subjects, 3 raters), `split_errors` (3 devices, 60 instants),
`typical_error` (30 pairs) and `deviation_index` (15 and 30 pairs), under normal errors and three adversaries: t with 3
degrees of freedom, 5 % of errors five times as large, and lognormal ones (skewness 2.2). True values of SDs are exact;
those of the deviation index are quantiles of a million errors. Prints a Markdown table.
"""

from __future__ import annotations

import argparse
import warnings
from collections.abc import Callable

import numpy as np

from agree import deviation_index, intraclass, precision, split_errors, typical_error

LOG_SD = 0.6


def drawn(rng: np.random.Generator, size: tuple[int, ...], kind: str) -> np.ndarray:
    """Errors of mean 0 and SD 1."""
    if kind == "t, 3 df":
        return np.asarray(rng.standard_t(3, size) / np.sqrt(3))
    if kind == "5 % five times as large":
        wild = rng.random(size) < 0.05
        return np.asarray(rng.normal(size=size) * np.where(wild, 5, 1) / np.sqrt(0.95 + 0.05 * 25))
    if kind == "lognormal":
        raw = np.exp(rng.normal(0, LOG_SD, size))
        variance = (np.exp(LOG_SD**2) - 1) * np.exp(LOG_SD**2)
        return np.asarray((raw - np.exp(LOG_SD**2 / 2)) / np.sqrt(variance))
    return np.asarray(rng.normal(size=size))


KINDS = ("normal", "t, 3 df", "5 % five times as large", "lognormal")
Study = Callable[[np.random.Generator, str, float], list[bool]]


def _inside(item: object, value: float) -> bool:
    return bool(item.low <= value <= item.high)  # type: ignore[attr-defined]


def repeats(rng: np.random.Generator, kind: str, _: float) -> list[bool]:
    values = drawn(rng, (10, 1), kind) + drawn(rng, (10, 3), kind)
    found = precision(values.ravel(), np.repeat(np.arange(10), 3))
    return [_inside(found.repeatability_sd, 1), _inside(found.between_sd, 1),
            _inside(found.reproducibility_sd, np.sqrt(2))]


def raters(rng: np.random.Generator, kind: str, _: float) -> list[bool]:
    found = intraclass(2 * drawn(rng, (20, 1), kind) + drawn(rng, (20, 3), kind))
    return [_inside(found.one_way, 0.8), _inside(found.consistency, 0.8)]


def devices(rng: np.random.Generator, kind: str, _: float) -> list[bool]:
    found = split_errors(*(200 + np.array([[1.0], [2.0], [0.5]]) * drawn(rng, (3, 60), kind)))
    return [_inside(item, sd) for item, sd in zip(found.sd, (1.0, 2.0, 0.5), strict=True)]


def trials(rng: np.random.Generator, kind: str, _: float) -> list[bool]:
    return [_inside(typical_error(*(200 + drawn(rng, (2, 30), kind))).typical_error, 1)]


def index(n: int) -> Study:
    def study(rng: np.random.Generator, kind: str, truth: float) -> list[bool]:
        return [_inside(deviation_index(np.zeros(n), 0.5 + drawn(rng, (n,), kind)).index, truth)]
    return study


STUDIES: dict[str, tuple[Study, tuple[str, ...]]] = {
    "precision": (repeats, ("repeatability", "between", "reproducibility")),
    "intraclass": (raters, ("one way", "consistency")),
    "split_errors": (devices, ("SD 1", "SD 2", "SD 0.5")),
    "typical_error": (trials, ("typical error",)),
    "deviation_index, n = 15": (index(15), ("index",)),
    "deviation_index, n = 30": (index(30), ("index",)),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=1000)
    runs = parser.parse_args().runs
    print(f"Coverage in % of 95, {runs} runs, Monte-Carlo error {100 * (0.95 * 0.05 / runs) ** 0.5:.1f} (more below)\n")
    print(f"| function | quantity | {' | '.join(KINDS)} |\n|---|---|" + "---:|" * len(KINDS))
    for name, (study, quantities) in STUDIES.items():
        columns = []
        for kind in KINDS:
            rng = np.random.default_rng(1)
            truth = float(np.quantile(np.abs(0.5 + drawn(rng, (1_000_000,), kind)), 0.9))
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                columns.append(np.mean([study(rng, kind, truth) for _ in range(runs)], axis=0))
        for quantity, shares in zip(quantities, np.transpose(columns), strict=True):
            print(f"| {name} | {quantity} | " + " | ".join(f"{100 * share:.1f}" for share in shares) + " |", flush=True)


if __name__ == "__main__":
    main()
