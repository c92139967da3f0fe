"""Whether files of other rides are refused, and files of one ride are not: real rides against each other and changed.

Run: python benchmarks/same_ride.py [--fetch] [--rides DIR] [--half settle|judge|all] [--runs N] [--seed N]
     [--only WORDS] [wrong] [true] [close]
DIR holds single-*.csv and pair-1-*.csv of the form of tests/data/rides. With --fetch, rides from the test files of a
general parser of such files (pyfitness 0.2.1, MIT) are used too: they are fetched into a temporary folder (needs pip
and a package index) and nothing of them is kept. Every other ride is of the half on which thresholds were settled; the
rest judge them. Tables of different seeds add up. 1 % of 500 has a Monte-Carlo error of 0.45 points; 0 of n leaves at
most 3/n (95 %).
"""

from __future__ import annotations

import argparse
import hashlib
import subprocess
import sys
import tarfile
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
from clocks import Pause, device, read, record
from programmes import equal_steps, noise, workout
from scipy.signal import lfilter

from agree import pair_recordings, read_recording
from agree.core.errors import InputError
from agree.pairing.grid import to_grid
from agree.pairing.match import match

SOURCE = "pyfitness==0.2.1"
LONGEST_S = 5400
BESIDE_S = 600  # recordings that begin so near to each other are of one ride


def fetched(folder: Path) -> Iterator[Path]:
    """Fetch the source distribution and unpack its samples, each once."""
    subprocess.run([sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", ":all:",
                    "--disable-pip-version-check", "-d", str(folder), SOURCE], check=True, stderr=subprocess.DEVNULL)
    seen = set()
    for archive in folder.glob("*.tar.gz"):
        with tarfile.open(archive) as tar:
            for member in sorted(tar.getmembers(), key=lambda m: m.name):
                if member.isfile() and member.name.lower().endswith(".fit"):
                    data = tar.extractfile(member).read()  # type: ignore[union-attr]
                    if hashlib.sha256(data).hexdigest() not in seen:
                        seen.add(hashlib.sha256(data).hexdigest())
                        path = folder / f"{len(seen)}.fit"
                        path.write_bytes(data)
                        yield path


def rides(options: argparse.Namespace) -> dict[str, tuple[float, np.ndarray]]:
    """First stamp (0 if there is no date) and power of each ride of the half asked for, at most 1.5 h of each."""
    found = {path.stem: (0.0, read(path).power[:LONGEST_S]) for path in sorted(options.rides.glob("*.csv"))}
    if options.fetch:
        found = {name: ride for name, ride in found.items() if "pair" not in name}  # it comes from the same source
        with tempfile.TemporaryDirectory() as folder:
            for path in fetched(Path(folder)):
                try:
                    recording = read_recording(path)
                    found[path.stem] = (float(recording.time[0]),
                                        to_grid(recording, "reference").power[:LONGEST_S])
                except InputError:
                    continue
    names = sorted(found)
    part = {"settle": names[::2], "judge": names[1::2], "all": names}[options.half]
    return {name: found[name] for name in part}


def one_ride(a: tuple[float, np.ndarray], b: tuple[float, np.ndarray]) -> bool:
    """Recordings that begin within 10 min of each other, with a date, are of one ride."""
    return a[0] > 0 and b[0] > 0 and abs(a[0] - b[0]) < BESIDE_S


def outcome(x: np.ndarray, y: np.ndarray) -> str:
    """Say how a pairing ends: "refused", "accepted" or "with steps", or "withheld": "holds" is not given."""
    try:
        found = match(to_grid(record(x), "reference"), to_grid(record(y), "device"), None, None, False)
    except InputError as refusal:
        said = str(refusal)
        return ("by minutes" if "minutes are more alike" in said else "by the rider" if "the rider's own" in said
                else "refused")
    if any(note.kind == "pair_programme_untold" for note in found.notes):
        return "withheld"
    return "with steps" if found.changes else "accepted"


def invented(size: int, rng: np.random.Generator) -> np.ndarray:
    """A ride that never was: a wandering effort with stops."""
    x = 200 + noise(size, rng, 50, 0.997) + noise(size, rng, 30, 0.85)
    x[np.convolve(rng.random(size) < 1 / 300, np.ones(12))[:size] > 0] = 0
    return np.rint(np.maximum(x, 0))


def smooth(x: np.ndarray, width: int) -> np.ndarray:
    return np.convolve(np.pad(np.nan_to_num(x), width // 2, mode="edge"), np.ones(width) / width, "valid")[:x.size]


def other_day(x: np.ndarray, other: np.ndarray, width: int) -> np.ndarray:
    """One course on another day: the slow course of a ride with the fast changes of another one."""
    rest = np.nan_to_num(other) - smooth(other, width)
    return np.maximum(np.rint(smooth(x, width) + np.resize(rest, x.size)), 0)


def laps(x: np.ndarray, rng: np.random.Generator, device_of: Callable[[np.ndarray], np.ndarray]) -> tuple[
        np.ndarray, np.ndarray]:
    """Laps of one course, ridden anew each time: one file begins a lap or two after the other."""
    lap = smooth(x[:int(rng.integers(240, 700))], 21)
    count = max(x.size // lap.size, 5)
    own = [np.maximum(np.rint(np.tile(lap, count) + noise(lap.size * count, rng, 25, 0.9)), 0) for _ in range(2)]
    return own[0], device_of(own[1][int(rng.integers(1, 3)) * lap.size:])


def wrong(found: dict[str, tuple[float, np.ndarray]], runs: int, seed: int, only: str = "") -> None:
    names = list(found)
    rng = np.random.default_rng(41 + 1000 * seed)

    def pick(count: int = 1) -> list[np.ndarray]:
        while True:
            chosen = [found[names[k]] for k in rng.choice(len(names), count, replace=False)]
            if count == 1 or not one_ride(*chosen[:2]):
                return [power for _, power in chosen]

    def dev(x: np.ndarray) -> np.ndarray:
        return device(np.nan_to_num(x), rng, noise=4, mean=int(rng.choice([1, 1, 3, 10])),
                      phase=float(rng.uniform(0, 9)))

    def mixed() -> tuple[np.ndarray, np.ndarray]:
        x, other = pick(2)
        return x, other_day(x, other, int(rng.choice([31, 61])))

    def trainer() -> tuple[np.ndarray, np.ndarray]:
        target = workout(int(rng.integers(1800, 5400)), rng)
        return tuple(np.rint(np.maximum(lfilter([0.3], [1, -0.7], target) + noise(target.size, rng, 12, 0.8), 0))
                     for _ in range(2))

    def pieces() -> tuple[np.ndarray, np.ndarray]:
        size = int(rng.choice([600, 1200, 3600]))
        one, two = ((v[i:i + size]) for v in pick(2) for i in [int(rng.integers(0, max(v.size - size, 1)))])
        return one, two

    kinds: dict[str, Callable[[], tuple[np.ndarray, np.ndarray]]] = {
        "real x real": lambda: tuple(pick(2)), "real x real, pieces of 10 to 60 min": pieces,
        "real x invented": lambda: (lambda x: (x, invented(x.size, rng)))(pick()[0]),
        "one course, another day": mixed, "one trainer's workout, another day": trainer,
        "equal steps of a trainer, another day": lambda: equal_steps(rng),
        "reversed": lambda: (lambda x: (x, dev(x[::-1])))(pick()[0]),
        "laps shifted": lambda: laps(pick()[0], rng, dev)}
    print("| wrong pairs | tried | refused by strength or rival | refused by minutes | refused by the rider's own "
          "changes | \"holds\" withheld | accepted | accepted with steps |\n|---|---:|---:|---:|---:|---:|---:|---:|")
    for name, make in kinds.items():
        if only not in name:
            continue
        count = Counter(outcome(*make()) for _ in range(runs))
        print(f"| {name} | {runs} | {count['refused']} | {count['by minutes']} | "
              f"{count['by the rider']} | {count['withheld']} | {count['accepted']} | {count['with steps']} |",
              flush=True)


def paused(x: np.ndarray, rng: np.random.Generator, count: int) -> tuple[np.ndarray, list[Pause]]:
    """Ride with stops put in (the reference reads 0), which the device does not count."""
    rests = np.flatnonzero((x == 0) & (np.arange(x.size) > 200) & (np.arange(x.size) < x.size - 200))
    spots: list[int] = []
    for _ in range(500):
        place = int(rng.choice(rests)) if rests.size > 50 else int(rng.integers(200, x.size - 200))
        # Enough work between stops that a step can be seen at all.
        if len(spots) < count and all((x[min(place, p):max(place, p)] > 15).sum() > 120 for p in spots):
            spots.append(place)
    pauses, added = [], 0
    for place in sorted(spots):
        length = int(np.rint(np.exp(rng.uniform(np.log(3), np.log(60)))))
        x = np.insert(x, place + added, np.zeros(length))
        pauses.append(Pause(place + added, length))
        added += length
    return x, pauses


DEVICES: dict[str, dict[str, float]] = {
    "noise 4 W": {"noise": 4}, "noise 20 W": {"noise": 20}, "3-s mean, 8 W": {"mean": 3, "noise": 8},
    "10-s mean, 4 W": {"mean": 10, "noise": 4}, "-60 ppm, 8 W": {"ppm": -60, "noise": 8},
    "5-s mean, +60 ppm, 4 W": {"mean": 5, "ppm": 60, "noise": 4}}
HEAD = ("| steps put in | tried | refused | all steps right | steps in all | sizes right within 1.5 s | "
        "within 1.96 SE, % | false steps | largest error of the mean, points |"
        "\n|---|---|---:|---:|---:|---:|---:|---:|---:|---:|")


def tell(name: str, put_in: str, rows: Iterator[tuple[np.ndarray, list[Pause], dict[str, float]]],
         rng: np.random.Generator) -> None:
    """Pair every ride with its device, whose mean is 3 % low, and say how that went."""
    count: Counter[str] = Counter()
    z: list[float] = []
    off = [0.0]
    for x, pauses, options in rows:
        count["tried"] += 1
        y = device(x, rng, pauses=pauses, phase=float(rng.uniform(0, 9)), **options)
        try:
            pairs = pair_recordings(record(x), record(y))
        except InputError as refusal:
            count["refused"] += 1
            print(f"<!-- refused: {x.size} s, {[(int(p.start), int(p.length)) for p in pauses]}: "
                  f"{str(refusal)[:110]} -->", flush=True)
            continue
        told, right = list(pairs.alignment.steps), 0
        for pause in pauses:
            near = [s for s in told if abs(-s.step_s - pause.length) <= 1.5]
            if near:
                right += 1
                best = min(near, key=lambda s: abs(s.step_s + pause.length))
                z.append((best.step_s + pause.length) / best.se_s)
        count["put"] += len(pauses)
        count["right"] += right
        count["false"] += max(len(told) - len(pauses), 0)
        count["all"] += right == len(pauses) == len(told)
        one, two = pairs.matched.reference, pairs.matched.device
        both = pairs.used & np.isfinite(one) & np.isfinite(two)
        off.append(100 * (two[both].sum() / one[both].sum() / 0.97 - 1))
    known = np.array(z)[np.isfinite(z)]
    covered = f"{100 * (np.abs(known) <= 1.96).mean():.1f} of {known.size}" if known.size else ""
    print(f"| {name} | {put_in} | {count['tried']} | {count['refused']} | {count['all']} | {count['put']} | "
          f"{count['right']} | {covered} | {count['false']} | {max(off, key=abs):+.2f} |", flush=True)


def true(found: dict[str, tuple[float, np.ndarray]], runs: int, seed: int, only: str) -> None:
    print(f"| true pairs {HEAD}")
    for number, (name, options) in enumerate(DEVICES.items()):
        for steps in (0, 1, 3, 5):
            if only in name:
                rng = np.random.default_rng([42, seed, number, steps])
                tell(name, str(steps), ((*paused(np.nan_to_num(power), rng, steps), options)
                                        for _, power in list(found.values())[:runs]), rng)


def close(found: dict[str, tuple[float, np.ndarray]], runs: int, seed: int, only: str) -> None:
    """Stops 30 to 110 s apart, of 3 to 60 s each."""
    print(f"| stops less than 2 min apart {HEAD}")

    def stops(x: np.ndarray, rng: np.random.Generator, count: int) -> tuple[np.ndarray, list[Pause]]:
        pauses, added = [], 0
        while True:
            places = int(rng.integers(200, x.size - 600)) + np.r_[0, np.cumsum(rng.integers(30, 110, count - 1))]
            if all((x[a:b] > 15).mean() > 0.8 for a, b in pairwise(places)):
                break
        for place in places.tolist():
            length = int(np.rint(np.exp(rng.uniform(np.log(3), np.log(60)))))
            x = np.insert(x, place + added, np.zeros(length))
            pauses.append(Pause(place + added, length))
            added += length
        return x, pauses

    for number, (name, options) in enumerate(DEVICES.items()):
        for count in (2, 3):
            if only in name:
                rng = np.random.default_rng([43, seed, number, count])
                tell(name, str(count), ((*stops(np.nan_to_num(power), rng, count), options)
                                        for _, power in list(found.values())[:runs]), rng)


PARTS = {"wrong": wrong, "true": true, "close": close}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=Path, default=Path(__file__).parent.parent / "tests/data/rides")
    parser.add_argument("--fetch", action="store_true")
    parser.add_argument("--half", choices=("settle", "judge", "all"), default="all")
    parser.add_argument("--runs", type=int, default=20)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="rows whose name holds this")
    parser.add_argument("parts", nargs="*", default=list(PARTS))
    options = parser.parse_args()
    found = rides(options)
    print(f"{len(found)} rides ({options.half}), {sum(power.size for _, power in found.values()) / 3600:.0f} h")
    for part in options.parts:
        began = time.process_time()
        print(f"\n### {part}\n", flush=True)
        PARTS[part](found, options.runs, options.seed, options.only)
        print(f"\n{time.process_time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
