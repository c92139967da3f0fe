"""Causes named beside a warm-up, with and without a scale; and beside an exact factor.

    python benchmarks/warm_ups.py [--runs 30]

Rides as in benchmarks/diagnosis.py, invented and real. A warm-up of 3 to 6 % of power, up or down, straight or dying
away, over 10 to 20 min, in W or in proportion to power; half of the runs with a scale of -2 % beside it; white noise of
4 and 2 W. Adversary: the real rides are as short as 45 min, so that a warm-up may be over no earlier than half of them.
Exact factors 0.90 to 1.10, plain and with the last bit changed at random; run it with OPENBLAS_CORETYPE set to Haswell,
SkylakeX, Prescott and Nehalem for other kernels.
"""

from __future__ import annotations

import argparse
from collections import Counter

import numpy as np
from diagnosis import base, diagnose, real

from agree import Pairs


def warm_up(where: str, run: int, scale: float) -> Pairs:
    """One pair with a warm-up."""
    rng = np.random.default_rng([7, run, round(scale * 100) + 5, len(where)])
    ride = base(where, run, rng)
    power, n = ride.power, ride.power.size
    t = np.arange(n) - np.argmax(np.nan_to_num(power) > 0)
    end, size = rng.uniform(600, 1200), rng.uniform(0.03, 0.06) * rng.choice([-1, 1])
    course = np.exp(-3 * t / end) if run % 2 else np.maximum(1 - t / end, 0)
    device = power * (1 + scale) + (power if run % 3 else np.nanmean(power)) * size * np.where(t < 0, 0, course)
    x = np.where(power > 0, power + rng.normal(0, 2, n), 0).clip(0)
    y = np.where(power > 0, device + rng.normal(0, 4, n), 0).clip(0)
    x[np.isnan(power)] = y[np.isnan(power)] = np.nan
    return Pairs(reference=np.round(x), device=np.round(y), cadence=ride.cadence)


def misnamed() -> tuple[int, int]:
    """Exact factors that are not named as a scale alone, and how many were tried."""
    rng, wrong, tried = np.random.default_rng(1), 0, 0
    for name in ("single-road-78min", "pair-1-bike"):
        ride = real(name)
        power = np.nan_to_num(ride.power)
        for factor in np.arange(90, 111) / 100:
            exact = factor * power
            jitter = np.where(power > 0, np.nextafter(exact, np.where(rng.random(exact.size) < 0.5, -1e9, 1e9)), 0)
            for device in (exact, jitter):
                for cadence in (None, ride.cadence):
                    named = [item.cause for item in diagnose(Pairs(reference=power, device=device, cadence=cadence))
                             if item.cause != "crank_length"]
                    wrong += named != ([] if factor == 1 else ["scale"])
                    tried += 1
    return wrong, tried


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=30)
    runs = parser.parse_args().runs
    print("| put in | runs | warm-up named | nothing else named | scale named | scale from | to | others |\n"
          "|---|---:|---:|---:|---:|---:|---:|---|")
    for scale in (0.0, -0.02):
        found = [diagnose(warm_up(where, run, scale)) for run in range(runs) for where in ("invented", "real")]
        names = [{item.cause for item in one} for one in found]
        right = {"warm_up", "scale"} if scale else {"warm_up"}
        sizes = [item.size.value for one in found for item in one if item.cause == "scale" and item.size is not None]
        low, high = (f"{edge(sizes):.2f} %" if sizes else "-" for edge in (min, max))
        print(f"| warm-up{', scale -2 %' if scale else ''} | {len(found)} | {sum('warm_up' in one for one in names)} | "
              f"{sum(one == right for one in names)} | {sum('scale' in one for one in names)} | {low} | {high} | "
              f"{dict(Counter(name for one in names for name in one - right))} |", flush=True)
    wrong, tried = misnamed()
    print(f"\nExact factors not named as a scale alone: {wrong} of {tried}")


if __name__ == "__main__":
    main()
