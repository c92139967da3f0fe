"""What entering a correction does along the range of power and in the next session, for devices of many shapes.

Run: python benchmarks/correction_shapes.py [--runs 30] [--seed 0] [--only KIND] [--sessions 1 3 5]
Rides are invented: 40 min of efforts of 20 to 240 s at 100 to 350 W (or a narrower range), coasting, and now and then
a sprint of 5 to 15 s. The device has the error of its kind, a factor of its own in each session (SD 0.3 %, normal) and
noise of 6 W with 0.4 % that wanders over minutes. A correction is found for the claim of 1.5 % and entered as advised.
`entered`: share of runs in which one is. `before`, `after`: largest error of the device itself, free of noise, between
the 5th and the 95th percentile of the power ridden, per cent, over the runs that entered one; `grown to`: the same over
the powers at which it grew, 0 if at none. `harmed`: share of all runs in which the error at some power grew beyond the
claim, by more than 0.1 %. `next before`, `next after`: mean size of the mean error
of one further session, over all runs. Kinds in which a correction is right are marked with *. "Unguarded" is
without the guard along the power and without leaving out warm-ups and steps.
"""

from __future__ import annotations

import argparse
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import NamedTuple
from unittest.mock import patch

import numpy as np
from scipy.signal import lfilter

from agree import Pairs, find_correction
from agree.core.checks import FloatArray
from agree.correction.rules import Rule, apply

CLAIM = "1.5 %"
LIMIT = 1.5
MINUTES = 40
WANDER = 0.004  # SD, as a share, over 5 min


class Kind(NamedTuple):
    """A device: its reading of a power at a time, s, in a session; `right` if a correction can mend it."""

    reads: Callable[[FloatArray, FloatArray, int], FloatArray]
    right: bool
    low: float = 100.0
    high: float = 350.0


def above(knot: float, percent: float) -> Kind:
    """A scale that changes at once at a power."""
    return Kind(lambda p, t, k: np.where(p > knot, p * (1 + percent / 100), p), False)


def kink(knot: float, percent: float) -> Kind:
    """A slope that changes at a power: of what exceeds it a share is lost."""
    return Kind(lambda p, t, k: p + percent / 100 * np.maximum(p - knot, 0), False)


KINDS: dict[str, Kind] = {
    "exact": Kind(lambda p, t, k: p, False),
    "scale -3 %": Kind(lambda p, t, k: 0.97 * p, True),
    "scale -2 %": Kind(lambda p, t, k: 0.98 * p, True),
    "zero -6 W": Kind(lambda p, t, k: p - 6, True),
    "scale -3 %, zero -6 W": Kind(lambda p, t, k: 0.97 * p - 6, True),
    "scale -3 %, zero +6 W": Kind(lambda p, t, k: 0.97 * p + 6, True),
    "slight bend, 4 % at 300 W": Kind(lambda p, t, k: p * (1 + 0.04 * p / 300), True),
    "bend, 6 % at 300 W": Kind(lambda p, t, k: p * (1 + 0.06 * (np.maximum(p - 60, 0) / 240) ** 1.2), False),
    "scale -4 %, step at 300": Kind(lambda p, t, k: np.where(p > 300, 0.95, 0.96) * p, True),
    "scale -3 %, narrow": Kind(lambda p, t, k: 0.97 * p, True, 180, 240),
    "step -3 % at 300": above(300, -3), "step -3 % at 200": above(200, -3), "step -3 % at 150": above(150, -3),
    "step +4 % at 250": above(250, 4), "step -6 % at 300": above(300, -6),
    "kink -10 % at 220": kink(220, -10), "kink -15 % at 300": kink(300, -15), "kink +6 % at 150": kink(150, 6),
    "sprints -10 %": above(400, -10),
    "low power +4 %": Kind(lambda p, t, k: np.where(p < 150, 1.04 * p, p), False),
    "low power +8 W": Kind(lambda p, t, k: np.where(p < 160, p + 8, p), False),
    "warm-up -5 %": Kind(lambda p, t, k: p * (1 - 0.05 * np.exp(-t / 400)), False),
    "warm-up -5 %, scale -3 %": Kind(lambda p, t, k: 0.97 * p * (1 - 0.05 * np.exp(-t / 400)), True),
    "drift +3 %/h": Kind(lambda p, t, k: p * (1 + 0.03 * t / 3600), False),
    "drift +3 %/h, scale -4 %": Kind(lambda p, t, k: 0.96 * p * (1 + 0.03 * t / 3600), True),
    "step +8 W in session 1": Kind(lambda p, t, k: p + 8 * ((t > 1200) & (k == 0)), False),
    "step +8 W in session 1, scale -3 %": Kind(lambda p, t, k: 0.97 * p + 8 * ((t > 1200) & (k == 0)), True),
    "zero -6 W, none when coasting": Kind(lambda p, t, k: np.where(p > 60, p - 6, p), True),
    "scale -3 % when sitting, -5 when standing": Kind(
        lambda p, t, k: np.where((t // 60) % 5 == 0, 0.95, 0.97) * p, True),
    "scale +2 % above 90 rev/min": Kind(lambda p, t, k: np.where((t // 120) % 2 == 0, 1.02, 1) * p, False),
    "scale +3 %, drift -3 %/h": Kind(lambda p, t, k: 1.03 * p * (1 - 0.03 * t / 3600), True),
    "sessions 0, -3 %": Kind(lambda p, t, k: p * (0.97 if k % 2 else 1), False),
    "sessions +3, -3 %": Kind(lambda p, t, k: p * (1.03 if k % 2 else 0.97), False),
}


def ride(rng: np.random.Generator, low: float, high: float) -> FloatArray:
    """Power of an invented ride, W."""
    watts: list[FloatArray] = []
    while sum(piece.size for piece in watts) < 60 * MINUTES:
        kind = rng.random()
        if kind < 0.1:
            watts.append(np.zeros(int(rng.integers(5, 40))))
        elif kind > 0.94:
            watts.append(np.full(int(rng.integers(5, 15)), high * rng.uniform(1.4, 2)))
        else:
            watts.append(np.full(int(rng.integers(20, 240)), rng.uniform(low, high)))
    made = np.convolve(np.concatenate(watts)[:60 * MINUTES], np.ones(4) / 4, "same")
    noise = lfilter(np.ones(3) / 3**0.5, [1], rng.normal(0, 10, made.size))
    return np.where(made > 20, np.maximum(made + noise, 1.0), 0.0)


def session(rng: np.random.Generator, kind: Kind, number: int) -> Pairs:
    """One session of a device."""
    power = ride(rng, kind.low, kind.high)
    t = np.arange(float(power.size))
    keep = np.exp(-1 / 300)
    wander = lfilter([np.sqrt(1 - keep**2)], [1, -keep], rng.normal(0, WANDER, t.size))
    factor = 1 + 0.003 * rng.normal() + wander
    read = np.where(power > 0, kind.reads(power, t, number) * factor + rng.normal(0, 6, t.size), 0.0)
    return Pairs(reference=np.round(power), device=np.maximum(np.round(read), 0), session=str(number + 1))


def errors(kind: Kind, pairs: list[Pairs], rule: Rule) -> FloatArray:
    """Error between the 5th and 95th percentile of power, in the middle of sessions 2 and 3, per cent, without sign."""
    power = np.concatenate([item.reference[item.reference > 0] for item in pairs])
    at = np.linspace(*np.percentile(power, (5, 95)), 60)
    read = np.array([apply(rule, kind.reads(at, np.full(60, 1500.0), k)) for k in (1, 2)])
    result: FloatArray = np.abs(100 * (read / at - 1))
    return result


class Run(NamedTuple):
    """Outcome of one run, per cent."""

    entered: bool
    before: float
    after: float
    grown: float
    next_before: float
    next_after: float


def one(name: str, count: int, seed: int, *, guarded: bool = True) -> Run:
    """Find a correction, and look at the range and at one further session."""
    kind = KINDS[name]
    rng = np.random.default_rng([list(KINDS).index(name), count, seed])
    pairs = [session(rng, kind, k) for k in range(count)]
    ahead = session(rng, kind, count)
    with warnings.catch_warnings(), ExitStack() as without:
        warnings.simplefilter("ignore")
        if not guarded:
            without.enter_context(patch("agree.correction.find.harms", lambda *parts: False))
            without.enter_context(patch("agree.assessment.find_correction.unless_it_passes", lambda fix, *rest: fix))
        found = find_correction(pairs if count > 1 else pairs[0], claim=CLAIM)
    made = found.entered if found.action not in ("none", "refused") else None
    rule = Rule(1.0, 0.0) if made is None else Rule(made.scale, made.offset_w)
    used = ahead.used

    def error(of: Rule) -> float:
        return abs(100 * float(apply(of, ahead.device[used]).sum() / ahead.reference[used].sum() - 1))

    before, after = errors(kind, pairs, Rule(1.0, 0.0)), errors(kind, pairs, rule)
    return Run(made is not None, float(before.max()), float(after.max()),
               float(np.where(after > before + 0.1, after, 0.0).max()), error(Rule(1.0, 0.0)), error(rule))


def row(name: str, count: int, done: list[Run], plain: list[Run]) -> str:
    """Sum up the runs of one kind, with the guards and without them."""
    def mean(values: list[float]) -> str:
        return f"{np.mean(values):.2f}" if values else "-"

    cells = [name + (" *" if KINDS[name].right else ""), str(count)]
    for runs in (plain, done):
        entered = [run for run in runs if run.entered]
        harmed = [run for run in entered if run.grown > LIMIT]
        cells += [f"{100 * len(entered) / len(runs):.0f}", mean([run.before for run in entered]),
                  mean([run.after for run in entered]), mean([run.grown for run in entered]),
                  f"{100 * len(harmed) / len(runs):.0f}"]
    cells += [mean([run.next_before for run in done]), mean([run.next_after for run in plain]),
              mean([run.next_after for run in done])]
    return "| " + " | ".join(cells) + " |"


def rows(names: list[str], counts: list[int], runs: int, seed: int) -> Iterator[str]:
    """Lines of a Markdown table."""
    yield ("| device | sessions | unguarded: entered, % | before, % | after, % | grown to, % | harmed, % "
           "| guarded: entered, % | before, % | after, % | grown to, % | harmed, % "
           "| next before, % | next unguarded, % | next guarded, % |")
    yield "|---|" + "---:|" * 14
    for name in names:
        for count in counts:
            yield row(name, count, [one(name, count, seed + k) for k in range(runs)],
                      [one(name, count, seed + k, guarded=False) for k in range(runs)])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Corrections along the range of power.")
    parser.add_argument("--runs", type=int, default=30)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--sessions", type=int, nargs="*", default=[1, 3, 5])
    options = parser.parse_args()
    begin = time.perf_counter()
    for line in rows(options.only or list(KINDS), options.sessions, options.runs, options.seed):
        print(line, flush=True)
    print(f"\n{options.runs} runs a row, {time.perf_counter() - begin:.0f} s")
