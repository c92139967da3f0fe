"""Coverage of intervals between sessions of unequal length, on simulated errors, with Monte-Carlo error.

    python benchmarks/sessions.py [--runs 20000] [--limits 400] [--of-a-check RUNS]

A session of m minutes has its own error, normal with the SD between sessions, and noise of SD 3 %, correlated over 3 s
or over 60 s. Means of sessions are drawn from their exact law; limits of agreement from
the seconds themselves (one value every 5 s). Weights n/(n + n0), t with S - 1 degrees of freedom, nominal 95 %. The
adversaries break what the weights assume: short sessions that scatter less, skewed and heavy-tailed sessions, one
session ten times noisier. `guard`: the larger of the two variances. Prints Markdown tables.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable

import numpy as np
from scipy.signal import lfilter

from agree import limits_of_agreement
from agree.core.interval.engine import t_quantile
from agree.core.interval.over_sessions import session_shares
from agree.estimators.limits.agreement import limits_over

HALF_WEIGHTS_S = (0.0, 300.0, math.inf)
LENGTHS = {
    "30 30": (30, 30), "3 180": (3, 180), "30 30 30": (30, 30, 30), "10 20 60": (10, 20, 60),
    "20 20 20 180": (20, 20, 20, 180), "15 15 30 60 120": (15, 15, 30, 60, 120), "8 x 45": (45,) * 8,
    "10 x 3, 2 x 180": (3,) * 10 + (180,) * 2, "12 x 30": (30,) * 12,
}
CHECKED = ((30, 30, 30), (10, 20, 60), (20, 20, 20, 180), (15, 15, 30, 60, 120), (3, 10, 30, 90, 180))
LEVEL, NOISE, Z = 0.95, 3.0, 1.959963984540054
Draw = Callable[[np.random.Generator, tuple[int, ...]], np.ndarray]


def normal(rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    return rng.normal(size=shape)


def skewed(rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    return rng.exponential(size=shape) - 1


def heavy(rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    return rng.standard_t(3, size=shape) / math.sqrt(3)


def of_mean(minutes: np.ndarray, tau: float) -> np.ndarray:
    """Variance of the mean of autoregressive noise of correlation exp(-1/tau) over so many minutes of seconds."""
    n, rho = 60.0 * minutes, math.exp(-1 / tau)
    result: np.ndarray = NOISE**2 * ((1 + rho) / (1 - rho) - 2 * rho * (1 - rho**n) / (n * (1 - rho) ** 2)) / n
    return result


def misses(means: np.ndarray, seconds: np.ndarray, half: float, guard: bool) -> tuple[float, float, float]:
    """Share of runs (rows of session means about 0) that miss below and above, and the mean half-width."""
    p = session_shares(seconds, half)
    mean = means @ p
    squares = (means - mean[:, None]) ** 2
    variance = squares @ p / (p.size - 1)
    if guard:
        variance = np.maximum(variance, squares @ (p * p / (1 - p)))
    reach = t_quantile(LEVEL, p.size - 1) * np.sqrt(variance)
    return float((mean > reach).mean()), float((mean < -reach).mean()), float(reach.mean())


def grid(runs: int) -> str:
    """Least coverage and largest one-sided error over SDs and noises, for each set of lengths."""
    names = [*(f"n0 = {h:g} s" for h in HALF_WEIGHTS_S), "n0 = 300 s, no guard"]
    rows = ["| lengths, min | " + " | ".join(names) + " |", "|---|" + "---|" * len(names)]
    for number, (name, lengths) in enumerate(LENGTHS.items()):
        minutes = np.array(lengths, float)
        found: dict[tuple[float, bool], list[tuple[float, float, float]]] = {}
        for cell, (sd, tau, noisy) in enumerate((sd, tau, noisy) for sd in (0.0, 0.3, 0.8, 1.5) for tau in (3.0, 60.0)
                                                for noisy in (1.0, 3.0)):
            rng = np.random.default_rng([number, cell])
            scale = np.ones(minutes.size)
            scale[-1] = noisy  # the last session's noise
            own = np.sqrt(of_mean(minutes, tau)) * scale
            means = sd * rng.normal(size=(runs, minutes.size)) + own * rng.normal(size=(runs, minutes.size))
            for half, guard in [(h, True) for h in HALF_WEIGHTS_S] + [(300.0, False)]:
                found.setdefault((half, guard), []).append(misses(means, 60 * minutes, half, guard))
        cells = [f"{100 * min(1 - a - b for a, b, _ in v):.1f} / {100 * max(max(a, b) for a, b, _ in v):.1f}"
                 for v in found.values()]
        rows.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(rows)


def adversaries(runs: int) -> str:
    """Coverage and mean half-width where sessions are not as the weights assume."""
    rows = ["| sessions | n0 = 0 | n0 = 300 s | n0 = 300 s, no guard | by length, guard |", "|---|---|---|---|---|"]
    long_short = np.array([180.0] * 3 + [3.0] * 9)
    cases: list[tuple[str, np.ndarray, np.ndarray, Draw]] = [
        (f"3 x 180 + 9 x 3 min, short ones scatter {k:g} times", long_short, np.r_[np.ones(3), np.full(9, k)], normal)
        for k in (1.0, 0.5, 0.25, 3.0)]
    cases += [(f"3 x 60 + 9 x 5 min, short ones scatter {k:g} times", np.array([60.0] * 3 + [5.0] * 9),
               np.r_[np.ones(3), np.full(9, k)], normal) for k in (1.0, 0.25)]
    cases += [(f"{name}, {kind.__name__} sessions", np.array(lengths, float), np.ones(len(lengths)), kind)
              for kind in (skewed, heavy) for name, lengths in LENGTHS.items() if name in
              ("30 30 30", "20 20 20 180", "8 x 45", "10 x 3, 2 x 180")]
    cases += [("5 x 30, one scatters ten times", np.full(5, 30.0), np.r_[10.0, np.ones(4)], normal)]
    for number, (name, minutes, scale, draw) in enumerate(cases):
        rng = np.random.default_rng([99, number])
        noise = np.sqrt(of_mean(minutes, 3.0)) * rng.normal(size=(runs, minutes.size))
        means = 0.8 * scale * draw(rng, (runs, minutes.size)) + noise
        cells = []
        for half, guard in ((0.0, True), (300.0, True), (300.0, False), (math.inf, True)):
            below, above, width = misses(means, 60 * minutes, half, guard)
            cells.append(f"{100 * (1 - below - above):.1f} ({100 * below:.1f}, {100 * above:.1f}; ±{width:.2f})")
        rows.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(rows)


def wander(rng: np.random.Generator, rho: float, n: int) -> np.ndarray:
    noise = rng.normal(0, math.sqrt(1 - rho * rho), n)
    noise[0] = rng.normal()
    result: np.ndarray = lfilter([1], [1, -rho], noise)
    return result


def limits(runs: int) -> str:
    """Coverage of the upper limit of agreement, and the mean width of its interval over the SD of the errors."""
    names = (f"SD {sd:g}, {tau:g} s" for sd in (0.3, 1.0, 3.0) for tau in (3, 60))
    rows = ["| lengths, min | " + " | ".join(names) + " |", "|---|" + "---|" * 6]
    for number, (name, lengths) in enumerate(LENGTHS.items()):
        session = np.repeat(np.arange(len(lengths)), [12 * m for m in lengths])
        cells = []
        for sd in (0.3, 1.0, 3.0):
            for tau in (3.0, 60.0):
                rng, truth = np.random.default_rng([7, number, int(10 * sd), int(tau)]), Z * math.hypot(sd, NOISE)
                hits, width = 0, 0.0
                for _ in range(runs):
                    d = np.concatenate([sd * rng.normal() + NOISE * wander(rng, math.exp(-5 / tau), 12 * m)
                                        for m in lengths])
                    item = limits_of_agreement(np.zeros(d.size), d, sampling="sessions", session=session).upper
                    hits += item.low <= truth <= item.high
                    width += item.high - item.low
                cells.append(f"{100 * hits / runs:.1f} ({width / runs / math.hypot(sd, NOISE):.1f})")
        rows.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(rows)


def limits_of_a_check(runs: int) -> str:
    """Upper limit of 30-s readings with equal weights (as of arrays) and with those of a check, by kind of session.

    "noisy": one session's readings scatter three times as much, whichever it is; the limit is that of all sessions.
    """
    rng = np.random.default_rng(8)
    rows = ["| lengths, min | sessions | SD between | alike | n/(n + 300 s) |", "|---|---|---|---|---|"]
    for lengths in CHECKED:
        count, session = len(lengths), np.repeat(np.arange(len(lengths)), [2 * m for m in lengths])
        for kind in ("normal", "noisy", "t3"):
            for sd in (0.3, 1.0):
                truth = Z * math.sqrt(sd**2 + (1 + 8 / count if kind == "noisy" else 1.0))
                found = np.zeros((2, 3))
                for _ in range(runs):
                    own = rng.standard_t(3, count) / math.sqrt(3) if kind == "t3" else rng.normal(size=count)
                    scatter = np.ones(count)
                    if kind == "noisy":
                        scatter[rng.integers(count)] = 3
                    d = sd * own[session] + scatter[session] * rng.normal(size=session.size)
                    for k, half in enumerate((0.0, 10.0)):
                        item = limits_over(np.zeros(d.size), d, session, sampling="sessions", half_weight_n=half).upper
                        found[k] += item.low > truth, item.high < truth, (item.high - item.low) / truth / 100
                cells = (f"{100 - a - b:.1f} ({a:.1f}, {b:.1f}; {w:.2f})" for a, b, w in 100 * found / runs)
                rows.append(f"| {', '.join(map(str, lengths))} | {kind} | {sd:g} | " + " | ".join(cells) + " |")
    return "\n".join(rows)


def keep_bounds(runs: int) -> None:
    """Stop if the mean over sessions of very unequal length, or long ones beside quieter short ones, is not covered."""
    rng = np.random.default_rng(1)
    for minutes, scale in ((np.array(LENGTHS["20 20 20 180"], float), np.ones(4)),
                           (np.array([180.0] * 3 + [3.0] * 9), np.r_[np.ones(3), np.full(9, 0.25)])):
        below, above, _ = misses(0.8 * scale * rng.normal(size=(runs, minutes.size)), 60 * minutes, 300.0, True)
        if below + above > 0.07 + 3 * math.sqrt(0.05 * 0.95 / runs):
            raise SystemExit(f"covered in {100 * (1 - below - above):.1f} %, at least 93 were promised")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=20000)
    parser.add_argument("--limits", type=int, default=400)
    parser.add_argument("--of-a-check", type=int, default=0, metavar="RUNS", help="the limits of a check alone")
    arguments = parser.parse_args()
    if arguments.of_a_check:
        print("Upper limit of agreement, coverage in % (missed below, above; mean width over the limit); "
              f"{arguments.of_a_check} runs\n")
        print(limits_of_a_check(arguments.of_a_check))
        return
    error = 100 * math.sqrt(0.05 * 0.95 / arguments.runs)
    print("Mean over sessions: least coverage / largest one-sided error in % over SD between sessions 0, 0.3, 0.8, 1.5 "
          f"%, noise over 3 and 60 s, last session as noisy or 3 times; {arguments.runs} runs, Monte-Carlo error "
          f"{error:.2f}\n")
    print(grid(arguments.runs) + "\n")
    print("Adversaries, SD 0.8 %: coverage in % (missed below, above; mean half-width)\n")
    print(adversaries(arguments.runs) + "\n")
    if arguments.limits == 0:
        keep_bounds(arguments.runs)
        return
    print(f"Upper limit of agreement: coverage in % (mean width over SD of the errors); {arguments.limits} runs, "
          f"Monte-Carlo error {100 * math.sqrt(0.05 * 0.95 / arguments.limits):.1f}\n")
    print(limits(arguments.limits))


if __name__ == "__main__":
    main()
