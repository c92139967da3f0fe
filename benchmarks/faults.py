"""How well faults of known position are found in devices made by calculation from real rides.

Run: python benchmarks/faults.py --rides DIR (the files single-*.csv of tests/data/rides, or others of that form).
A device reads 0.97 of the reference less 6 W (0 stays 0), averaged over the last 3 s, with noise, 3.4 s late and in
whole watts; or only some of that. Printed for each: error of the lag, false events per hour without any fault, recall
and precision in seconds of each kind of fault, and the error of the count of dropped seconds.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from agree import pair_recordings

KINDS = ("dropout", "partial", "held", "spike")
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


def inject(x: np.ndarray, y: np.ndarray, lag: int, kinds: tuple[str, ...], rng: np.random.Generator) -> Injected:
    """Put faults into `y`; x[i] and y[i + lag] are of one second."""
    y, judge = y.copy(), np.r_[np.full(lag, np.nan), x[:x.size - lag]]
    truth = {kind: np.zeros(y.size, bool) for kind in KINDS}
    count = max(4, round(x.size / 300))
    lengths = {
        "dropout": np.r_[rng.integers(3, 21, count), np.ones(round(0.02 * (x > 0).sum()), int)],
        "partial": rng.integers(3, 61, 2 * count), "held": rng.integers(5, 16, 2 * count),
        "spike": rng.integers(1, 3, 2 * count),
    }
    if len(kinds) == len(KINDS):
        lengths = {kind: rng.permutation(some)[:some.size // 2] for kind, some in lengths.items()}
    used = np.where(np.isfinite(y) & np.isfinite(judge), judge, 0.0)
    for kind in kinds:
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
    """Seconds found rightly, found in all and injected."""

    right: int
    found: int
    injected: int

    @property
    def recall(self) -> float:
        """Share of the injected seconds that were found."""
        return self.right / max(self.injected, 1)

    @property
    def precision(self) -> float:
        """Share of the found seconds that were injected."""
        return self.right / max(self.found, 1)


def score(x: np.ndarray, injected: Injected, lag: int, kind: str) -> tuple[Score, float]:
    """Pair and compare; also return the lag found."""
    pairs = pair_recordings(frame(x), frame(injected.device))
    native = np.rint(pairs.time).astype(int) + lag  # no lag here is negative, so time 0 is place 0 of the reference
    found = np.zeros(x.size, bool)
    found[native] = pairs.reason == f"device_{kind}"
    true = injected.truth[kind]
    return Score(int((found & true).sum()), int(found.sum()), int(true.sum())), pairs.alignment.lag_s


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=Path, default=Path(__file__).parent.parent / "tests/data/rides")
    folder = parser.parse_args().rides
    print("recall/precision in %, seconds; events per hour: device + reference, no fault injected")
    print(f"{'ride':20}{'device':14}{'lag error':>10}{'events/h':>12}"
          + "".join(f"{kind:>12}" for kind in KINDS) + f"{'count':>8}" + "   all at once, kind by kind")
    for path in sorted(folder.glob("single-*.csv")):
        x = read(path)
        for name, options in DEVICES.items():
            rng = np.random.default_rng(5)
            y = make_device(x, rng, **options)
            true_lag = options.get("delay", 3.4) + (options.get("mean", 3) - 1) / 2
            lag = round(true_lag)
            clean = pair_recordings(frame(x), frame(y))
            events = [sum(e.reason.startswith(role) for e in clean.events()) * 3600 / clean.time[-1]
                      for role in ("device", "reference")]
            row, worst, count = "", abs(clean.alignment.lag_s - true_lag), 0.0
            for kind in KINDS:
                result, found_lag = score(x, inject(x, y, lag, (kind,), rng), lag, kind)
                row += f"{100 * result.recall:6.1f}/{100 * result.precision:5.1f}"
                worst = max(worst, abs(found_lag - true_lag))
                if kind == "dropout":
                    count = 100 * (result.found / max(result.injected, 1) - 1)
            together = inject(x, y, lag, KINDS, rng)
            mixed = " ".join(f"{100 * s.recall:.0f}/{100 * s.precision:.0f}" for s in
                             (score(x, together, lag, kind)[0] for kind in KINDS))
            print(f"{path.stem:20}{name:14}{worst:10.3f}{events[0]:6.2f}+{events[1]:5.2f}{row}{count:+7.1f}%   {mixed}",
                  flush=True)


if __name__ == "__main__":
    main()
