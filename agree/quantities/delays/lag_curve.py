"""How alike the changes of two traces are at every lag, and the lag at which they are most alike."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from agree.core import thresholds
from agree.core.checks import FloatArray

SEARCHED_S = 120       # lags looked at on either side where both clocks are absolute
LEAST_SHARE = 0.5      # of the shorter recording that must overlap at a lag
PEAK_S = 10            # a peak is the highest within so many seconds


def correlations(x: FloatArray, y: FloatArray, *, everywhere: bool) -> tuple[NDArray[np.intp], FloatArray]:
    """Return lags (device later), s, and the correlation of what both have there; -1 where too little is common.

    Sums over all lags at once by Fourier transforms: n log n, so that a day is no longer than a moment.
    """
    held = [np.isfinite(values) for values in (x, y)]
    one, two = (np.where(mask, values - values[mask].mean(), 0.0) if mask.any() else np.zeros(values.size)
                for mask, values in zip(held, (x, y), strict=True))
    size = 1 << int(np.ceil(np.log2(max(2 * x.size, 2))))
    first = [np.conj(np.fft.rfft(part, size)) for part in (held[0].astype(float), one, one * one)]
    second = [np.fft.rfft(part, size) for part in (held[1].astype(float), two, two * two)]
    most = x.size - 1 if everywhere else min(SEARCHED_S, x.size - 1)
    lags = np.arange(-most, most + 1)

    def summed(j: int, k: int) -> FloatArray:
        whole = np.fft.irfft(first[j] * second[k], size)
        result: FloatArray = whole[lags % size]
        return result

    n = np.maximum(np.round(summed(0, 0)), 1.0)
    sx, sy, sxx, syy, sxy = summed(1, 0), summed(0, 1), summed(2, 0), summed(0, 2), summed(1, 1)
    vx, vy = sxx - sx * sx / n, syy - sy * sy / n
    small = 1e-9 * n  # of rounding in the transforms
    enough = n >= max(LEAST_SHARE * min(int(mask.sum()) for mask in held), 4)
    told = enough & (vx > small * max(float(np.mean(one * one)), 1e-300)) & (
        vy > small * max(float(np.mean(two * two)), 1e-300))
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = np.where(told, (sxy - sx * sy / n) / np.sqrt(np.where(told, vx * vy, 1.0)), -1.0)
    return lags, np.minimum(whole, 1.0)


def nearest_peak(lags: NDArray[np.intp], whole: FloatArray) -> int:
    """Index of the peak nearest to no lag among those about as high: equal efforts are alike a period apart.

    A peak further off than absolute clocks are searched must be high by itself.
    """
    top = float(whole.max())
    around = np.lib.stride_tricks.sliding_window_view(np.pad(whole, PEAK_S, constant_values=-1.0), 2 * PEAK_S + 1)
    high = (whole == around.max(axis=1)) & (1 - whole <= thresholds.ALIKE_PEAKS * (1 - top) + 0.01)
    near = np.abs(lags) <= SEARCHED_S
    high &= near | (whole >= thresholds.FAR_LAG_FIT)
    peaks = np.flatnonzero(high)
    if not peaks.size:
        return int(np.argmax(np.where(near, whole, -2.0)))
    return int(peaks[np.argmin(np.abs(lags[peaks]))])
