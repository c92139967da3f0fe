"""Wrong answers to "95 % of readings lie within the claim" over a few sessions, with Monte-Carlo error.

    python benchmarks/readings_share.py [--runs 300] [--window 30] [--only NAME] [--short]

A reading is its session's error plus its own, both normal; 95 % of all readings lie within the claim, so that either
answer is wrong: 2.5 % each are promised. "Inside": the same with a claim 1.5, 3 and 5 times as wide, how often it
holds; the rest is a needless "not settled". Sessions weigh n/(n + 300 s). Adversaries: sessions of very unequal
length, heavy-tailed sessions (t3), and readings a fiftieth of which are gross (ten times as far off; the claim is then
that of their true share).
"""

from __future__ import annotations

import argparse
import math
import sys
from types import SimpleNamespace

import numpy as np

from agree import Claim
from agree.verdict.columns import Windows
from agree.verdict.meanings import SHARE, share_within
from agree.verdict.reference import ReferenceUncertainty

EXACT = ReferenceUncertainty.parse(None)
LENGTHS = {"2 x 30": (30,) * 2, "3 x 30": (30,) * 3, "5 x 30": (30,) * 5, "8 x 30": (30,) * 8,
           "20, 20, 20, 180": (20, 20, 20, 180), "3, 10, 30, 90, 180": (3, 10, 30, 90, 180),
           "9 x 3, 3 x 180": (3,) * 9 + (180,) * 3}
WIDER = (1.5, 3.0, 5.0)
SPREADS = ((0.3, 1.0), (1.0, 1.0), (1.0, 0.3))


def errors(rng: np.random.Generator, session: np.ndarray, between: float, within: float, kind: str) -> np.ndarray:
    """Errors of readings."""
    count = int(session.max()) + 1
    own = rng.standard_t(3, count) / math.sqrt(3) if kind == "t3" else rng.normal(size=count)
    noise = within * rng.normal(size=session.size)
    if kind == "gross":
        noise *= np.where(rng.random(session.size) < 0.02, 10.0, 1.0)
    return between * own[session] + noise


def cell(name: str, between: float, within: float, kind: str, window: int, runs: int) -> tuple[float, ...]:
    """Shares in per cent: wrong "holds", wrong "does not hold", and "holds" of claims 1.5, 3 and 5 times as wide."""
    rng = np.random.default_rng([len(name), round(10 * between), round(10 * within), len(kind), window])
    many = errors(rng, np.arange(200_000), between, within, kind)
    limit = float(np.quantile(np.abs(many), SHARE))
    session = np.repeat(np.arange(len(LENGTHS[name])), [60 * m // window for m in LENGTHS[name]])
    table = SimpleNamespace(sampling="sessions", sessions=len(LENGTHS[name]))
    counts, level = np.zeros(2 + len(WIDER)), np.full(session.size, 100.0)
    for _ in range(runs):
        found = level + errors(rng, session, between, within, kind)
        for times, place in ((1.0, 0), *((wide, k + 2) for k, wide in enumerate(WIDER))):
            item = share_within(table, Windows(level, found, level, session, window),  # type: ignore[arg-type]
                                Claim.parse(f"{times * limit:.9f} %"), EXACT, 0.95)
            counts[place] += item is not None and item.low >= SHARE
            counts[1] += place == 0 and item is not None and item.high < SHARE
    return tuple(float(x) for x in 100 * counts / runs)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=300)
    parser.add_argument("--window", type=int, default=30)
    parser.add_argument("--short", action="store_true", help="3 equal sessions only; stops above 2.5 %%")
    parser.add_argument("--only", choices=LENGTHS)
    arguments = parser.parse_args()
    runs = arguments.runs
    error = 100 * math.sqrt(0.025 * 0.975 / runs)
    print(f"{runs} runs a cell; Monte-Carlo error {error:.1f} points at 2.5 %\n")
    print("| sessions, min | errors | SD between, within | holds, wrong % | does not hold, wrong % | "
          "1.5 x: holds % | 3 x | 5 x |\n"
          "|---|---|---|---:|---:|---:|---:|---:|")
    for name in list(LENGTHS)[1:2] if arguments.short else [arguments.only] if arguments.only else LENGTHS:
        for kind in ("normal",) if arguments.short else ("normal", "t3", "gross"):
            for between, within in SPREADS if kind == "normal" else SPREADS[1:2]:
                found = cell(name, between, within, kind, arguments.window, runs)
                print(f"| {name} | {kind} | {between:g}, {within:g} | "
                      f"{found[0]:.1f} | {found[1]:.1f} | "
                      + " | ".join(f"{share:.0f}" for share in found[2:]) + " |", flush=True)
                if arguments.short and max(found[:2]) > 2.5 + 3 * error:
                    sys.exit("more wrong answers than promised")


if __name__ == "__main__":
    main()
