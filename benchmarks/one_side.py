"""What is said of a device that doubles one side, and of honest totals with other errors.

    python benchmarks/one_side.py [--runs 1] [--seed 0] [--rows 0:4] [--keep FILE]

Six rides a run: invented ones as in benchmarks/diagnosis.py, by levels of 3 min, with sprints and on stop-and-go roads,
and two real ones. The share of the side has a mean of 48.5 to 51.5 % and wanders with an SD of 1 point over 4 min
("wide": 2 points; "still": not at all), with noise of strokes in per cent each second; or it wanders within seconds
alone, with no noise of strokes. The reference has noise of 3 W, the device of 2 W. Adversaries: honest totals whose
errors go with power and with how it changes: ceilings beside delays of a part of a second, readings that are repeated,
lags, means, noise in proportion to power, drifts, bends, and an error that wanders as a share does.

"Alone": one side doubled is named without a rival; "or": with one; "said": that it is not to be told; "silent": none.
"""

from __future__ import annotations

import argparse
import pickle
import warnings
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
from diagnosis import diagnose, invented, paired, real, wander
from scipy.signal import lfilter

from agree import AgreeWarning, InputError, Pairs
from agree.diagnosis.finding import Finding

RIDES = ("varied", "levels", "sprints", "road", "real 1", "real 2")
REAL = ("single-road-78min", "pair-1-bike")


def effort(kind: str, rng: np.random.Generator, n: int = 2700) -> tuple[np.ndarray, np.ndarray]:
    """Power, W, and cadence."""
    if kind.startswith("real"):
        ride = real(REAL[int(kind[-1]) - 1])
        start = int(rng.integers(0, max(ride.power.size - n, 1)))
        power, cadence = (np.nan_to_num(column[start:start + n]) for column in ride)
        return power, cadence
    cadence = 87 + 4 * wander(rng, 20, n)
    if kind == "varied":
        return tuple(invented(rng, n))
    if kind == "levels":
        power = np.repeat(rng.choice([150, 180, 220, 250, 290, 320], n // 180 + 1), 180)[:n] + 6 * wander(rng, 3, n)
    elif kind == "sprints":
        power = 170 + 15 * wander(rng, 3, n) + 15 * wander(rng, 60, n)
        start = 180
        while start < n - 60:
            long = int(rng.integers(8, 16))
            power[start:start + long] = rng.uniform(650, 1050) * np.linspace(1, 0.75, long)
            power[start + long:start + long + 40] = rng.uniform(60, 110) + 0.1 * power[start + long:start + long + 40]
            cadence[start:start + long] = 110
            start += int(rng.integers(150, 260))
    else:
        power = 200 + 45 * wander(rng, 4, n) + 45 * wander(rng, 40, n) + 25 * wander(rng, 300, n)
        start = 100
        while start < n - 30:
            power[start:start + int(rng.integers(4, 25))] = 0
            start += int(rng.integers(60, 240))
    power = power.clip(0)
    return power, np.where(power > 0, cadence, 0)


def late(x: np.ndarray, seconds: float) -> np.ndarray:
    """Part of a second late: a mix of two neighbouring seconds."""
    return (1 - seconds) * x + seconds * np.r_[x[:1], x[:-1]]


def lag(x: np.ndarray, seconds: float) -> np.ndarray:
    """Answer of the first order."""
    keep = np.exp(-1 / seconds)
    made: np.ndarray = lfilter([1 - keep], [1, -keep], x, zi=[keep * x[0]])[0]
    return made


def mean(x: np.ndarray, seconds: int) -> np.ndarray:
    """Mean over the last seconds."""
    total = np.cumsum(np.r_[np.full(seconds, x[0]), x])
    made: np.ndarray = (total[seconds:] - total[:-seconds]) / seconds
    return made


def repeated(x: np.ndarray, seconds: int) -> np.ndarray:
    """Each reading shown for some seconds."""
    return np.repeat(x[::seconds], seconds)[:x.size]


Device = Callable[[np.ndarray, np.random.Generator], np.ndarray]


def side(strokes: float, sd: float = 0.01, tau: float = 240.0, answer: Callable[[np.ndarray], np.ndarray] | None = None,
         share: tuple[float, float] = (0.485, 0.515)) -> Device:
    """Twice a side whose share wanders, with noise of strokes in per cent."""
    def make(x: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        part = rng.uniform(*share) + sd * wander(rng, tau, x.size)
        y = 2 * x * part * (1 + strokes / 100 * rng.normal(size=x.size))
        return y if answer is None else answer(y)
    return make


def ceiling(delay: float, factor: float = 1.0) -> Device:
    """Ceiling at 75 % of the highest power, of a device that is late by a part of a second."""
    return lambda x, rng: np.minimum(late(x, delay) * factor, 0.75 * np.sort(x)[-20])


DEVICES: dict[str, Device] = {
    "strokes 2 %": side(2), "strokes 3.5 %": side(3.5), "strokes 5 %": side(5), "strokes 8 %": side(8),
    "strokes 2 %, wide": side(2, 0.02), "strokes 3.5 %, wide": side(3.5, 0.02),
    "still, strokes 3.5 %": side(3.5, 0.0), "still, strokes 8 %": side(8, 0.0),
    "strokes 3.5 %, 3-s mean": side(3.5, answer=lambda x: mean(x, 3)),
    "strokes 3.5 %, lag 3 s": side(3.5, answer=lambda x: lag(x, 3)),
    "within 2 s, SD 2 points": side(0, 0.02, 2.0), "within 10 s, SD 2 points": side(0, 0.02, 10.0),
    "within 200 s, SD 2 points, no strokes": side(0, 0.02, 200.0),
    "honest": lambda x, rng: x, "scale 2 %": lambda x, rng: 1.02 * x, "zero -4 W": lambda x, rng: x - 4,
    "noise 3.5 % of power": lambda x, rng: x * (1 + 0.035 * rng.normal(size=x.size)),
    "noise 5 %, drift 5 %": lambda x, rng: x * (1 + np.linspace(-.025, .025, x.size) + 0.05 * rng.normal(size=x.size)),
    "wanders, SD 1.5 %, 300 s": lambda x, rng: x * (1 + 0.015 * wander(rng, 300, x.size)),
    "delay 0.4 s": lambda x, rng: late(x, 0.4), "delay 0.7 s, scale 2 %": lambda x, rng: 1.02 * late(x, 0.7),
    "ceiling": ceiling(0.0), "ceiling, delay 0.4 s": ceiling(0.4), "ceiling, delay 0.8 s": ceiling(0.8),
    "ceiling, delay 0.4 s, scale 2 %": ceiling(0.4, 1.02),
    "repeats 2 s": lambda x, rng: repeated(x, 2), "repeats 3 s, scale 2 %": lambda x, rng: repeated(1.02 * x, 3),
    "3-s mean, repeats 3 s": lambda x, rng: repeated(mean(x, 3), 3),
    "lag 3 s": lambda x, rng: lag(x, 3), "3-s mean": lambda x, rng: mean(x, 3),
    "lag 1.5 s, then lag 3 s": lambda x, rng: lag(lag(x, 1.5), 3),
    "bend": lambda x, rng: x + 0.1 * np.maximum(x - np.quantile(x[x > 0], 0.6), 0),
}
# Another answer of the reference, in place of noise alone.
REFERENCES: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "reference a 3-s mean": lambda x: mean(x, 3), "reference with a lag of 3 s": lambda x: lag(x, 3),
    "reference with a lag of 0.8 s": lambda x: lag(x, 0.8), "reference 0.6 s late": lambda x: late(x, 0.6)}
ROWS = [(name, "") for name in DEVICES] + [(name, slow) for slow in REFERENCES for name in (
    "strokes 2 %", "strokes 5 %", "strokes 3.5 %, wide", "honest", "scale 2 %", "ceiling, delay 0.4 s")]


def draw(device: str, reference: str, kind: str, seed: int) -> Pairs | None:
    """Make one pair; None if it is refused."""
    rng = np.random.default_rng([seed, *map(ord, device + reference + kind)])
    power, cadence = effort(kind, rng)
    y = DEVICES[device](power, rng)
    x = REFERENCES[reference](power) if reference else power
    x, y = (np.round(np.where(one > 1, one + rng.normal(0, sd, one.size), 0).clip(0)) for one, sd in ((x, 3), (y, 2)))
    if "repeats" in device:
        every = 2 if "repeats 2" in device else 3
        y = repeated(y, every)
    try:
        return paired(x, y, cadence, 2.0)
    except InputError:
        return None


def told(found: tuple[Finding, ...]) -> str:
    """What is said of one side doubled."""
    named = [item for item in found if item.cause == "one_side_doubled"]
    if named:
        return "or" if named[0].rivals else "alone"
    return "said" if any("one_side_untold" in item.values for item in found) else "silent"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=1)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--rows", default="", help="first and one past the last, such as 0:4")
    parser.add_argument("--keep", type=Path, help="file to which the pairs are written")
    given = parser.parse_args()
    low, _, high = given.rows.partition(":")
    kept = []
    warnings.simplefilter("ignore", AgreeWarning)
    print("| device | pairs (refused) | alone | or | said | silent | first causes |\n|---|" + 5 * "---:|" + "---|")
    for device, reference in ROWS[int(low or 0):int(high or len(ROWS))]:
        drawn = [draw(device, reference, kind, seed) for seed in range(given.seed, given.seed + given.runs)
                 for kind in RIDES]
        made = [one for one in drawn if one is not None]
        kept.append((device, reference, made))
        found = [diagnose(one) for one in made]
        counts = Counter(told(one) for one in found)
        first = Counter(one[0].cause if one else "none" for one in found)
        print(f"| {device}{', ' if reference else ''}{reference} | {len(made)} ({len(drawn) - len(made)}) | "
              + " | ".join(str(counts[name]) for name in ("alone", "or", "said", "silent")) + " | "
              + ", ".join(f"{name} {count}" for name, count in first.most_common()) + " |", flush=True)
        if given.keep:
            given.keep.write_bytes(pickle.dumps(kept))


if __name__ == "__main__":
    main()
