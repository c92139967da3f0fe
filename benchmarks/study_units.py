"""Coverage of statistics over units, nominal 95 %, and of what is said not to be known.

    python benchmarks/study_units.py [--runs 200] [--units 5 20 100 500]

Units have 1 to 5 sessions of SD 0.5 %; their true errors have SD 0.8 % and mean 0.2 %: normal; 5 % of them off by 4 %;
skewed (lognormal, skewness 3); or t with 3 degrees of freedom. The claim is 1.5 %. Each figure counts the intervals
that are stated; "stated" is the share of runs that state SD, share and tolerance. "tolerance" counts limits that hold
95 % of units and more; "single" is the share of single units' intervals that hold the unit's true error; "false flags"
the mean share of wrong flags among the flags (at most 5 % is promised), by true errors inside the claim.
Exit status 1 where a stated figure is below 92 % by more than 2 Monte-Carlo errors, or false flags above 5 % likewise.
"""

from __future__ import annotations

import argparse
import sys

import numpy as np

from agree.study.statistics.many_units import many_units

SESSION_SD, SD, MEAN, LIMIT = 0.5, 0.8, 0.2, 1.5
KINDS = ("normal", "5 % odd", "skewed", "t3")
NAMES = ("mean", "SD", "share", "tolerance", "single")
S = 0.716  # of the logarithm: skewness 3


def raw(rng: np.random.Generator, kind: str, size: int) -> np.ndarray:
    """True errors of units, before they are scaled to mean 0.2 and SD 0.8 (the odd ones come on top)."""
    if kind == "5 % odd":
        return MEAN + SD * rng.normal(size=size) + 4.0 * (rng.random(size) < 0.05)
    if kind == "skewed":
        x = np.exp(S * rng.normal(size=size))
        return MEAN + SD * (x - np.exp(S**2 / 2)) / np.sqrt((np.exp(S**2) - 1) * np.exp(S**2))
    return MEAN + SD * (rng.normal(size=size) if kind == "normal" else rng.standard_t(3, size) / np.sqrt(3))


def truth(kind: str) -> tuple[float, float, float, np.ndarray]:
    """Mean, SD, share within the limit, and sorted absolute errors of the kind."""
    many = raw(np.random.default_rng(7), kind, 2_000_000)
    mean = MEAN + (0.2 if "odd" in kind else 0.0)
    sd = np.sqrt(SD**2 + 16 * 0.05 * 0.95) if "odd" in kind else SD
    return mean, float(sd), float((np.abs(many) <= LIMIT).mean()), np.sort(np.abs(many))


def once(rng: np.random.Generator, kind: str, units: int, true: tuple[float, float, float, np.ndarray], assume: str):
    """Whether each stated figure is right (None where it is not stated), and the share of wrong flags."""
    own = raw(rng, kind, units)
    sessions = rng.integers(1, 6, units)
    sessions[0] = 2
    days = [error + SESSION_SD * rng.normal(size=count) for error, count in zip(own, sessions, strict=True)]
    pooled = sum(((day - day.mean())**2).sum() for day in days) / (sessions - 1).sum()
    found = many_units([day.mean() for day in days], np.sqrt(pooled / sessions), limit=LIMIT, assume=assume)
    mean, sd, share, sizes = true

    def right(item, value):
        return None if item is None or not np.isfinite(item.high) else bool(item.low <= value <= item.high)

    tolerance = None
    if found.tolerance is not None and np.isfinite(found.tolerance.high):
        tolerance = bool(np.searchsorted(sizes, found.tolerance.high) / sizes.size >= 0.95)
    single = float(np.mean([item.low <= x <= item.high for item, x in zip(found.shrunken, own, strict=True)]))
    wrong = [abs(own[k]) <= LIMIT for k in found.flagged]
    return (right(found.mean, mean), right(found.sd, sd), right(found.share_within, share), tolerance, single), (
        float(np.mean(wrong)) if wrong else 0.0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--units", type=int, nargs="+", default=[5, 20, 100, 500])
    parser.add_argument("--assume", choices=["nothing", "normal"], default="nothing")
    given = parser.parse_args()
    print(f"| units | {' | '.join(NAMES)} | stated: SD, share, tolerance | false flags |\n|---|" + "---:|" * 7)
    rng, short = np.random.default_rng(15), []
    for kind in KINDS:
        true = truth(kind)
        for units in given.units:
            runs = [once(rng, kind, units, true, given.assume) for _ in range(given.runs)]
            cells, stated = [], []
            for k, name in enumerate(NAMES):
                seen = [float(run[0][k]) for run in runs if run[0][k] is not None]
                stated.append(len(seen) / given.runs)
                if not seen:
                    cells.append("-")
                    continue
                p = float(np.mean(seen))
                error = float(np.std(seen) / np.sqrt(len(seen))) if name == "single" else np.sqrt(
                    max(p * (1 - p), 0.01) / len(seen))
                cells.append(f"{100 * p:.1f} ± {100 * error:.1f}")
                short += [(kind, units, name)] if p < 0.92 - 2 * error else []
            wrong = np.array([run[1] for run in runs])
            error = float(wrong.std() / np.sqrt(wrong.size))
            short += [(kind, units, "flags")] if wrong.mean() > 0.05 + 2 * error else []
            told = ", ".join(f"{100 * part:.0f} %" for part in stated[1:4])
            print(f"| {kind}: {units} | {' | '.join(cells)} | {told} | {100 * wrong.mean():.1f} ± {100 * error:.1f} |",
                  flush=True)
    if short:
        sys.exit(f"beyond the bounds: {short}")


if __name__ == "__main__":
    main()
