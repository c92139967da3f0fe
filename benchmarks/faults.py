"""How well faults of known position are found in devices made by calculation from real rides.

Run: python benchmarks/faults.py --rides DIR (the files single-*.csv of tests/data/rides, or others of that form).
A device reads 0.97 of the reference less 6 W (0 stays 0), averaged over the last 3 s, with noise, 3.4 s late and in
whole watts; or only some of that. Printed for each: error of the lag, false events per hour without any fault, and
recall and precision in seconds of each kind of fault.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from agree import pair_recordings
from agree.core.data.fault import SLOW
from agree.core.data.runs import runs

KINDS = ("saturation", "late_start", "dropout", "partial", "held", "spike")
RARE = ("saturation", "late_start")
REST_S = 60  # after so long a rest a device may wake late
DEVICES: dict[str, dict[str, Any]] = {
    "scale": {"offset": 0.0, "mean": 1, "delay": 0.0},
    "offset": {"scale": 1.0, "mean": 1, "delay": 0.0},
    "delay": {"scale": 1.0, "offset": 0.0, "mean": 1},
    "3-s mean": {"scale": 1.0, "offset": 0.0, "delay": 0.0},
    "noise 3 W": {"scale": 1.0, "offset": 0.0, "mean": 1, "delay": 0.0, "noise": 3.0},
    "noise 8 W": {"scale": 1.0, "offset": 0.0, "mean": 1, "delay": 0.0, "noise": 8.0},
    "no mean, 8 W": {"mean": 1, "noise": 8.0},
    "all, 0 W": {},
    "all, 3 W": {"noise": 3.0},
    "all, 8 W": {"noise": 8.0},
}


class Injected(NamedTuple):
    """A device trace with faults, and the seconds that hold one of each kind."""

    device: np.ndarray
    truth: dict[str, np.ndarray]


def read(path: Path) -> np.ndarray:
    """Power on a 1-s grid, NaN where there is no row."""
    table = pd.read_csv(path)
    second = table["time_s"].to_numpy(int)
    power = np.full(second[-1] - second[0] + 1, np.nan)
    power[second - second[0]] = table["power_W"]
    return power


def make_device(x: np.ndarray, rng: np.random.Generator, *, scale: float = 0.97, offset: float = -6.0,
                mean: int = 3, noise: float = 0.0, delay: float = 3.4) -> np.ndarray:
    """Calculate a device with known errors; its lag is `delay` and half of what the mean goes back."""
    y = np.where(x > 0, np.maximum(scale * x + offset, 0.0), x * 0.0)
    y = sum(np.r_[np.full(back, y[0]), y[:y.size - back]] for back in range(mean)) / mean
    y = np.where(y > 0, np.maximum(y + noise * rng.standard_normal(y.size), 0.0), y)
    whole = int(delay)
    late = [np.r_[np.full(back, y[0]), y[:y.size - back]] for back in (whole, whole + 1)]
    return np.rint((whole + 1 - delay) * late[0] + (delay - whole) * late[1] if delay > whole else late[0])


def spots(x: np.ndarray, lengths: np.ndarray, rng: np.random.Generator, change: float) -> Iterator[tuple[int, int]]:
    """Yield runs of the given lengths, at least 15 s apart, in which the reference works and changes enough."""
    free = np.ones(x.size, bool)
    free[:20] = free[-20:] = False
    for length in lengths:
        for _ in range(200):
            start = int(rng.integers(20, x.size - 20 - length))
            part = x[start:start + length]
            if free[start - 15:start + length + 15].all() and (part > 0).all() and np.ptp(part) > change * part.max():
                free[start:start + length] = False
                yield start, start + int(length)
                break


def saturate(y: np.ndarray, used: np.ndarray, truth: np.ndarray, rng: np.random.Generator) -> None:
    """Cut the highest 0.5 to 3 % of readings, of which two runs last at least 3 s; all that are cut count."""
    for _ in range(20):
        ceiling = np.rint(np.quantile(y[y > 0], rng.uniform(0.97, 0.995)))
        cut = [run for run in runs(y >= ceiling) if run[1] - run[0] >= 3 and y[slice(*run)].max() > ceiling]
        if len(cut) >= 2:
            break
    over = runs(y > ceiling)
    np.minimum(y, ceiling, out=y)
    for start, stop in over:
        truth[start:stop] = True
        used[max(start - 15, 0):stop + 15] = 0


def wake_late(y: np.ndarray, judge: np.ndarray, used: np.ndarray, truth: np.ndarray, rng: np.random.Generator) -> None:
    """Let the device read 0, nothing or one value until up to 120 s after the start, and after each long rest."""
    works = judge > 15
    begin = int(np.argmax(works))
    rests = [(0, begin)] + [(i, j) for i, j in runs(~works) if i > begin and j - i >= REST_S and j < y.size - 200]
    awake = -1
    for idle, first in rests:
        if idle <= awake:  # it would be one long sleep
            continue
        # What was last read is repeated only from where there is something to repeat.
        way = rng.choice(["zero", "blank", "frozen"] if idle == 0 else ["zero", "blank"])
        stop = first + int(np.exp(rng.uniform(np.log(5 if way == "frozen" else 3), np.log(121))))
        while stop < y.size and not y[stop] > 15:  # it wakes when there is something to show
            stop += 1
        if not works[first:stop].all() and way == "frozen":
            way = "zero"
        part = slice(idle, stop)
        if way == "frozen":
            y[part] = max(np.rint(np.nanmedian(y[first:stop])), 20.0)
            if y[stop] == y[first]:
                y[stop] += 1
        else:
            y[part] = 0.0 if way == "zero" else np.nan
        truth[first if way != "frozen" else idle:stop] = True
        truth[part] &= np.isfinite(judge[part]) & ~((judge[part] == 0) & (y[part] == 0))
        if way == "blank":
            truth[idle:first] = False
        used[max(idle - 15, 0):stop + 15] = 0
        awake = stop + 15


def inject(x: np.ndarray, y: np.ndarray, lag: int, kinds: tuple[str, ...], rng: np.random.Generator) -> Injected:
    """Put faults into `y`; x[i] and y[i + lag] are of one second."""
    y, judge = y.copy(), np.r_[np.full(lag, np.nan), x[:x.size - lag]]
    truth = {kind: np.zeros(y.size, bool) for kind in KINDS}
    count = max(4, round(x.size / 300))
    lengths = {
        "dropout": np.r_[rng.integers(3, 21, count), np.ones(round(0.02 * (x > 0).sum()), int)],
        "partial": rng.integers(3, 61, 2 * count), "held": rng.integers(5, 16, 2 * count),
        "spike": rng.integers(1, 4, 2 * count), "saturation": np.zeros(0, int), "late_start": np.zeros(0, int),
    }
    if len(kinds) == len(KINDS):
        lengths = {kind: rng.permutation(some)[:some.size // 2] for kind, some in lengths.items()}
    used = np.where(np.isfinite(y) & np.isfinite(judge), judge, 0.0)
    for kind in kinds:
        if kind == "saturation":
            saturate(y, used, truth[kind], rng)
        elif kind == "late_start":
            wake_late(y, judge, used, truth[kind], rng)
            if "saturation" in kinds:
                truth["saturation"] &= ~truth[kind]
        for start, stop in spots(used, lengths[kind], rng, 0.2 if kind == "held" else -1.0):
            part = slice(start, stop)
            if kind == "dropout":
                truth[kind][part] = y[part] > 0
                y[part] = 0
            elif kind == "partial":
                y[part] = np.rint(y[part] * rng.choice([0.5, 0.25]))
                truth[kind][part] = True
            elif kind == "held" and y[start] > 0:
                y[part] = y[start]
                truth[kind][start + 1:stop] = True
            elif kind == "spike":
                y[part] += rng.integers(600, 3001)
                truth[kind][part] = True
            used[start - 15:stop + 15] = 0
    return Injected(y, truth)


def frame(power: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame({"time_s": np.arange(power.size), "power_W": power})


class Score(NamedTuple):
    """Seconds found rightly, found in all, injected, and blamed on the reference instead; the lag found."""

    right: int
    found: int
    injected: int
    blamed: int = 0
    lag: float = 0.0

    @property
    def recall(self) -> float:
        """Share of the injected seconds that were found."""
        return self.right / max(self.injected, 1)

    @property
    def precision(self) -> float:
        """Share of the found seconds that were injected."""
        return self.right / max(self.found, 1)


def share(scores: list[Score], whole: str) -> tuple[float, float]:
    """Return the share found rightly of all draws together, in per cent, and its standard error between draws."""
    right, total = (np.array([getattr(s, name) for s in scores], float) for name in ("right", whole))
    value = right.sum() / max(total.sum(), 1)
    return 100 * value, 100 * float(np.sqrt(((right - value * total) ** 2).sum())) / max(total.sum(), 1)


def score(x: np.ndarray, injected: Injected, lag: int, kinds: tuple[str, ...]) -> list[Score]:
    """Pair, and compare each kind."""
    pairs = pair_recordings(frame(x), frame(injected.device))
    native = np.rint(pairs.time).astype(int) + lag  # no lag here is negative, so time 0 is place 0 of the reference
    blamed = int(np.char.startswith(pairs.reason, "reference").sum())
    scores = []
    for kind in kinds:
        found, true = np.zeros(x.size, bool), injected.truth[kind]
        found[native] = np.isin(pairs.reason, (f"device_{kind}", f"either_{kind}"))
        scores.append(Score(int((found & true).sum()), int(found.sum()), int(true.sum()), blamed,
                            pairs.alignment.lag_s))
    return scores


def device_row(x: np.ndarray, name: str, draws: int) -> tuple[str, dict[str, list[Score]]]:
    """One line of the table, and the scores of each kind."""
    options, scores, mixed = DEVICES[name], {kind: [] for kind in KINDS}, {kind: [] for kind in KINDS}
    true_lag = options.get("delay", 3.4) + (options.get("mean", 3) - 1) / 2
    lag, worst, events = round(true_lag), 0.0, np.zeros(2)
    for draw in range(draws):
        rng = np.random.default_rng(5 + draw)
        y = make_device(x, rng, **options)
        clean = pair_recordings(frame(x), frame(y))
        events += [sum(e.kind.startswith(role) for e in clean.faults) * 3600 / clean.time[-1] / draws
                   for role in ("device", "reference")]
        events[0] += sum(e.kind in SLOW for e in clean.faults) * 3600 / clean.time[-1] / draws
        worst = max(worst, abs(clean.alignment.lag_s - true_lag))
        for kind in KINDS:
            # A late start is one event a draw, and a ceiling a few: more draws.
            for _ in range(4 if kind in RARE else 1):
                scores[kind] += score(x, inject(x, y, lag, (kind,), rng), lag, (kind,))
        for kind, one in zip(KINDS, score(x, inject(x, y, lag, KINDS, rng), lag, KINDS), strict=True):
            mixed[kind].append(one)
        worst = max([worst, *(abs(s.lag - true_lag) for some in scores.values() for s in some)])
    parts = [f"{share(some, 'injected')[0]:6.1f}/{share(some, 'found')[0]:5.1f}" for some in scores.values()]
    return (f"{name:14}{worst:10.3f}{events[0]:6.2f}+{events[1]:5.2f}" + "".join(parts) + "   " + " ".join(
        f"{share(some, 'injected')[0]:.0f}/{share(some, 'found')[0]:.0f}" for some in mixed.values())), scores


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=Path, default=Path(__file__).parent.parent / "tests/data/rides")
    parser.add_argument("--long", action="store_true", help="five draws of each device instead of one")
    given = parser.parse_args()
    print("recall/precision in %, seconds; events per hour: device + reference, no fault injected")
    print(f"{'ride':20}{'device':14}{'lag error':>10}{'events/h':>12}" + "".join(f"{kind:>12}" for kind in KINDS)
          + "   all at once, kind by kind")
    for path in sorted(given.rides.glob("single-*.csv")):
        x = read(path)
        total: dict[str, list[Score]] = {kind: [] for kind in KINDS}
        for name in DEVICES:
            row, scores = device_row(x, name, 5 if given.long else 1)
            print(f"{path.stem:20}{row}", flush=True)
            for kind, some in scores.items():
                total[kind] += some
        for kind, some in total.items():
            texts = ["{:5.1f} ± {:.1f} %".format(*share(some, whole)) for whole in ("injected", "found")]
            print(f"{path.stem:20}all devices: {kind:12}recall {texts[0]}, precision {texts[1]} (standard error of "
                  f"{len(some)} draws, {sum(s.injected for s in some):,} s); "
                  f"{sum(s.blamed for s in some)} s blamed on the reference")


if __name__ == "__main__":
    main()
