"""Two riders of one programme beside one ride on it: steps coincide, and only what the rider does between them tells.

Run: python benchmarks/two_riders.py [--runs N] [--seed N]
Invented: steps of 30 to 300 s over 20 to 60 min, a trainer that takes 2 to 6 s, own changes of 3, 5 or 8 W that last
1 to 5 s, a reference with noise of 1 to 4 W and a device with 4 to 20 W of it, of one reading every second or every
2 s, as it is or a mean over 3 or 10 s; no cadence. Every other pair has dates that agree.
"""

from __future__ import annotations

import argparse
from collections import Counter

import numpy as np
from programmes import noise
from scipy.signal import lfilter

from agree import Recording
from agree.core.errors import InputError
from agree.pairing.grid import to_grid
from agree.pairing.match import match


def pair(seed: int, one_ride: bool) -> tuple[Recording, Recording]:
    """Reference and device, of one ride or of two riders."""
    rng = np.random.default_rng(seed)
    size, step = 60 * int(rng.choice([20, 30, 45, 60])), int(rng.choice([30, 45, 60, 90, 120, 300]))
    loud, quiet, own = float(rng.choice([4, 10, 15, 20])), float(rng.choice([1, 2, 4])), float(rng.choice([3, 5, 8]))
    memory, mean = float(np.exp(-1 / rng.choice([1, 2, 5]))), int(rng.choice([1, 1, 1, 3, 10]))
    every, trainer = int(rng.choice([1, 1, 2])), float(rng.choice([0.5, 0.7, 0.85]))
    plan = np.repeat(rng.choice([110.0, 140, 160, 180, 200, 220, 240, 260, 280], size // step + 1), step)[:size]
    plan = lfilter([1 - trainer], [1, -trainer], plan - plan[0]) + plan[0]
    first = plan + noise(size, rng, own, memory)
    second = first if one_ride else plan + noise(size, rng, own, memory)
    second = np.convolve(np.r_[np.full(mean - 1, second[0]), second], np.ones(mean) / mean, "valid")
    x, y = (np.rint(np.maximum(scale * power + sd * rng.standard_normal(size), 0))
            for scale, power, sd in ((1, first, quiet), (0.99, second, loud)))
    time = 1.7e9 + np.arange(size)
    return (Recording(time=time, power=x, clock="utc"),
            Recording(time=time[::every] + 3, power=y[::every], clock="utc"))


def outcome(x: Recording, y: Recording, dated: bool) -> str:
    try:
        found = match(to_grid(x, "reference"), to_grid(y, "device"), None, None, False, dated)
    except InputError:
        return "refused"
    return "withheld" if any(note.kind == "pair_programme_untold" for note in found.notes) else "accepted"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    print('| pairs | dates | tried | refused | "holds" withheld | accepted |\n|---|---|---:|---:|---:|---:|')
    for name, one_ride in (("two riders", False), ("one ride", True)):
        for dated in (False, True):
            count = Counter(outcome(*pair(1000 * options.seed + 2 * k + dated, one_ride), dated)
                            for k in range(options.runs))
            print(f"| {name} | {'agree' if dated else 'none'} | {options.runs} | {count['refused']} | "
                  f"{count['withheld']} | {count['accepted']} |", flush=True)


if __name__ == "__main__":
    main()
