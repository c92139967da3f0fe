"""Checks to draw: simulated rides with a known error."""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np

from agree import ClaimCheck, DriftWarning, Pairs, check_claim


def ride(seed: int, seconds: int = 3600, scale: float = 1.0, offset: float = 0.0, faults: bool = True,
         flat: bool = False, **names) -> Pairs:
    """Intervals from 120 to 380 W (or a steady 200 W) on a reference, and a device with a known error."""
    rng = np.random.default_rng(seed)
    t = np.arange(seconds)
    steps = rng.choice([120, 160, 200, 240, 280, 330, 380], size=seconds // 120 + 1)
    true = 200.0 + 0 * t if flat else np.repeat(steps, 120)[:seconds] + 12 * np.sin(t / 23)
    if faults:
        true[seconds // 3:seconds // 3 + seconds // 60] = 0
    pedalling = true > 0
    wander = np.convolve(rng.normal(size=seconds + 29), np.ones(30) / 30, "valid")
    reference = pedalling * np.round(true + rng.normal(0, 1 if flat else 6, seconds))
    device = pedalling * np.round(true * (scale + 0.01 * wander) + offset + rng.normal(0, 1 if flat else 8, seconds))
    reason = np.where(pedalling, "", "both_coasting").astype("<U20")
    if faults:
        for start, length in ((seconds // 5, 14), (seconds // 2, 9)):
            device[start:start + length] = 0
            reason[start:start + length] = "device_dropout"
        spike = 3 * seconds // 4
        device[spike], reason[spike] = 1900, "device_spike"
        reference[-20:-15] = np.nan
        reason[-20:-15] = "missing"
    return Pairs(reference=reference, device=device, reason=reason, **names)


def check(pairs, claim: str, **options) -> ClaimCheck:
    """Check a claim where a drift is beside the point."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DriftWarning)
        return check_claim(pairs, claim, **options)


def fails() -> ClaimCheck:
    return check(ride(1, scale=0.97, reference_name="trainer A", device_name="pedals B"), "1.5 %")


def holds() -> ClaimCheck:
    pairs = [ride(10 + k, 2400, scale=1.001 + 0.001 * k, session=f"day {k + 1}", reference_name="trainer A",
                  device_name="crank C") for k in range(4)]
    return check(pairs, "1.5 %")


def unsettled() -> ClaimCheck:
    long = "a very long device name that a careful tester gave with serial, firmware 1.2.3 and mounting"
    notes = tuple(f"Note {k}: something that happened during the ride and the reader should know." for k in range(9))
    pairs = ride(3, scale=0.988, reference_name=long.replace("device", "reference"), device_name=long, notes=notes)
    return check(pairs, "1.5 % or 2 W above 100 W", reference_uncertainty="±1.5 %")


def steady() -> ClaimCheck:
    return check(ride(4, 1500, scale=1.004, faults=False, flat=True), "2 W")


def wild() -> ClaimCheck:
    """Short sessions, one of them in bands the other has not: unbounded intervals."""
    rng = np.random.default_rng(5)
    low, high = 100 + rng.normal(0, 5, 400), 300 + rng.normal(0, 5, 50)
    pairs = [Pairs(reference=low, device=low * 1.01, session="low"),
             Pairs(reference=high, device=high * 0.8, session="high")]
    return check(pairs, "1 %", meaning="bands", window_s=60)


# Made once in a process: they do not change. `__wrapped__` makes one anew.
ALL = {make.__name__: cache(make) for make in (fails, holds, unsettled, steady, wild)}
