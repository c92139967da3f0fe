"""How well steps after coasting, and warm-ups, are found in devices made by calculation from real rides.

Run: python benchmarks/slow_faults.py --rides DIR [--runs 40] [--seed 1000]
A device reads 0.97 of the reference less 3 W, with white noise of 5 W and one of several kinds of error beside that.
Rides longer than 2.5 h are cut to a random 2.5 h. Put in: nothing; a step of 3 to 15 W, up or down, at a random end of
a coasting; a warm-up of 2 to 6 % of power, over 10 to 20 min, straight or dying away. Printed: share found with its
Monte-Carlo standard error, also by size in standard errors (the median of those found with that kind of error); the
error of size and place; false events. The thresholds were set on single-road-78min with seeds below 100; take other
rides and seeds to measure them.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import NamedTuple

import numpy as np
from faults import make_device, read
from scipy.signal import lfilter

from agree.core.data.runs import runs
from agree.faults.slow.search import Slow, find_slow

LONGEST_S = 9000
SIDE_S = 300  # s of pedalling on either side of a step put in
ERRORS: dict[str, dict[str, float]] = {
    "white": {}, "wander 3 W, 60 s": {"sd": 3.0, "tau": 60}, "wander 3 W, 300 s": {"sd": 3.0, "tau": 300},
    "wander 1.5 %, 300 s": {"sd": 0.015, "tau": 300, "share": 1}, "drift 3 % per h": {"drift": 0.03},
    "graded ride, bend": {"bend": 0.03, "graded": 1}, "3-s mean, 0.4 s late": {"mean": 3, "delay": 0.4},
}


class Draw(NamedTuple):
    """A pair with something put in: its size (W) and moment (of a step) or end (of a warm-up), s."""

    x: np.ndarray
    y: np.ndarray
    size: float
    at: float


def wander(rng: np.random.Generator, n: int, tau: float, sd: float) -> np.ndarray:
    """Error whose correlation falls to 1/e over tau."""
    a = np.exp(-1 / tau)
    return lfilter([1], [1, -a], sd * np.sqrt(1 - a * a) * rng.standard_normal(n + int(5 * tau)))[-n:]


def draw(ride: np.ndarray, what: str, rng: np.random.Generator, error: dict[str, float]) -> Draw | None:
    """One device; None if the ride has no coasting to put a step at."""
    x = ride
    if x.size > LONGEST_S:
        start = int(rng.integers(0, x.size - LONGEST_S))
        x = x[start:start + LONGEST_S]
        x = x[np.flatnonzero(np.isfinite(x))[0]:]
    if "graded" in error:
        x = np.rint(x * np.linspace(0.7, 1.3, x.size)[::rng.choice([-1, 1])])
    sign, n, works = rng.choice([-1, 1]), x.size, np.nan_to_num(x) > 0
    t = np.arange(n, dtype=float)
    y = 0.97 * x - 3 + sign * x * (error.get("drift", 0.0) * t / 3600 + error.get("bend", 0.0) * (x / 250 - 1))
    if "sd" in error:
        y += wander(rng, n, error["tau"], error["sd"]) * (x if "share" in error else 1)
    size, at = 0.0, 0.0
    if what == "step":
        ends = [stop for start, stop in runs(~works) if stop - start >= 3
                and works[:stop].sum() > SIDE_S and works[stop:].sum() > SIDE_S]
        if not ends:
            return None
        size, at = float(rng.uniform(3, 15) * rng.choice([-1, 1])), float(rng.choice(ends))
        y += size * (t >= at)
    elif what == "warm-up":
        t -= np.argmax(works)
        share, at = rng.uniform(0.02, 0.06) * rng.choice([-1, 1]), rng.uniform(600, 1200)
        course = np.exp(-3 * t / at) if rng.random() < 0.5 else np.maximum(1 - t / at, 0)
        y += share * x * np.where(t < 0, 0, course)
        size = float(share * x[works].mean())
    y = np.where(works, np.maximum(y + 5 * rng.standard_normal(n), 0), x)
    mean, delay = int(error.get("mean", 1)), error.get("delay", 0.0)
    lag = round(delay + (mean - 1) / 2)
    y = make_device(y, rng, scale=1, offset=0, mean=mean, delay=delay)
    return Draw(x[:n - lag], y[lag:], size, at)


def find(made: Draw) -> list[Slow]:
    used = np.isfinite(made.x) & np.isfinite(made.y) & ~((made.x == 0) & (made.y == 0))
    return find_slow(made.x, made.y, np.arange(made.x.size, dtype=float), used, None,
                     ("auto_zero_step", "warm_up_drift"))


def trial(made: Draw, what: str) -> tuple[Slow | None, int]:
    """What was found of the one put in, and how many others."""
    found = find(made)
    right = next((item for item in found if (what == "step" and item.kind == "auto_zero_step"
                  and abs(item.detail["at_s"] - made.at) <= SIDE_S) or (what == "warm-up" and item.kind ==
                  "warm_up_drift")), None)
    return right, len(found) - (right is not None)


def share(hits: list[bool]) -> str:
    """Share in per cent, with its binomial standard error (add-one, so that it is not 0 at the ends)."""
    n = len(hits)
    p = (sum(hits) + 1) / (n + 2)
    return f"{100 * sum(hits) / n:4.0f} ± {100 * np.sqrt(p * (1 - p) / n):.0f} % of {n}" if n else "   -"


def row(what: str, pairs: list[tuple[Draw, Slow]]) -> str:
    """Errors of what was found, in W, in standard errors, and of place or end."""
    if not pairs:
        return ""
    name, error = ("step_W", "se_W") if what == "step" else ("size_W", "se_W")
    off = np.array([item.detail[name] - made.size for made, item in pairs])
    z = off / np.array([item.detail[error] for _, item in pairs])
    text = (f"; size off by {off.mean():+.1f} W, SD {off.std():.1f}; median SE "
            f"{np.median([item.detail[error] for _, item in pairs]):.1f} W; within 2 SE {share((abs(z) < 2).tolist())}")
    if what == "step":
        near = [abs(item.detail["at_s"] - made.at) <= 12 for made, item in pairs]
        inside = [item.detail["earliest_s"] - 12 <= made.at <= item.detail["latest_s"] + 12 for made, item in pairs]
        return f"{text}; right coasting {share(near)}, in the named range {share(inside)}"
    ends = np.array([item.detail["settled_s"] - made.at for made, item in pairs])
    return f"{text}; end off by {ends.mean():+.0f} s, SD {ends.std():.0f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=Path, default=Path(__file__).parent.parent / "tests/data/rides")
    parser.add_argument("--runs", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1000)
    given = parser.parse_args()
    for path in sorted(given.rides.glob("single-*.csv")):
        ride = read(path)
        by_size: dict[str, list[tuple[float, bool]]] = {"step": [], "warm-up": []}
        for name, error in ERRORS.items():
            for what in ("nothing", "step", "warm-up"):
                hits: list[bool] = []
                right: list[tuple[Draw, Slow]] = []
                sizes: list[float] = []
                false, hours = 0, 0.0
                for run in range(given.runs):
                    made = draw(ride, what, np.random.default_rng(given.seed + run), error)
                    if made is None:
                        continue
                    item, others = trial(made, what)
                    false, hours = false + others, hours + made.x.size / 3600
                    hits.append(item is not None)
                    sizes.append(made.size)
                    right += [] if item is None else [(made, item)]
                if what != "nothing":
                    # In units of the median standard error of this kind of error, so that what is missed counts too.
                    unit = np.median([item.detail["se_W"] for _, item in right]) if right else np.nan
                    by_size[what] += [(abs(size) / unit, hit) for size, hit in zip(sizes, hits, strict=True)
                                      if np.isfinite(unit)]
                found = "" if what == "nothing" else f", found {share(hits)}{row(what, right)}"
                print(f"{path.stem:18} {name:21} {what:8} false {false} in {hours:.0f} h{found}", flush=True)
        for what, some in by_size.items():
            cells = [f"{low}-{high}: {share([hit for size, hit in some if low <= size < high])}"
                     for low, high in ((0, 3), (3, 5), (5, 7), (7, 10), (10, 99))]
            print(f"{path.stem:18} {what}: found by size in standard errors: {'; '.join(cells)}", flush=True)


if __name__ == "__main__":
    main()
