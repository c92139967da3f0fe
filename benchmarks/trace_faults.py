"""Faults of recordings that are no power: recall of what was put in, and false events where nothing was.

Simulated sessions of an hour. In each row one kind of fault is put into the device, at random places; an event is found
if at least half of its seconds are, under its own name. False are found events that touch nothing put in. Adversaries,
in rows of their own and beside the faults: for heart rate six unrelated artefacts (runs of 20 to 60 s some 10 to 30 bpm
off) and a body that rests at one value; for balance a rider near 50 % with a device 1.5 points off; for speed real
stops, seen 2 s late, and sprints; for oxygen uptake breaths that scatter by a tenth; for cadence freewheeling.

    python benchmarks/trace_faults.py --runs 100
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from agree.core.quantities.known import BALANCE, CADENCE, HEART_RATE, OXYGEN_UPTAKE, SPEED
from agree.core.quantity import Quantity
from agree.quantities.faults import find_trace_faults
from agree.quantities.overlay import lay_over

Array = NDArray[np.float64]
HOUR = 3600
T = np.arange(HOUR, dtype=float)


def smooth(rng: np.random.Generator, width: int, size: float) -> Array:
    """Wandering of SD `size` that forgets itself in `width` seconds."""
    own = np.convolve(rng.normal(size=HOUR + width - 1), np.ones(width), "valid") / math.sqrt(width)
    return np.asarray(size * own)


def heart(rng: np.random.Generator) -> tuple[Array, Array]:
    """Strap and wrist, 4 s late."""
    true = 132 + smooth(rng, 240, 15) + smooth(rng, 40, 4)
    return np.round(true + rng.normal(0, 0.5, HOUR)), np.round(np.interp(T - 4, T, true) + rng.normal(0, 1.5, HOUR))


def artefacts(rng: np.random.Generator) -> tuple[Array, Array]:
    """The same with six runs that are 10 to 30 bpm off."""
    x, y = heart(rng)
    for _ in range(6):
        at, length = int(rng.integers(0, HOUR - 60)), int(rng.integers(20, 61))
        y[at:at + length] += np.round(rng.choice([-1, 1]) * rng.uniform(10, 30))
    return x, y


def resting(rng: np.random.Generator) -> tuple[Array, Array]:
    """A body at rest for half of the time, whose device shows one value for minutes."""
    x, y = heart(rng)
    calm = np.round(62 + smooth(rng, 120, 1.2))
    x[:1800], y[:1800] = calm[:1800], np.round(calm[:1800] / 3) * 3
    return x, y


def balance(rng: np.random.Generator) -> tuple[Array, Array]:
    """Two pedals; the device is 0.5 points off."""
    x = 47 + smooth(rng, 60, 1.0) + rng.normal(0, 0.7, HOUR)
    return np.round(2 * x) / 2, np.round(2 * (x + 0.5 + rng.normal(0, 0.5, HOUR))) / 2


def near_half(rng: np.random.Generator) -> tuple[Array, Array]:
    """A rider near 50 %, a device 1.5 points off."""
    x = 50 + smooth(rng, 60, 1.0) + rng.normal(0, 0.7, HOUR)
    return np.round(2 * x) / 2, np.round(2 * (x + 1.5 + rng.normal(0, 0.7, HOUR))) / 2


def speed(rng: np.random.Generator) -> tuple[Array, Array]:
    """A run with some stops, seen by both."""
    x = np.maximum(3.2 + smooth(rng, 60, 0.5), 0.3)
    for at in rng.integers(100, HOUR - 100, 3):
        x[at:at + int(rng.integers(10, 60))] = 0
    return np.round(x, 2), np.round(np.where(x > 0, np.maximum(x + smooth(rng, 5, 0.08), 0.1), 0), 2)


def stops_and_sprints(rng: np.random.Generator) -> tuple[Array, Array]:
    """A game: 60 stops, 60 sprints, seen 2 s late."""
    x = np.maximum(2.0 + smooth(rng, 20, 0.7), 0.3)
    for at in rng.integers(20, HOUR - 20, 60):
        x[at:at + 6] = 0
    for at in rng.integers(20, HOUR - 20, 60):
        x[at:at + 5] = 8.5
    y = np.r_[x[:2], x[:-2]]
    return np.round(x, 2), np.round(np.where(y > 0, np.maximum(y + smooth(rng, 5, 0.1), 0.1), 0), 2)


def breaths(scatter: float) -> Callable[[np.random.Generator], tuple[Array, Array]]:
    """Oxygen uptake breath by breath on seconds; breaths scatter by a share."""
    def make(rng: np.random.Generator) -> tuple[Array, Array]:
        x = 2.6 + smooth(rng, 200, 0.5)
        parts = [np.repeat(rng.normal(0, scatter, HOUR // 3), 3) for _ in range(2)]
        return x * (1 + parts[0]), x * (1 + parts[1])
    return make


def pedalling(rng: np.random.Generator) -> tuple[Array, Array]:
    """Cadence with 20 times of freewheeling, that the device sees 1 s late."""
    x = 85 + smooth(rng, 60, 6)
    for at in rng.integers(20, HOUR - 20, 20):
        x[at:at + int(rng.integers(3, 20))] = 0
    y = np.r_[x[:1], x[:-1]]
    return np.round(x), np.round(np.where(y > 0, y + rng.normal(0, 0.7, HOUR), 0))


def runs_at(rng: np.random.Generator, count: int, shortest: int, longest: int) -> list[tuple[int, int]]:
    """Places of events that do not touch: starts and lengths, s."""
    starts = 60 + np.arange(count) * (HOUR - 120) // count
    room = (HOUR - 120) // count - longest - 5
    return [(int(start + rng.integers(0, room)), int(rng.integers(shortest, longest + 1))) for start in starts]


def put(kind: str, x: Array, y: Array, at: int, length: int, rng: np.random.Generator) -> None:
    """Put one fault into the device."""
    part = slice(at, at + length)
    if kind == "half":
        y[part] = np.round(y[part] / 2)
    elif kind == "double":
        y[part] = np.round(y[part] * 2)
    elif kind in ("zeros", "dropout"):
        y[part] = 0
    elif kind == "frozen":
        y[part] = y[at]
    elif kind == "exchanged":
        y[part] = 100 - y[part]
    elif kind == "side lost":
        y[part] = rng.choice([0.0, 100.0])
    else:  # a jump or a cough
        y[part] += rng.choice([1.3, 1.8, 2.5]) * (5.0 if kind == "jump" else 1.0)


# Row, quantity, session, fault put in, events, shortest, longest, name it should have.
Session = Callable[[np.random.Generator], tuple[Array, Array]]
ROWS: tuple[tuple[str, Quantity, Session, str, int, int, int, str], ...] = (
    ("heart rate, clean", HEART_RATE, heart, "", 0, 0, 0, ""),
    ("heart rate, six artefacts", HEART_RATE, artefacts, "", 0, 0, 0, ""),
    ("heart rate, at rest", HEART_RATE, resting, "", 0, 0, 0, ""),
    ("half counts", HEART_RATE, heart, "half", 4, 8, 90, "half_or_double"),
    ("double counts", HEART_RATE, artefacts, "double", 4, 8, 90, "half_or_double"),
    ("contact lost: zeros", HEART_RATE, heart, "zeros", 4, 6, 90, "lost_contact"),
    ("contact lost: one value", HEART_RATE, artefacts, "frozen", 4, 30, 180, "lost_contact"),
    ("balance, clean", BALANCE, balance, "", 0, 0, 0, ""),
    ("balance near 50 %, 1.5 points off", BALANCE, near_half, "", 0, 0, 0, ""),
    ("sides exchanged", BALANCE, balance, "exchanged", 2, 120, 900, "sides_exchanged"),
    ("one side lost", BALANCE, near_half, "side lost", 4, 4, 60, "side_lost"),
    ("speed, clean", SPEED, speed, "", 0, 0, 0, ""),
    ("speed, stops and sprints", SPEED, stops_and_sprints, "", 0, 0, 0, ""),
    ("speed dropouts", SPEED, speed, "dropout", 6, 2, 20, "dropout"),
    ("speed dropouts in a game", SPEED, stops_and_sprints, "dropout", 6, 2, 20, "dropout"),
    ("speed jumps", SPEED, speed, "jump", 6, 1, 3, "spike"),
    ("oxygen uptake, breaths scatter by 3 %", OXYGEN_UPTAKE, breaths(0.03), "", 0, 0, 0, ""),
    ("oxygen uptake, by 10 %", OXYGEN_UPTAKE, breaths(0.1), "", 0, 0, 0, ""),
    ("coughs", OXYGEN_UPTAKE, breaths(0.03), "cough", 6, 1, 3, "cough"),
    ("coughs, breaths scatter by 10 %", OXYGEN_UPTAKE, breaths(0.1), "cough", 6, 1, 3, "cough"),
    ("cadence, freewheeling", CADENCE, pedalling, "", 0, 0, 0, ""),
    ("cadence, half counts", CADENCE, pedalling, "half", 4, 8, 90, "half_or_double"))


def measured(runs: int) -> Iterator[str]:
    """Rows of the table."""
    yield ("| sessions | events put in | found, % | seconds found, % | false events an hour |\n|" + "---|" * 5)
    for number, (name, quantity, session, kind, count, shortest, longest, called) in enumerate(ROWS):
        hit = total = hit_s = total_s = false = 0
        for run in range(runs):
            rng = np.random.default_rng([number, run])
            x, y = session(rng)
            places = runs_at(rng, count, shortest, longest) if count else []
            for at, length in places:
                put(kind, x, y, at, length, rng)
            found = find_trace_faults(lay_over((T, x), (T, y), quantity, absolute=True))
            truth, own = np.zeros(HOUR + 1, bool), np.zeros(HOUR + 1, bool)
            for fault in found:
                own[fault.start_s:fault.start_s + fault.seconds] |= fault.kind == called
            for at, length in places:
                truth[max(at - 2, 0):at + length + 2] = True
                seconds = int(own[at:at + length].sum())
                hit, total = hit + (seconds >= length / 2), total + 1
                hit_s, total_s = hit_s + seconds, total_s + length
            false += sum(not truth[fault.start_s:fault.start_s + fault.seconds].any() for fault in found)
        share = [f"{100 * part / whole:.1f}" if whole else "-" for part, whole in ((hit, total), (hit_s, total_s))]
        yield f"| {name} | {total} | {share[0]} | {share[1]} | {false / runs:.2f} |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=100)
    runs = parser.parse_args().runs
    print(f"{runs} sessions of an hour a row\n")
    for line in measured(runs):
        print(line, flush=True)


if __name__ == "__main__":
    main()
