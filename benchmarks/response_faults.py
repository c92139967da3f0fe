"""Devices of any response, with and without faults, made of real rides: error of the mean, recall, precision.

    python benchmarks/response_faults.py [--rides DIR ...] [--draws 2] [--devices ...] [--faults ...] [--keep FILE]

A ride is the truth; the reference is it with noise of 5 W, the device a filter of it with noise of 4 W, both in whole
watts. Truth of the mean is the energy of the device without faults; of one that repeats its readings, at these alone.
`--swapped` gives the device as the reference. `--keep` writes each outcome to a file, and takes from it what is
there: a long table is made in pieces. Prints a Markdown table. Adversaries: two lags in a row, a mean of a lag, a lag
of 4 s up and 1.5 s down, a device that holds its reading for 3 s after pedalling ends, and ones that read every 2 or
4 s and repeat that in between; none of them is among the filters that are fitted.
"""

from __future__ import annotations

import argparse
import json
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.ndimage import uniform_filter1d
from scipy.signal import lfilter

from agree import Pairs, pair_recordings
from agree.core.data.runs import runs
from agree.core.errors import MatchError

RIDES = Path(__file__).resolve().parent.parent / "tests" / "data" / "rides"
KINDS = {"none": "", "dropouts": "dropout", "held": "held", "partial": "partial", "spikes": "spike",
         "saturation": "saturation"}


def lag(x: np.ndarray, tau: float) -> np.ndarray:
    keep = np.exp(-1 / tau)
    return lfilter([1 - keep], [1, -keep], x)


def mean(x: np.ndarray, width: int) -> np.ndarray:
    return lfilter(np.ones(width) / width, [1], x)


def late(x: np.ndarray, by: float) -> np.ndarray:
    whole = int(by)
    one, two = (np.r_[np.zeros(back), x][:x.size] for back in (whole, whole + 1))
    return (1 - by + whole) * one + (by - whole) * two


def uneven(x: np.ndarray) -> np.ndarray:
    """Answer with 4 s to more power, with 1.5 s to less."""
    y = np.zeros(x.size)
    for i in range(1, x.size):
        y[i] = y[i - 1] + (x[i] - y[i - 1]) * (1 - np.exp(-1 / (4.0 if x[i] > y[i - 1] else 1.5)))
    return y


def holding(x: np.ndarray) -> np.ndarray:
    """Hold the last reading for 3 s after pedalling ends."""
    y = x.copy()
    for start, stop in runs(x == 0):
        if start:
            y[start:min(start + 3, stop)] = x[start - 1]
    return y


DEVICES: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "instant, exact": lambda x: x, "instant, noise": lambda x: x, "3-s mean": lambda x: mean(x, 3),
    "10-s mean": lambda x: mean(x, 10), "lag 1.5 s": lambda x: lag(x, 1.5), "lag 2.5 s": lambda x: lag(x, 2.5),
    "lag 4 s": lambda x: lag(x, 4.0), "2.6 s late": lambda x: late(x, 2.6),
    "lags 1.5 and 2.5 s": lambda x: lag(lag(x, 1.5), 2.5), "3-s mean of lag 2.5 s": lambda x: mean(lag(x, 2.5), 3),
    "4 s up, 1.5 s down": uneven, "holds 3 s": holding,
    "repeats every 2 s": lambda x: x, "repeats every 4 s": lambda x: x}
EVERY_S = {"repeats every 2 s": 2, "repeats every 4 s": 4}  # s from one reading to the next, noise and all


class Outcome(NamedTuple):
    """One pairing: error of the mean (points), seconds found rightly, found, put in, false events, hours."""

    error: float
    right: int
    found: int
    put_in: int
    false: Counter[str]
    hours: float


def read(path: Path) -> np.ndarray:
    """Power second by second; nothing recorded counts as 0."""
    table = pd.read_csv(path)
    second = (table["time_s"] if "time_s" in table else
              pd.to_datetime(table["timestamp"]).astype("datetime64[s, UTC]").astype("int64")).to_numpy(int)
    power = np.zeros(second[-1] - second[0] + 1)
    power[second - second[0]] = np.nan_to_num(table["power_W"].to_numpy(float))
    return power


def traces(name: str, true: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Reference and device."""
    if name == "instant, exact":
        return true.copy(), true.copy()
    x = np.rint(np.where(true > 0, np.maximum(true + 5 * rng.standard_normal(true.size), 1), 0))
    y = DEVICES[name](true)
    y = np.rint(np.where(y >= 0.5, np.maximum(y + 4 * rng.standard_normal(y.size), 0), 0))
    return x, y[np.arange(y.size) // EVERY_S.get(name, 1) * EVERY_S.get(name, 1)]


def spots(y: np.ndarray, lengths: np.ndarray, rng: np.random.Generator, change: float = -1) -> Iterator[slice]:
    """Yield runs of the given lengths in which the device reads above 20 W, at least 15 s apart."""
    free = np.ones(y.size, bool)
    free[:40] = free[-40:] = False
    for length in lengths:
        for _ in range(200):
            start = int(rng.integers(40, y.size - 40 - length))
            part = y[start:start + length]
            if free[start - 15:start + length + 15].all() and (part > 20).all() and np.ptp(part) > change * part.max():
                free[start:start + length] = False
                yield slice(start, start + int(length))
                break


def inject(fault: str, y: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Put faults into a device; and where they are."""
    y, truth, count = y.copy(), np.zeros(y.size, bool), max(4, round(y.size / 300))
    if fault == "saturation":
        top = np.rint(np.quantile(y[y > 0], rng.uniform(0.97, 0.995)))
        return np.minimum(y, top), y > top
    lengths = {"dropouts": np.r_[rng.integers(3, 21, count), np.ones(round(0.02 * (y > 0).sum()), int)],
               "held": rng.integers(5, 16, 2 * count), "partial": rng.integers(3, 61, 2 * count),
               "spikes": rng.integers(1, 4, 2 * count)}.get(fault, np.zeros(0, int))
    for part in spots(y, lengths, rng, 0.2 if fault == "held" else -1):
        truth[part] = True
        if fault == "dropouts":
            y[part] = 0
        elif fault == "held":
            y[part], truth[part.start] = y[part.start], False
        elif fault == "partial":
            y[part] = np.rint(y[part] * rng.choice([0.5, 0.25]))
        else:
            y[part] += rng.integers(600, 3001)
    return y, truth


def frame(power: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame({"time_s": np.arange(power.size), "power_W": power})


def mean_error(pairs: Pairs, swapped: bool) -> float:
    """Mean error of the device, per cent of the reference's energy."""
    u, v = pairs.matched_reference[pairs.used], pairs.matched_device[pairs.used]
    return 100 * float((u - v).sum() / v.sum() if swapped else (v - u).sum() / u.sum())


def places(column: np.ndarray, y: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Second of a trace that each pair holds: time counts those of the first recording, and a clock may step."""
    shifts = np.arange(-2, 15)
    like = np.array([uniform_filter1d((y[np.clip(second + by, 0, y.size - 1)] == column).astype(float), 61)
                     for by in shifts])
    return np.clip(second + shifts[like.argmax(axis=0)], 0, y.size - 1)


def outcome(true: np.ndarray, name: str, fault: str, seed: int, swapped: bool) -> Outcome | None:
    rng = np.random.default_rng(seed)
    x, good = traces(name, true, rng)
    y, truth = inject(fault, good, rng)
    read = slice(None, None, EVERY_S.get(name, 1))  # which seconds it reads is chance, and no error of a device
    want = 100 * float(good[read].sum() - x[read].sum()) / float(x[read].sum())
    try:
        pairs = pair_recordings(*map(frame, (y, x) if swapped else (x, y)))
    except MatchError:
        return None
    kind, role = KINDS[fault], "reference" if swapped else "device"
    place = places(pairs.reference if swapped else pairs.device, y, np.rint(pairs.time).astype(int))
    there = truth[place]
    found = np.isin(pairs.reason, (f"{role}_{kind}", f"either_{kind}")) if kind else np.zeros(there.size, bool)
    false = Counter(one.kind for one in pairs.faults
                    if not kind or one.kind not in (f"{role}_{kind}", f"either_{kind}"))
    return Outcome(mean_error(pairs, swapped) - want, int((found & there).sum()), int(found.sum()), int(there.sum()),
                   false, float(pairs.time[-1]) / 3600)


class Kept:
    """Outcomes of a file, one a line, and those that are added to it."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        lines = path.read_text().splitlines() if path is not None and path.exists() else []
        self.known: dict[str, list] = dict(json.loads(line) for line in lines)

    def outcome(self, ride: str, true: np.ndarray, name: str, fault: str, seed: int, swapped: bool) -> Outcome | None:
        """Take the outcome from the file, or work it out and add it."""
        key = json.dumps([ride, name, fault, seed, swapped])
        if key not in self.known:
            got = outcome(true, name, fault, seed, swapped)
            self.known[key] = [] if got is None else list(got)
            if self.path is not None:
                with self.path.open("a") as file:
                    file.write(json.dumps([key, self.known[key]]) + "\n")
        *values, false, hours = self.known[key] or [None, None]
        return Outcome(*values, Counter(false), hours) if values else None


def row(rides: dict[str, np.ndarray], name: str, fault: str, draws: int, swapped: bool, kept: Kept) -> str:
    tried = [kept.outcome(ride, true, name, fault, seed, swapped) for ride, true in rides.items()
             for seed in range(draws)]
    some = [one for one in tried if one is not None]
    error = np.abs([one.error for one in some])
    right, found, put = (np.array([getattr(one, field) for one in some], float)
                         for field in ("right", "found", "put_in"))
    false: Counter[str] = sum((one.false for one in some), Counter())
    hours = sum(one.hours for one in some)
    recall, precision = right / np.maximum(put, 1), right / np.maximum(found, 1)
    told = "- | -" if fault == "none" else (
        f"{100 * right.sum() / max(put.sum(), 1):.1f} ({100 * recall.min():.0f}) | "
        f"{100 * right.sum() / max(found.sum(), 1):.1f} ({100 * precision.min():.0f})")
    return (f"| {name} | {fault} | {np.median(error):.3f} / {error.max():.3f} | {told} | {sum(false.values())} in "
            f"{hours:.1f} h {dict(false) if false else ''} | {len(tried) - len(some)} of {len(tried)} |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rides", type=Path, nargs="+", default=[RIDES], help="directories of CSV files")
    parser.add_argument("--draws", type=int, default=2)
    parser.add_argument("--devices", nargs="+", default=list(DEVICES), choices=list(DEVICES))
    parser.add_argument("--faults", nargs="+", default=list(KINDS), choices=list(KINDS))
    parser.add_argument("--swapped", action="store_true")
    parser.add_argument("--keep", type=Path, help="file of outcomes, to go on from")
    parser.add_argument("--at-most", type=float, help="fail if an error of the mean is larger")
    given = parser.parse_args()
    warnings.simplefilter("ignore")
    rides = {path.stem: read(path) for folder in given.rides for path in sorted(folder.glob("*.csv"))
             if "pedals" not in path.stem}
    kept = Kept(given.keep)
    print("| device | faults | error of the mean, points: median / worst | recall, % (worst) | precision, % (worst) | "
          "false events | refused |\n|---|---|---|---|---|---|---|")
    worst = 0.0
    for name in given.devices:
        for fault in given.faults:
            line = row(rides, name, fault, given.draws, given.swapped, kept)
            worst = max(worst, float(line.split(" / ")[1].split(" |")[0]))
            print(line, flush=True)
    if given.at_most is not None and worst > given.at_most:
        raise SystemExit(f"worst error {worst} points, at most {given.at_most} are allowed")


if __name__ == "__main__":
    main()
