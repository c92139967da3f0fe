"""How often a session is named as far from the others: of sound ones (false), and of one that is.

    python benchmarks/odd_sessions.py [--runs 300] [--part 1/2] [--designs ...]

Errors of seconds are noise (SD in % of the power) that is white or correlated over a time, plus the session's own
error (normal, SD between sessions). Standard errors come from the interval engine, as in a check. "t" is the deleted t
residual of the values alone, which takes every session for known alike; both have the limit of Bonferroni at 5 %.
Adversaries: short sessions beside long ones, more noise in the short ones or in the long ones, errors correlated over
60 and 300 s (longer than a short session lasts), heavy tails between sessions (t3) and a session with ten times the
noise.
"""

from __future__ import annotations

import argparse
import math

import numpy as np
from scipy import signal

from agree.core.interval.engine import spread, t_quantile
from agree.core.thresholds import ODD_LEVEL
from agree.verdict.odd_sessions import odd_p_values

LENGTHS = {"3 x 30": [30] * 3, "4 x 30": [30] * 4, "6 x 30": [30] * 6, "8 x 3": [3] * 8, "12 x 30": [30] * 12,
           "3, 5, 4 x 30": [3, 5, 30, 30, 30, 30], "3, 30, 30": [3, 30, 30], "10, 20, 60": [10, 20, 60],
           "6 x 3, 6 x 60": [3] * 6 + [60] * 6}
BETWEEN = (0.0, 0.2, 0.5, 0.8)
WORLDS = {"white 3 %": (3, 3, 0, ""), "white 10 %": (10, 10, 0, ""), "short ones 10 %, long ones 3 %": (10, 3, 0, ""),
          "long ones 10 %, short ones 3 %": (3, 10, 0, ""),
          "over 60 s, 1.5 %": (1.5, 1.5, 60, ""), "over 300 s, 1.5 %": (1.5, 1.5, 300, ""), "t3": (3, 3, 0, "t3"),
          "first one 30 %, others 3 %": (3, 3, 0, "noisy")}
SHORT_MIN = 10


def noise(rng: np.random.Generator, size: int, sd: float, time: float) -> np.ndarray:
    """Errors of seconds with this SD, white or correlated over `time` s."""
    white = rng.normal(0, sd, size)
    if not time:
        return white
    keep = math.exp(-1 / time)
    start = rng.normal(0, sd)
    return signal.lfilter([math.sqrt(1 - keep**2)], [1, -keep], white, zi=[keep * start])[0]


def sessions(rng: np.random.Generator, minutes: list[int], between: float, world: str) -> tuple[np.ndarray, ...]:
    """Mean errors and standard errors of the sessions of one study."""
    short, long, time, kind = WORLDS[world]
    values, errors = [], []
    for k, length in enumerate(minutes):
        sd = (short if length < SHORT_MIN else long) * (10 if kind == "noisy" and k == 0 else 1)
        series = noise(rng, 60 * length, sd, time)
        own = rng.standard_t(3) / math.sqrt(3) if kind == "t3" else rng.normal()
        values.append(float(series.mean()) + between * own)
        errors.append(spread(series - series.mean(), "serial", cautious=True).standard_error)
    return np.array(values), np.array(errors)


def deleted_t(values: np.ndarray) -> np.ndarray:
    """Whether the values alone name each session."""
    found = []
    for k in range(values.size):
        rest = np.delete(values, k)
        limit = t_quantile(1 - ODD_LEVEL / values.size, rest.size - 1) * rest.std(ddof=1) * math.sqrt(1 + 1 / rest.size)
        found.append(abs(values[k] - rest.mean()) > limit)
    return np.array(found)


def row(name: str, world: str, between: float, runs: int) -> str:
    """One line of the table."""
    minutes = LENGTHS[name]
    seconds = 60.0 * np.array(minutes)
    rng = np.random.default_rng([len(name), len(world), int(10 * between), runs])
    counts = np.zeros(6)
    for _ in range(runs):
        values, errors = sessions(rng, minutes, between, world)
        for side, place in ((0.0, 0), (3.0, 0), (3.0, len(minutes) - 1)):
            moved = values.copy()
            moved[place] += side
            named = odd_p_values(moved, errors**2, np.full(moved.size, 8.0), seconds) < ODD_LEVEL / moved.size
            before = deleted_t(moved)
            at = 0 if not side else 2 if place == 0 else 4
            counts[at] += before.any() if not side else before[place]
            counts[at + 1] += named.any() if not side else named[place]
    share = [f"{100 * count / runs:.1f}" for count in counts]
    return (f"| {name} | {world} | {between:g} | {share[0]} | {share[1]} | {share[2]} / {share[3]} "
            f"| {share[4]} / {share[5]} |")


def main() -> None:
    """Print the table, or one part of it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=300)
    parser.add_argument("--part", default="1/1", help="which part of the rows, as 2/5")
    parser.add_argument("--designs", nargs="+", choices=LENGTHS, default=list(LENGTHS), help="only these")
    arguments = parser.parse_args()
    part, parts = map(int, arguments.part.split("/"))
    rows = [(name, world, between) for name in LENGTHS for world in WORLDS for between in BETWEEN
            if world in ("white 3 %", "white 10 %") or len(set(LENGTHS[name])) > 1 or name in ("6 x 30", "8 x 3")]
    rows = [row for row in rows if row[0] in arguments.designs]
    print(f"{arguments.runs} runs a row; Monte-Carlo SE at 5 %: "
          f"{100 * math.sqrt(0.0475 / arguments.runs):.1f} points\n")
    print("| lengths, min | noise of seconds | SD between, % | t: any named, % | named falsely, % "
          "| first one 3 % off found, t / now, % | last one |")
    print("|---|---|---:|---:|---:|---:|---:|")
    for name, world, between in rows[part - 1::parts]:
        print(row(name, world, between, arguments.runs), flush=True)


if __name__ == "__main__":
    main()
