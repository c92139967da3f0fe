"""How alike cadence and speed of different rides are by chance, and how long matching takes.

Run: python benchmarks/witnesses.py [--rides DIR] [--runs N]
DIR holds single-*.csv and pair-1-*.csv of the form of tests/data/rides. Speed is calculated from power.
"""

from __future__ import annotations

import argparse
import contextlib
import math
import time
from pathlib import Path

import numpy as np
from clocks import Ride, device, read, record

from agree.core.errors import MatchError
from agree.pairing import witnesses
from agree.pairing.clocks import clock
from agree.pairing.grid import Grid, to_grid
from agree.pairing.match import match


def rolling(power: np.ndarray) -> np.ndarray:
    """Speed of 80 kg with drag and rolling resistance, braking now and then; for want of rides with speed."""
    speed, now = np.zeros(power.size), 1.0
    for second, watts in enumerate(np.nan_to_num(power)):
        brake = 60 if watts == 0 and second % 97 < 30 else 0
        now = max(now + (watts / max(now, 2) - 0.18 * now**2 - 3.5 - brake) / 80, 0.0)
        speed[second] = now
    return speed


def likeness(rides: dict[str, Ride], runs: int) -> None:
    print("| channel | wrong pairings of pieces | strongest | accepted as a witness | the real pair in pieces | "
          "heard | lag wrong by more than 3 s |\n|---|---:|---:|---:|---:|---:|---:|")
    rolled = {name: rolling(ride.power) for name, ride in rides.items()}
    for channel in witnesses.WITNESSES:
        rng = np.random.default_rng(16)
        values = {name: rolled[name] if channel == "speed" else ride.cadence for name, ride in rides.items()}
        tried, strongest, accepted = 0, 0.0, 0
        for _ in range(runs):
            for length in (600, 1800, 3600):
                for a, b in ((a, b) for a in rides for b in rides if a != b and not a[:4] == b[:4] == "pair"):
                    x, y = (v[i:i + length] for v in (values[a], values[b])
                            for i in [int(rng.integers(0, max(v.size - length, 1)))])
                    found = clock.candidates(x, y, -math.inf, math.inf)
                    tried += bool(found)
                    strongest = max(strongest, found[0].strength if found else 0)
                    one, two = (Grid(0.0, v, **{channel: v}) for v in (x, y))
                    accepted += witnesses.ask(one, two, channel, -math.inf, math.inf) is not None
        heard, wrong_, pieces = 0, 0, 0
        bike, pedals = values["pair-1-bike"], values["pair-1-pedals"]
        for _ in range(3 * runs if channel == "cadence" else 0):
            length = int(rng.choice([600, 1200, 3600]))
            start = int(rng.integers(0, max(bike.size - length, 1)))
            one = Grid(float(start), bike[start:start + length], bike[start:start + length])
            told = witnesses.ask(one, Grid(0.0, pedals, pedals), channel, -math.inf, math.inf)
            pieces += 1
            heard += told is not None
            wrong_ += told is not None and abs(told.lag - start - 25) > 3
        print(f"| {channel}{' (calculated from power)' if channel == 'speed' else ''} | {tried} | {strongest:.1f} | "
              f"{accepted} | {pieces} | {heard} | {wrong_} |", flush=True)


def speed(rides: dict[str, Ride], runs: int) -> None:
    print("| finding the lag | processor time, median (s) |\n|---|---:|")
    x = rides["single-road-78min"].power
    y = device(x, np.random.default_rng(17), mean=3, noise=8, phase=3.3)
    cases = {"78 min, no step": (x, y), "78 min, three steps": (x, np.delete(y, np.r_[900:960, 2000:2100, 3000:3020])),
             "78 min, of different rides (refused)": (x, rides["single-road-stops"].power),
             "3.5 h, no step": tuple(np.r_[power, rides["single-road-stops"].power, rides["pair-1-bike"].power]
                                     for power in (x, y))}
    for name, (one, two) in cases.items():
        taken = []
        for _ in range(max(runs // 2, 3)):
            began = time.process_time()
            with contextlib.suppress(MatchError):
                match(to_grid(record(one), "reference"), to_grid(record(two), "device"), None, None, False)
            taken.append(time.process_time() - began)
        print(f"| {name} | {np.median(taken):.2f} |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=Path, default=Path(__file__).parent.parent / "tests/data/rides")
    parser.add_argument("--runs", type=int, default=10)
    options = parser.parse_args()
    rides = {path.stem: read(path) for path in sorted(options.rides.glob("*.csv"))}
    for part in (likeness, speed):
        print(f"\n### {part.__name__}\n", flush=True)
        part(rides, options.runs)


if __name__ == "__main__":
    main()
