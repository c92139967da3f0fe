"""A filter to begin with where none was found: of a few that slow devices have, the one that is most like the pair."""

from __future__ import annotations

import math

import numpy as np
from scipy import fft, ndimage

from agree.core.checks import FloatArray
from agree.estimators.response.kernels import LEFT_OVER, Kernel
from agree.estimators.response.matching import Filter
from agree.estimators.response.nonlinear.any_filter import through

MEANS_S, LAGS_S = (20, 30, 45, 60), (10, 20, 30, 45)
FARTHEST_S = 40     # of the delay that the clocks left
SLOWER_S = 121      # slower changes are alike in any two rides
CLIPPED_SD = 3.0


def first_trial(sharp: FloatArray, slow: FloatArray, smoother: str) -> Filter:
    """The mean or lag, with its delay, by which the sharp trace is most like the slow one.

    Parameters
    ----------
    sharp, slow : (n,) array, W
        Readings, NaN where unknown or faulty.
    smoother : {"device", "reference"}
        Role of the slow one.
    """
    one, two = _bridged(sharp), _changes(_bridged(slow))
    found = [(*_delay(_changes(through(one, by)), two), by) for by in _kernels()]
    _, late, by = max(found, key=lambda item: item[0])
    return Filter(Kernel(by.start + late, by.weights), smoother, None)


def _kernels() -> list[Kernel]:
    """Means about their middle, and lags from their mean delay on."""
    found = [Kernel(-(width // 2), np.full(width, 1 / width)) for width in MEANS_S]
    for lag in LAGS_S:
        keep = math.exp(-1 / lag)
        weights = keep ** np.arange(math.ceil(math.log(LEFT_OVER) / math.log(keep)))
        found.append(Kernel(-lag, weights / weights.sum()))
    return found


def _bridged(trace: FloatArray) -> FloatArray:
    known = np.flatnonzero(np.isfinite(trace))
    return np.interp(np.arange(trace.size), known, trace[known]) if known.size else np.zeros(trace.size)


def _changes(trace: FloatArray) -> FloatArray:
    """Faster changes, cut so that no single one decides."""
    fast = trace - ndimage.uniform_filter1d(trace, SLOWER_S, mode="nearest")
    limit = CLIPPED_SD * float(fast.std())
    clipped: FloatArray = np.clip(fast, -limit, limit)
    return clipped


def _delay(one: FloatArray, two: FloatArray) -> tuple[float, int]:
    """Largest correlation within 40 s, and the delay of the second there."""
    size = fft.next_fast_len(one.size + FARTHEST_S, real=True)
    product = fft.irfft(fft.rfft(two, size) * fft.rfft(one, size).conj(), size)
    lags = np.r_[0:FARTHEST_S + 1, -FARTHEST_S:0]
    best = int(lags[np.argmax(product[lags])])
    scale = math.sqrt(float(one @ one) * float(two @ two))
    return (float(product[best]) / scale if scale > 0 else 0.0), best
