"""Workouts of a trainer, and the same one on another day, for benchmarks of pairing."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter


def noise(size: int, rng: np.random.Generator, sd: float, memory: float) -> np.ndarray:
    """Noise whose neighbours are correlated."""
    return lfilter([sd * np.sqrt(1 - memory**2)], [1, -memory], rng.standard_normal(size))


def workout(size: int, rng: np.random.Generator) -> np.ndarray:
    """Targets of a trainer: steps of 20 s to 8 min, without the rider."""
    target: list[float] = []
    while len(target) < size:
        target += [float(rng.choice([120, 150, 180, 210, 240, 270, 300, 350]))] * int(np.exp(rng.uniform(3, 6.2)))
    return np.array(target[:size])


def equal_steps(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Two days of equal steps at the same second: each rider's own changes are of some size and memory."""
    on, memory, size = int(rng.choice([30, 60, 120])), float(rng.choice([0, 0.4, 0.8])), float(rng.choice([3, 6, 12]))
    target = np.r_[np.full(600, 120.0), np.tile(np.repeat([300.0, 140.0], on), 40)[:2400], np.full(300, 110.0)]
    one, two = (lfilter([0.6], [1, -0.4], target) + noise(target.size, rng, size, memory)
                + 2 * rng.standard_normal(target.size) for _ in range(2))
    return np.rint(np.maximum(one, 0)), np.rint(np.maximum(two, 0))
