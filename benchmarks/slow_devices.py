"""Devices that average over 10 to 60 s, made of real rides: error of the mean, verdict of a true claim, false events.

    python benchmarks/slow_devices.py [--rides DIR ...] [--faults none dropouts ...] [--on device] [--swapped] [--bare]

A ride is the truth; the reference is it with noise of 5 W, the device a running mean or a first-order lag of it with
noise of 4 W, both in whole watts, and cadence (invented) in both files unless `--bare`. Its scale is right, so the true
error is 0; the last seconds, which it has not shown yet when the ride ends, are no error. Prints a Markdown table.
Adversaries: faults of either side (`--faults`, `--on`), and the device given as the reference (`--swapped`).
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections import Counter
from pathlib import Path

import numpy as np
from response_faults import KINDS, RIDES, frame, inject, lag, mean, mean_error, read
from scipy.signal import lfilter

from agree import check_claim, pair_recordings
from agree.core.errors import MatchError, SampleSizeError

DEVICES = {**{f"{width}-s mean": (mean, width) for width in (20, 30, 45, 60)},
           **{f"lag {tau} s": (lag, tau) for tau in (10, 20, 30, 45)}}
LONGEST_S = 7200


def row(rides: dict[str, np.ndarray], name: str, fault: str, given: argparse.Namespace) -> str:
    answer, size = DEVICES[name]
    errors, verdicts, false, refused, hours = [], Counter(), Counter(), 0, 0.0
    for true in rides.values():
        rng = np.random.default_rng(given.seed)
        x = np.rint(np.where(true > 0, np.maximum(true + 5 * rng.standard_normal(true.size), 1), 0))
        exact = answer(true, size)
        y = np.rint(np.maximum(exact + 4 * rng.standard_normal(true.size), 0) * (exact >= 0.5))
        want = 100 * float((y - exact).sum() - (x - true).sum()) / float(x.sum())
        x, y = (x, inject(fault, y, rng)[0]) if given.on == "device" else (inject(fault, x, rng)[0], y)
        cadence = np.where(true > 0, 85 + lfilter([1], [1, -0.95], rng.normal(0, 1, true.size)), 0)
        both = [frame(one) if given.bare else frame(one).assign(cadence_rpm=np.rint(cadence)) for one in (x, y)]
        try:
            pairs = pair_recordings(*both[::-1] if given.swapped else both)
            verdicts[check_claim(pairs, "2 %").verdict] += 1
        except (MatchError, SampleSizeError):
            refused += 1
            continue
        role = "device" if (given.on == "device") != given.swapped else "reference"
        own = (f"{role}_{KINDS[fault]}", f"either_{KINDS[fault]}")
        false.update(one.kind for one in pairs.faults if fault == "none" or one.kind not in own)
        errors.append(abs(mean_error(pairs, given.swapped) - want))
        hours += float(pairs.time[-1]) / 3600
    error = f"{np.median(errors):.3f} / {max(errors):.3f}" if errors else "-"
    return (f"| {name} | {fault} | {error} | {', '.join(f'{word} {k}' for word, k in verdicts.most_common())} | "
            f"{sum(false.values())} in {hours:.1f} h {dict(false) if false else ''} | {refused} of {len(rides)} |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rides", type=Path, nargs="+", default=[RIDES], help="directories of CSV files")
    parser.add_argument("--devices", nargs="+", default=list(DEVICES), choices=list(DEVICES))
    parser.add_argument("--faults", nargs="+", default=["none"], choices=list(KINDS))
    parser.add_argument("--on", default="device", choices=["device", "reference"], help="whose the faults are")
    parser.add_argument("--swapped", action="store_true", help="give the device as the reference")
    parser.add_argument("--bare", action="store_true", help="without cadence")
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    warnings.simplefilter("ignore")
    rides = {path.stem: read(path)[:LONGEST_S] for folder in given.rides for path in sorted(folder.glob("*.csv"))
             if "pedals" not in path.stem}
    sys.stdout.write("| device | faults | error of the mean, points: median / worst | claim of 2 % | false events | "
                     "refused |\n|---|---|---|---|---|---|\n")
    for name in given.devices:
        for fault in given.faults:
            print(row(rides, name, fault, given), flush=True)


if __name__ == "__main__":
    main()
