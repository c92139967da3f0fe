"""Invented rides for the tests of the verdict."""

import numpy as np
from scipy.signal import lfilter

from agree import Pairs


def effort(rng, seconds=3600):
    """A wandering power of 100 to 340 W."""
    wave = 220 + 80 * np.sin(np.arange(seconds) / 90 + rng.uniform(0, 6))
    return np.clip(wave + 15 * lfilter([0.3], [1, -0.9], rng.normal(0, 1, seconds)), 40, None)


def session(rng, *, scale=1.0, offset=0.0, sd=2.0, seconds=3600, label="1", **more):
    """A device with a scale, an offset and an error correlated over about 10 s."""
    true = effort(rng, seconds)
    error = sd * lfilter([np.sqrt(1 - 0.9**2)], [1, -0.9], rng.normal(0, 1, seconds))
    return Pairs(reference=true, device=scale * true + offset + error, session=label, **more)
