"""Several sessions on few days: wrong answers with sessions as units, and where answers must stand over days as well.

    python benchmarks/few_days.py [--runs 4000]

Mean errors of sessions are the sum of an effect of the day and one of their own, both normal, SDs as stated, of 30 min
each. "Wrong": the limit stands at the true error; shares of "holds" and "does not hold" in per cent, 2.5 promised of
each. "Exact": no error and a limit of 3 SDs of a session; how often it holds. Adversaries: days with very unequal
numbers of sessions, effects of days that are heavy-tailed (t3) or skewed (exponential).
"""

from __future__ import annotations

import argparse
import math
from types import SimpleNamespace

import numpy as np

from agree import Estimate
from agree.assessment.doubts.few_days import few_days
from agree.core.results.note import Note
from agree.verdict.meanings import Reading
from agree.verdict.rule import FAILS, HOLDS, decide
from agree.verdict.sessions import mean_over_sessions

PATTERNS = ((2, 2, 2), (3, 3, 3), (2, 1, 1), (5, 1, 1), (6, 3, 1), (2, 2, 2, 2, 2), (4, 2, 1, 1), (1, 1, 1, 1, 2))
SPREADS = ((0.0, 1.0), (0.3, 1.0), (0.7, 0.7), (1.0, 0.3))
SECONDS = 1800


def draws(rng: np.random.Generator, kind: str, size: int) -> np.ndarray:
    """Effects of days with an SD of 1."""
    if kind == "t3":
        return rng.standard_t(3, size) / math.sqrt(3)
    return rng.exponential(size=size) - 1 if kind == "skewed" else rng.normal(size=size)


def answers(errors: np.ndarray, day: np.ndarray, limit: float) -> tuple[str, str]:
    """Return the answer with sessions as units, and the one that is given."""
    seconds = np.full(errors.size, float(SECONDS))
    mean = mean_over_sessions(errors, seconds, 0.95)
    verdict = decide(mean, limit, "interval")[0]
    given = Reading(meaning="average", verdict=verdict, estimate=mean, limit=limit, unit="%",
                    because=Note(kind="because_in"))
    own = [Estimate(value=float(x), low=float(x), high=float(x), level=0.95, method="t") for x in errors]
    pairs = [SimpleNamespace(start=f"2026-03-{d + 1:02}T{6 + k:02}:00:00Z", time=np.arange(9.0), stamps=None)
             for k, d in enumerate(day)]
    data = SimpleNamespace(pairs=pairs, sessions=errors.size, session=np.repeat(np.arange(errors.size), SECONDS))
    return verdict, few_days(data, own, 0.95, "interval").answers((given,))[0].verdict  # type: ignore[arg-type]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=200)
    runs = parser.parse_args().runs
    print(f"{runs} runs a cell; Monte-Carlo error {100 * math.sqrt(0.025 * 0.975 / runs):.1f} points at 2.5 %\n")
    print("| sessions a day | days' effects | SD day, session | holds, wrong: sessions, % | now | does not hold, "
          "wrong: sessions, % | now | exact: sessions, % | now |\n|---|---|---|" + "---:|" * 6)
    for pattern in PATTERNS:
        for kind in ("normal", "t3", "skewed"):
            for day_sd, own_sd in SPREADS if kind == "normal" else SPREADS[2:3]:
                rng = np.random.default_rng([sum(pattern), len(pattern), len(kind), round(10 * day_sd)])
                day = np.repeat(np.arange(len(pattern)), pattern)
                counts = np.zeros((3, 2))
                for _ in range(runs):
                    made = day_sd * draws(rng, kind, len(pattern))[day] + own_sd * rng.normal(size=day.size)
                    wrong = answers(100 + made, day, 100.0)
                    counts[0] += [one == HOLDS for one in wrong]
                    counts[1] += [one == FAILS for one in wrong]
                    counts[2] += [one == HOLDS for one in answers(made, day, 3 * math.hypot(day_sd, own_sd))]
                cells = " | ".join(f"{before:.1f} | {now:.1f}" for before, now in 100 * counts / runs)
                print(f"| {', '.join(map(str, pattern))} | {kind} | {day_sd:g}, {own_sd:g} | {cells} |", flush=True)


if __name__ == "__main__":
    main()
