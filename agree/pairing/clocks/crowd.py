"""Where the lag is to be looked for when no single lag is good, as with several stops: about which lag windows crowd.

Each stretch between stops has its own lag, and over the whole ride none of them may stand out. But they lie close
together, and lags at which a window is alike by chance lie anywhere.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from agree.core.checks import FloatArray
from agree.core.thresholds import CROWDED
from agree.pairing.clocks.lag_path import LARGEST, unit

# What is found here is a proposal: steps about it are followed and judged like any other (CROWDED decides).
WINDOW_S, HOP_S = 120, 60
MOST_WINDOWS = 100
ABOUT_S = 100  # lags of one ride lie within so much on either side, or mostly
READINGS = 5.0  # of the smoothed traces count as one
QUIET = 0.05  # a window, or a place, with less of the usual energy tells nothing


def crowd(x: FloatArray, y: FloatArray, lowest: float, highest: float) -> int | None:
    """Lag about which the best lags of windows of 2 min lie closest; None if they crowd nowhere.

    Each window counts at every lag with the log likelihood of its correlation at the best lag within 100 s of it.

    Parameters
    ----------
    x, y : array
        Traces of reference and device.
    lowest, highest : float
        Lags to consider.
    """
    u, v = np.nan_to_num(unit(x)), np.nan_to_num(unit(y))
    size = fft.next_fast_len(v.size + 2 * WINDOW_S, real=True)
    spectrum = fft.rfft(v, size)
    edge = np.zeros(WINDOW_S)
    energy = np.r_[0.0, np.cumsum(np.r_[edge, v * v, edge])]
    energy = energy[WINDOW_S:] - energy[:-WINDOW_S]  # of the window that begins at each place from -120 on
    lags = np.arange(-u.size, v.size + 1)
    total = np.zeros(lags.size)
    for start in _starts(u):
        part = u[start:start + WINDOW_S]
        own = float(part @ part)
        product = fft.irfft(spectrum * fft.rfft(part, size).conj(), size)
        r = np.r_[product[-WINDOW_S:], product[:v.size + 1]] / np.sqrt(np.maximum(energy * own, QUIET * own * own))
        told = -0.5 * np.log1p(-np.clip(r, 0.0, LARGEST)**2) * part.size / READINGS
        row = np.zeros(lags.size)
        begin = u.size - start - WINDOW_S  # place of the first of these lags among all
        row[max(begin, 0):begin + told.size] = told[max(-begin, 0):]
        total += ndimage.maximum_filter1d(row, 2 * ABOUT_S + 1)
    total[(lags < lowest) | (lags > highest)] = 0.0
    if not stands_out(total):
        return None
    best = np.flatnonzero(total >= total.max() * (1 - 1e-9))
    return int(lags[best[best.size // 2]])


def stands_out(total: FloatArray) -> bool:
    """Whether windows crowd at one lag more than at others: of unrelated rides the best is little above many."""
    some = total[total > 0]
    return bool(some.size) and float(some.max()) >= CROWDED * float(np.quantile(some, 0.9))


def _starts(u: FloatArray) -> NDArray[np.int64]:
    """Starts of windows in which anything changes, thinned out evenly to 100."""
    starts = np.arange(0, max(u.size - WINDOW_S // 2, 1), HOP_S)
    starts = starts[[float(u[s:s + WINDOW_S] @ u[s:s + WINDOW_S]) > QUIET * WINDOW_S for s in starts]]
    if starts.size > MOST_WINDOWS:
        starts = starts[np.linspace(0, starts.size - 1, MOST_WINDOWS).astype(int)]
    return starts
