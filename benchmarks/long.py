"""Memory and processor time of long and large recordings: pairing, the check of a claim, and all that its JSON holds.

Run: python benchmarks/long.py [pair] [check] [json] [csv] [jsonl] [--quick] [--seed N] [--ride FILE.csv]
     [--only NAME ...]
Each case runs in a process of its own, whose peak resident memory is read at its end (of which some 110 MB are numpy,
scipy and what they load). Rides are invented: an effort that wanders, with coasting, or blocks of 15 min of a real
ride in random order and strength; the device reads 0.98 of it with 4 W of noise. Adversaries: a clock that loses 40 s
twice, a device that averages over 10 s, and another ride, which is refused. The parts csv and jsonl are the whole
command, from two files of text with dates and cadence to JSON and page.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

DAY = 86_400
# Name, seconds, readings a second, what is special, limit of memory (MB) and of processor time (s) that is promised.
CASES = {
    "25,000 s": (25_000, 1, "", 0, 0.0), "50,000 s": (50_000, 1, "", 0, 0.0), "100,000 s": (100_000, 1, "", 0, 0.0),
    "200,000 s": (200_000, 1, "", 600, 10.0), "200,000 s, two steps": (200_000, 1, "steps", 600, 0.0),
    "200,000 s, 10-s mean": (200_000, 1, "mean", 600, 0.0), "200,000 s, another ride": (200_000, 1, "other", 600, 0.0),
    "24 h at 10 Hz": (DAY, 10, "", 600, 0.0), "7 days": (7 * DAY, 1, "", 1000, 0.0)}
BLOCK_S = 900
GROWTH = ("25,000 s", "200,000 s")


def effort(seconds: int, rng: np.random.Generator, ride: str | None = None) -> np.ndarray:
    """Return power at every second: slow and fast changes, and a coasting of 15 s every 5 min; or of a real ride."""
    if ride is not None:
        from agree import read_recording

        known = np.nan_to_num(read_recording(ride).values)
        starts = rng.integers(known.size - BLOCK_S, size=math.ceil(seconds / BLOCK_S))
        return np.rint(np.concatenate([rng.uniform(0.8, 1.2) * known[k:k + BLOCK_S] for k in starts]))[:seconds]
    slow = lfilter([40 * math.sqrt(1 - 0.999**2)], [1, -0.999], rng.standard_normal(seconds))
    fast = lfilter([30 * math.sqrt(1 - 0.9**2)], [1, -0.9], rng.standard_normal(seconds))
    x = 200 + slow + fast
    x[np.convolve(rng.random(seconds) < 1 / 300, np.ones(15))[:seconds] > 0] = 0
    return np.maximum(np.rint(x), 0)


def whole(form: str, x: np.ndarray, y: np.ndarray) -> dict[str, object]:
    """Write both as files, and run `agree check` on them with JSON and page: its figures."""
    from agree.core.results.plain import plain_name

    with tempfile.TemporaryDirectory(prefix="agree-long-") as folder:
        files = []
        for name, power, late in (("one", x, 0), ("two", y, 7)):
            files.append(Path(folder, f"{name}.{form}"))
            stamps = (np.datetime64("2024-05-31T17:02:03") + np.arange(power.size) + late).astype(str)
            row = '{{"time": "{}Z", "power": {}, "cadence": {}}}\n' if form == "jsonl" else "{}Z,{},{}\n"
            with files[-1].open("w", encoding="utf-8") as file:
                file.writelines(["time,power,cadence\n"] * (form == "csv"))
                file.writelines(row.format(stamp, int(watts), 80 + k % 13 if watts else 0) for k, (stamp, watts) in
                                enumerate(zip(stamps.tolist(), power.tolist(), strict=True)))
        done = subprocess.run([sys.executable, "-m", "agree", "check", *map(str, files), "--claim", "1.5 %", "--json",
                               str(Path(folder, "out.json")), "--page", str(Path(folder, "page.html"))],
                              capture_output=True, text=True, check=False)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    first = (done.stdout or done.stderr).partition("  ")[0]
    return {"s": used.ru_utime + used.ru_stime, "MB": used.ru_maxrss / 1024,
            "answer": "refused" if done.returncode else plain_name(first.lower())}


def one(part: str, name: str, seed: int, ride: str | None) -> None:
    """Run one case in this process, and print its figures as JSON."""
    from agree import Recording, check_claim, pair_recordings
    from agree.assessment.beside import with_seconds
    from agree.core.errors import MatchError
    seconds, rate, special, _, _ = CASES[name]
    rng = np.random.default_rng(seed)
    x = effort(seconds, rng, ride)
    base = effort(seconds, rng, ride) if special == "other" else x
    if special == "mean":
        base = lfilter(np.ones(10) / 10, [1], base)
    y = np.where(base > 0, np.maximum(np.rint(0.98 * base + 4 * rng.standard_normal(seconds)), 0), 0)
    if special == "steps":
        y = np.delete(y, np.r_[60_000:60_040, 130_000:130_040])
    if part in ("csv", "jsonl"):
        print(json.dumps(whole(part, x, y)))
        return
    stamps = [np.arange(v.size * rate) / rate for v in (x, y)]
    began = time.process_time()
    answer = "refused"
    with contextlib.suppress(MatchError):
        pairs = pair_recordings(Recording(time=stamps[0], power=np.repeat(x, rate)),
                                Recording(time=stamps[1] + 7, power=np.repeat(y, rate)))
        answer = f"lag {pairs.alignment.lag_s:.2f} s, {len(pairs.alignment.steps)} steps"
        if part != "pair":
            check = check_claim(pairs, "1.5 %")
            answer = check.verdict
            if part == "json":
                json.dumps(with_seconds(check).to_dict())
    print(json.dumps({"s": time.process_time() - began, "answer": answer,
                      "MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))


def table(part: str, options: argparse.Namespace) -> bool:
    """Print the table of a part; tell whether every promise was kept."""
    print(f"\n### {part}\n\n| recording | processor time (s) | peak memory (MB) | promised | answer |\n"
          "|---|---:|---:|---:|---|")
    took, kept = {}, True
    for name, (seconds, _, special, memory, limit) in CASES.items():
        if (options.quick and (seconds > 50_000 or special)) or (options.only and name not in options.only):
            continue
        done = subprocess.run([sys.executable, __file__, "--one", part, name, "--seed", str(options.seed),
                               *(["--ride", options.ride] if options.ride else [])],
                              capture_output=True, text=True, check=True)
        found = json.loads(done.stdout)
        took[name] = found["s"]
        said = ", ".join(text for text in (f"{memory} MB" if memory else "", f"{limit:g} s" if limit else "") if text)
        kept &= (not memory or found["MB"] < memory) and (not limit or found["s"] < limit)
        print(f"| {name} | {found['s']:.1f} | {found['MB']:.0f} | {said} | {found['answer']} |", flush=True)
    if all(name in took for name in GROWTH):
        growth = math.log(took[GROWTH[1]] / took[GROWTH[0]]) / math.log(8)
        kept &= growth <= 1.1
        print(f"| growth, {' to '.join(GROWTH)} | n^{growth:.2f} | | n^1.1 | |")
    return kept


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="only up to 50,000 s")
    parser.add_argument("--one", nargs=2, help=argparse.SUPPRESS)
    parser.add_argument("--seed", type=int, default=51)
    parser.add_argument("--ride", help="a recording whose blocks make the effort")
    parser.add_argument("--only", nargs="+", help="names of cases")
    parser.add_argument("parts", nargs="*", default=["pair", "check"])
    options = parser.parse_args()
    if options.one:
        one(*options.one, options.seed, options.ride)
        return
    kept = [table(part, options) for part in options.parts]
    if not all(kept):
        sys.exit("a promise was not kept")


if __name__ == "__main__":
    main()
