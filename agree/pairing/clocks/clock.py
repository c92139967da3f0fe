"""How far two clocks are apart, in whole seconds: the lag over all shifts at which fast changes are most alike.

Traces are on 1-s grids; NaN is no reading. A lag is the place of an event in the device's trace minus its place
in the reference's, in seconds. Only fast changes are compared: slow ones are alike in any two rides.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from agree.core.checks import FloatArray
from agree.core.thresholds import DISTINCT_LAG_S, MIN_OVERLAP_S, MIN_OVERLAP_SHARE

# These say which changes are compared; how alike they must be stands with the thresholds, which were set with them.
HIGH_PASS_S = 61  # fast changes: the trace without its running mean over this many seconds
CLIP_SD = 3.0  # changes are cut to this many standard deviations, so that no single spike decides
STILL_W = 1e-6
LOW_PASS_SD_S = 1.5  # standard deviation of the Gaussian that limits the band for the sub-second lag
MOST_CANDIDATES = 4


class Candidate(NamedTuple):
    """A whole-second lag, the correlation there, and the strength of the match."""

    lag: int
    correlation: float
    strength: float


def mean_of_valid(trace: FloatArray, smooth: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Smooth over the readings present; NaN where there is none."""
    valid = np.isfinite(trace)
    weight = smooth(valid.astype(float))
    total = smooth(np.where(valid, trace, 0.0))
    out: FloatArray = np.where(valid, total / np.where(valid, weight, 1.0), np.nan)
    return out


def fast_changes(trace: FloatArray) -> FloatArray:
    """Return the trace minus its running mean over 61 s of readings, clipped at 3 standard deviations.

    The standard deviation is that left after one round of clipping, so that spikes do not set it.
    """
    fast: FloatArray = trace - mean_of_valid(
        trace, lambda v: ndimage.uniform_filter1d(v, HIGH_PASS_S, mode="constant"))
    for _ in range(2):
        sd = float(np.nanstd(fast)) if np.isfinite(fast).any() else 0.0
        limit = CLIP_SD * sd if sd > STILL_W else 0.0  # what is left of a constant trace is rounding
        fast = np.clip(fast, -limit, limit)
    return fast


def correlate(x: FloatArray, y: FloatArray) -> tuple[NDArray[np.int64], FloatArray, FloatArray]:
    """Correlation of two traces of mean 0 at every whole lag, over the readings both have there.

    Returns the lags, the correlations (NaN where either has no change) and the numbers of readings compared.
    """
    size = fft.next_fast_len(x.size + y.size, real=True)

    def spectra(v: FloatArray) -> FloatArray:
        filled = np.nan_to_num(v)
        rows: FloatArray = fft.rfft(np.array([filled, filled**2, np.isfinite(v)], dtype=float), size)
        return rows

    a, b = spectra(x).conj(), spectra(y)
    product, energy_x, energy_y, count = fft.irfft(
        np.array([a[0] * b[0], a[1] * b[2], a[2] * b[1], a[2] * b[2]]), size)
    lags = np.arange(-(x.size - 1), y.size)
    floor = 1e-9 * max(float(np.nansum(x**2)), float(np.nansum(y**2)), 1e-300)
    moving = (energy_x > floor) & (energy_y > floor)
    energy = np.where(moving, np.abs(energy_x * energy_y), 1.0)
    r = np.where(moving, product / np.sqrt(energy), np.nan)
    return lags, r[lags], np.rint(count[lags])


def candidates(x: FloatArray, y: FloatArray, lowest: float, highest: float) -> list[Candidate]:
    """Return the strongest lags from `lowest` to `highest` that are distinctly different, up to 4, the best first.

    Considered are lags at which both have at least 60 readings in common, and 30 % of those of the shorter trace.
    """
    return strongest(fast_changes(x), fast_changes(y), lowest, highest)


def strongest(u: FloatArray, v: FloatArray, lowest: float, highest: float) -> list[Candidate]:
    """Return the strongest lags of changes that are known already, as `candidates` does."""
    lags, r, count = correlate(u, v)
    need = max(MIN_OVERLAP_S, MIN_OVERLAP_SHARE * min(np.isfinite(u).sum(), np.isfinite(v).sum()))
    open_ = (count >= need) & (lags >= lowest) & (lags <= highest) & np.isfinite(r)
    r = np.where(open_, np.clip(r, -1.0, 1.0), 0.0)
    # The correlation is capped where its artanh would be infinite.
    strength = np.where(open_, np.arctanh(np.clip(r, -0.9999, 0.9999)) * np.sqrt(np.maximum(count, 0)), -np.inf)
    found: list[Candidate] = []
    for _ in range(MOST_CANDIDATES):
        i = int(strength.argmax())
        if not math.isfinite(strength[i]) or (found and strength[i] <= 0):
            break
        found.append(Candidate(int(lags[i]), float(r[i]), float(strength[i])))
        strength[np.abs(lags - lags[i]) <= DISTINCT_LAG_S] = -np.inf
    return found


def band(trace: FloatArray) -> FloatArray:
    """Fast changes up to about 0.15 Hz, where a delay by interpolation is still a delay."""
    return mean_of_valid(fast_changes(trace), lambda v: ndimage.gaussian_filter1d(
        v, LOW_PASS_SD_S, mode="constant"))
