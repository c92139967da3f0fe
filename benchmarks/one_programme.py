"""Whether one ride passes for one programme on two days, with many kinds of devices, real rides; and the least share.

Run: python benchmarks/one_programme.py [--fetch] [--rides DIR] [--half settle|judge|all] [--runs N] [--seed N]
     [--only WORDS]
Rides are those of same_ride.py, of 40 min and more, at most 90 min of each; one draw of each device on each ride, N
rides. *least share*: of the rider's own changes between steps that both have (limit 0.6, `MOST_STRANGE_SHARE`).
*withheld*: paired, but "may be of one programme". The adversary is every device that hides the rider's own changes:
means over up to 30 s, 40 W of noise, noise that lasts, held readings. 1 of 7 has a Monte-Carlo error of 13 %.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
from clocks import device, record
from programmes import noise
from same_ride import rides
from scipy.signal import lfilter

from agree.core.errors import InputError
from agree.pairing.grid import to_grid
from agree.pairing.match import match
from agree.pairing.same_ride.programme import of_power

Make = Callable[[np.ndarray, np.random.Generator], tuple[np.ndarray, np.ndarray]]


def plain(**options: float) -> Make:
    return lambda x, rng: (x, device(x, rng, phase=float(rng.uniform(0, 9)), **options))  # type: ignore[arg-type]


def lasting(sd: float, memory: float, mean: int = 1) -> Make:
    """Noise of which neighbouring seconds are alike."""
    return lambda x, rng: (x, np.rint(np.where(x > 0, np.maximum(
        device(x, rng, mean=mean) + noise(x.size, rng, sd, memory), 0), 0)))


def lag(seconds: float) -> Make:
    """A first-order lag."""
    keep = math.exp(-1 / seconds)
    return lambda x, rng: (x, np.rint(np.maximum(
        lfilter([0.97 * (1 - keep)], [1, -keep], x) + 2 * rng.standard_normal(x.size), 0)))


def partial(x: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    y = device(x, rng, noise=4)
    return x, np.where(rng.random(y.size) < 0.2, np.rint(y / 2), y)


def swapped(make: Make) -> Make:
    def turned(x: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        one, two = make(x, rng)
        return two, one
    return turned


def first(seconds: int, make: Make) -> Make:
    def part(x: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        one, two = make(x, rng)
        return one[:seconds], two[:seconds]
    return part


DEVICES: dict[str, Make] = {
    "noise 4 W": plain(noise=4), "noise 20 W": plain(noise=20), "noise 40 W": plain(noise=40),
    "3-s mean, 8 W": plain(mean=3, noise=8), "10-s mean, 4 W": plain(mean=10, noise=4),
    "10-s mean, 20 W": plain(mean=10, noise=20), "15-s mean, 4 W": plain(mean=15, noise=4),
    "20-s mean, 4 W": plain(mean=20, noise=4), "30-s mean, 4 W": plain(mean=30, noise=4),
    "first-order lag 4 s": lag(4), "first-order lag 8 s": lag(8), "noise of memory 0.5, 10 W": lasting(10, 0.5),
    "noise of memory 0.7, 20 W": lasting(20, 0.7), "5-s mean, noise of memory 0.7, 8 W": lasting(8, 0.7, 5),
    "a fifth of partial readings": partial,
    "15 min alone": first(900, plain(noise=4)),
    "each reading held for 5 s": lambda x, rng: (x, np.repeat(device(x, rng, noise=4)[::5], 5)[:x.size]),
    "10-s mean is the reference": swapped(plain(mean=10, noise=4))}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=Path, default=Path(__file__).parent.parent / "tests/data/rides")
    parser.add_argument("--fetch", action="store_true")
    parser.add_argument("--half", choices=("settle", "judge", "all"), default="all")
    parser.add_argument("--runs", type=int, default=7)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="rows whose name holds this")
    options = parser.parse_args()
    found = [np.nan_to_num(power) for _, power in rides(options).values() if power.size >= 2400][:options.runs]
    print('| device | pairs | refused | "holds" withheld | least share |\n|---|---:|---:|---:|---:|')
    for number, (name, make) in enumerate(DEVICES.items()):
        if options.only not in name:
            continue
        refused, withheld, shares = 0, 0, [math.inf]
        for place, power in enumerate(found):
            x, y = make(power, np.random.default_rng([49, options.seed, number, place]))
            try:
                told = match(to_grid(record(x), "reference"), to_grid(record(y), "device"), None, None, False)
            except InputError:
                refused += 1
                continue
            withheld += any(note.kind == "pair_programme_untold" for note in told.notes)
            own = of_power(told.x, told.y, told.fine)
            shares.append(own.share if own.seconds else math.inf)
        print(f"| {name} | {len(found)} | {refused} | {withheld} | {min(shares):.2f} |", flush=True)


if __name__ == "__main__":
    main()
