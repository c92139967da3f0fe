"""A slow device, or reference, whose recorder leaves gaps while the rider stands: error of the mean, and the verdict.

    python benchmarks/recorder_gaps.py [--rides DIR ...] [--only WORD ...] [--keep FILE] [--each]

Truth is at 5 Hz, of real rides and invented ones, with 6 to 30 stops of 3 to 60 s put in. One side filters it (lags of
2 to 6 s, means of 3 to 10 s, two lags), both are means over each second with noise of 2 W, in whole watts. Rows are
absent, or blank, from so many seconds after the stop begins until it ends, on the slow side, the sharp one or both.
The claim is 1.5 %; the true error is 0, +2 or -2 %. A row of the table: mean and largest size of the error of the mean,
how often the 95 % interval covers the truth, and verdicts that are wrong, or not settled. Adversaries: a recorder that
freezes the filter in the gap, one whose filter begins anew at the first reading, one that writes 0 while the rider
stands, and stops too short for the filter to die away. `--keep` writes each outcome to a file, and takes from it.
"""

from __future__ import annotations

import argparse
import json
import warnings
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from response_faults import read
from scipy.signal import lfilter

from agree import check_claim, pair_recordings
from agree.core.data.runs import runs
from agree.core.errors import MatchError

RIDES = [Path(__file__).resolve().parent.parent / "tests" / "data" / "rides"]
HZ = 5
MINUTES = 45


class Case(NamedTuple):
    """Slow side and its filter, who leaves gaps and how, and the ride with its stops."""

    slow: str
    filter: tuple[tuple[str, float], ...]
    gaps: str
    after_s: int
    recorder: str
    ride: str
    stops: tuple[int, int, int]
    error: float
    seed: int


def filtered(x: np.ndarray, by: tuple[tuple[str, float], ...], hz: int) -> np.ndarray:
    for kind, size in by:
        if kind == "lag":
            keep = np.exp(-1 / (size * hz))
            x = lfilter([1 - keep], [1, -keep], x, zi=[keep * x[0]])[0]
        else:
            width = round(size * hz)
            x = lfilter(np.ones(width) / width, [1], np.r_[np.full(width, x[0]), x])[width:]
    return x


def invented(kind: str, rng: np.random.Generator) -> np.ndarray:
    """Power second by second: blocks of a trainer, a road, or a town with a start at every light."""
    n = 60 * MINUTES

    def wander(sd: float, tau: float) -> np.ndarray:
        keep = np.exp(-1 / tau)
        return lfilter([1], [1, -keep], rng.normal(0, sd * np.sqrt(1 - keep * keep), n))

    if kind == "blocks":
        level = np.repeat(rng.choice([150, 180, 220, 250, 290, 320], 40), rng.integers(60, 300, 40))[:n]
        return level + wander(5, 2) + wander(3, 20)
    if kind == "road":
        return np.maximum(200 + wander(45, 4) + wander(45, 40) + wander(25, 300), 20)
    power, at = np.zeros(n), 0
    while at < n:
        ride, stand = int(rng.integers(20, 120)), int(rng.integers(5, 40))
        part = power[at:at + ride]
        part[:] = rng.uniform(120, 260)
        part[:5] *= 1.7
        at += ride + stand
    return np.where(power > 0, np.maximum(power + wander(20, 3), 20), 0)


def truth(case: Case, rides: dict[str, np.ndarray], rng: np.random.Generator) -> np.ndarray:
    """Power at 5 Hz, with stops put in."""
    second = rides[case.ride][:60 * MINUTES] if case.ride in rides else invented(case.ride, rng)
    fine = np.interp(np.arange(second.size * HZ) / HZ, np.arange(second.size) + 0.5, second)
    fine[np.repeat(second == 0, HZ)] = 0
    count, low, high = case.stops
    for start in np.linspace(150, second.size - 150, count):
        begin = int(start * HZ) + int(rng.integers(0, 20 * HZ))
        fine[begin:begin + int(rng.integers(low * HZ, high * HZ + 1))] = 0
    return np.where(fine > 0, np.maximum(fine + rng.normal(0, 6, fine.size), 1), 0)


def recordings(case: Case, rides: dict[str, np.ndarray]) -> dict[str, pd.DataFrame]:
    """Reference and device as their recorders keep them."""
    rng = np.random.default_rng(case.seed)
    true = truth(case, rides, rng)
    seconds = true.reshape(-1, HZ).mean(axis=1)
    stands = np.zeros(seconds.size, bool)
    for start, stop in runs(seconds == 0):
        stands[start + case.after_s:stop] = True
    made = {}
    for role in ("reference", "device"):
        slow, absent = role == case.slow, stands & (case.gaps in (role, "both"))
        power = true * (1 + case.error / 100 if role == "device" else 1.0)
        if slow and case.recorder == "freezes":
            there = ~np.repeat(absent, HZ)
            power[there] = filtered(power[there], case.filter, HZ)
        elif slow and case.recorder == "anew":
            for start, stop in runs(~np.repeat(absent, HZ)):
                power[start:stop] = filtered(power[start:stop], case.filter, HZ)
        elif slow:
            power = filtered(power, case.filter, HZ)
        shown = power.reshape(-1, HZ).mean(axis=1)
        shown = np.rint(np.where(shown > 1, np.maximum(shown + rng.normal(0, 2, shown.size), 0), shown))
        table = pd.DataFrame({"time_s": np.arange(shown.size), "power_W": shown})
        if case.recorder == "zeros":
            table.loc[absent, "power_W"] = 0.0
        elif case.recorder == "blank":
            table.loc[absent, "power_W"] = np.nan
        else:
            table = table[~absent]
        made[role] = table
    return made


def outcome(case: Case, rides: dict[str, np.ndarray]) -> list:
    """Why it was refused; or mean error, limits, verdict, response, seconds beside gaps and used, true error."""
    made = recordings(case, rides)
    whole = [float(made[role]["power_W"].sum()) for role in ("reference", "device")]
    # What a recorder writes as 0 is no energy, whatever the device made of it.
    true = 100 * (whole[1] / whole[0] - 1) if case.recorder == "zeros" else case.error
    try:
        pairs = pair_recordings(made["reference"], made["device"])
    except MatchError as error:
        return ["refused", str(error)[:90]]
    check = check_claim(pairs, "1.5 %")
    found = pairs.matched
    return ["", check.bias.value, check.bias.low, check.bias.high, check.verdict, found.kind, found.smoother,
            found.size_s, found.misfit, int((pairs.reason == "beside_gap").sum()), int(pairs.used.sum()), true]


def wrong(true: float, verdict: str) -> bool:
    return verdict == ("does not hold" if abs(true) < 1.5 else "holds")


STOPS = {"blocks": (25, 15, 60), "road": (12, 3, 30), "town": (0, 3, 4)}


def cases(real: list[str]) -> dict[str, list[Case]]:
    """Cases by row of the table; errors of 0, +2 and -2 % in turn."""
    rides = ["blocks", "town", "road", *real]
    rows: dict[str, list[Case]] = {}
    seed = 0

    def add(row: str, slow: str, by: tuple[tuple[str, float], ...], gaps: str, after_s: int, recorder: str) -> None:
        nonlocal seed
        for _ in range(3):
            ride = rides[seed % len(rides)]
            stops = STOPS.get(ride, ((14, 3, 60), (8, 10, 40), (25, 5, 30))[seed % 3])
            rows.setdefault(row, []).append(Case(slow, by, gaps, after_s, recorder, ride, stops,
                                                 (0.0, 2.0, -2.0)[(seed // len(rides) + seed) % 3], seed + 1))
            seed += 1

    for slow in ("device", "reference"):
        sharp = "reference" if slow == "device" else "device"
        for size in (2.0, 3.0, 4.0, 6.0):
            add(f"lag, slow {slow}'s gaps", slow, (("lag", size),), slow, 3 if size != 3 else 0, "absent")
        for size in (3.0, 5.0, 10.0):
            add(f"mean, slow {slow}'s gaps", slow, (("mean", size),), slow, 3, "absent")
        add(f"two lags, slow {slow}'s gaps", slow, (("lag", 1.5), ("lag", 3.0)), slow, 3, "absent")
        add(f"lag, slow {slow}, blank", slow, (("lag", 4.0),), slow, 1, "blank")
        for size in (3.0, 5.0):
            add(f"lag, slow {slow}, gaps of the sharp side", slow, (("lag", size),), sharp, 3, "absent")
            add(f"lag, slow {slow}, gaps of both", slow, (("lag", size),), "both", 2, "absent")
        add(f"lag, slow {slow}, no gaps", slow, (("lag", 4.0),), "none", 3, "absent")
        for recorder in ("freezes", "anew", "zeros"):
            add(f"adversary: {recorder}, slow {slow}", slow, (("lag", 4.0),), slow, 3, recorder)
    return rows


def line(row: str, pairs: list[tuple[Case, list]]) -> str:
    good = [got for _, got in pairs if got[0] == ""]
    apart = np.array([got[1] - got[-1] for got in good])
    covers = sum(got[2] <= got[-1] <= got[3] for got in good)
    bad = sum(wrong(got[-1], got[4]) for got in good)
    open_ = sum(got[4] == "not settled" for got in good)
    size = f"{np.abs(apart).mean():.2f} | {np.abs(apart).max():.2f}" if good else "- | -"
    return f"| {row} | {len(pairs)} | {size} | {covers} | {bad} | {open_} | {len(pairs) - len(good)} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=Path, nargs="*", default=RIDES)
    parser.add_argument("--only", nargs="*", default=[""])
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--each", action="store_true")
    args = parser.parse_args()
    warnings.simplefilter("ignore")
    rides = {path.stem: read(path) for folder in args.rides for path in sorted(folder.glob("*.csv"))}
    known = dict(json.loads(text) for text in args.keep.read_text().splitlines()) if (
        args.keep is not None and args.keep.exists()) else {}
    print("| recorder | pairs | mean abs(error), points | largest | covered | wrong | not settled | refused |")
    print("|---|---|---|---|---|---|---|---|")
    for row, several in cases(sorted(rides)).items():
        if not any(word in row for word in args.only):
            continue
        found = []
        for case in several:
            key = json.dumps(case)
            if key not in known:
                known[key] = outcome(case, rides)
                if args.keep is not None:
                    with args.keep.open("a") as file:
                        file.write(json.dumps([key, known[key]]) + "\n")
            found.append((case, known[key]))
            if args.each:
                print(case, known[key], flush=True)
        print(line(row, found), flush=True)


if __name__ == "__main__":
    main()
