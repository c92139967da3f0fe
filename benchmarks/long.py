"""Memory and processor time of long and large recordings: pairing alone, and with the check of a claim.

Run: python benchmarks/long.py [--quick] [pair] [check]
Each case runs in a process of its own, whose peak resident memory is read at its end (of which some 110 MB are numpy,
scipy and what they load). Rides are invented: an effort that wanders, with coasting; the device reads 0.98 of it with
4 W of noise. Adversaries: a clock that loses 40 s twice, a device that averages over 10 s, and another ride, which is
refused.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import resource
import subprocess
import sys
import time

import numpy as np
from scipy.signal import lfilter

DAY = 86_400
# Name, seconds, readings a second, what is special, limit of memory (MB) and of processor time (s) that is promised.
CASES = {
    "25,000 s": (25_000, 1, "", 0, 0.0), "50,000 s": (50_000, 1, "", 0, 0.0), "100,000 s": (100_000, 1, "", 0, 0.0),
    "200,000 s": (200_000, 1, "", 600, 10.0), "200,000 s, two steps": (200_000, 1, "steps", 600, 0.0),
    "200,000 s, 10-s mean": (200_000, 1, "mean", 600, 0.0), "200,000 s, another ride": (200_000, 1, "other", 600, 0.0),
    "24 h at 10 Hz": (DAY, 10, "", 600, 0.0), "7 days": (7 * DAY, 1, "", 1000, 0.0)}
GROWTH = ("25,000 s", "200,000 s")


def effort(seconds: int, rng: np.random.Generator) -> np.ndarray:
    """Return power at every second: slow and fast changes, and a coasting of 15 s every 5 min."""
    slow = lfilter([40 * math.sqrt(1 - 0.999**2)], [1, -0.999], rng.standard_normal(seconds))
    fast = lfilter([30 * math.sqrt(1 - 0.9**2)], [1, -0.9], rng.standard_normal(seconds))
    x = 200 + slow + fast
    x[np.convolve(rng.random(seconds) < 1 / 300, np.ones(15))[:seconds] > 0] = 0
    return np.maximum(np.rint(x), 0)


def one(part: str, name: str) -> None:
    """Run one case in this process, and print its figures as JSON."""
    from agree import Recording, check_claim, pair_recordings
    from agree.core.errors import MatchError
    seconds, rate, special, _, _ = CASES[name]
    rng = np.random.default_rng(51)
    x = effort(seconds, rng)
    base = effort(seconds, rng) if special == "other" else x
    if special == "mean":
        base = lfilter(np.ones(10) / 10, [1], base)
    y = np.where(base > 0, np.maximum(np.rint(0.98 * base + 4 * rng.standard_normal(seconds)), 0), 0)
    if special == "steps":
        y = np.delete(y, np.r_[60_000:60_040, 130_000:130_040])
    stamps = [np.arange(v.size * rate) / rate for v in (x, y)]
    began = time.process_time()
    answer = "refused"
    with contextlib.suppress(MatchError):
        pairs = pair_recordings(Recording(time=stamps[0], power=np.repeat(x, rate)),
                                Recording(time=stamps[1] + 7, power=np.repeat(y, rate)))
        answer = f"lag {pairs.alignment.lag_s:.2f} s, {len(pairs.alignment.steps)} steps"
        if part == "check":
            answer = check_claim(pairs, "1.5 %").verdict
    print(json.dumps({"s": time.process_time() - began, "answer": answer,
                      "MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))


def table(part: str, quick: bool) -> bool:
    """Print the table of a part; tell whether every promise was kept."""
    print(f"\n### {part}\n\n| recording | processor time (s) | peak memory (MB) | promised | answer |\n"
          "|---|---:|---:|---:|---|")
    took, kept = {}, True
    for name, (seconds, _, special, memory, limit) in CASES.items():
        if quick and (seconds > 50_000 or special):
            continue
        done = subprocess.run([sys.executable, __file__, "--one", part, name], capture_output=True, text=True,
                              check=True)
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
    parser.add_argument("parts", nargs="*", default=["pair", "check"])
    options = parser.parse_args()
    if options.one:
        one(*options.one)
        return
    kept = [table(part, options.quick) for part in options.parts]
    if not all(kept):
        sys.exit("a promise was not kept")


if __name__ == "__main__":
    main()
