"""One trace smoothed as the other is: what averages more is slower, and unlike smoothness looks like a lag."""

from __future__ import annotations

import math

import numpy as np
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.thresholds import SMOOTHER_RATIO
from agree.pairing.clocks import clock

WIDTHS = (3, 5, 7, 9, 11, 15, 21, 31, 41)  # odd, so that a running mean moves no event
# Both are made about equally smooth before a fraction of a second is sought, which decides nothing by itself.
GAIN = 0.02  # of correlation, for which a trace is smoothed at all
QUICK_AND_SLOW = ((5, 10), (31, 60))  # s: width of the means, and how far apart they are
AHEAD_S = 2  # a smoother trace is best alike at another whole second


def running_mean(trace: FloatArray, width: int) -> FloatArray:
    """Mean of the readings there are within `width` s about each second; NaN where that second has none."""
    return clock.mean_of_valid(trace, lambda v: ndimage.uniform_filter1d(v, width, mode="constant"))


def alike(x: FloatArray, y: FloatArray, lag: int) -> float:
    """Correlation of fast changes near a lag."""
    return alike_changes(clock.fast_changes(x), clock.fast_changes(y), lag)


def alike_changes(a: FloatArray, b: FloatArray, lag: int) -> float:
    """Correlation of fast changes that are known already, near a lag."""
    (u, known), (v, there) = ((np.nan_to_num(trace), np.isfinite(trace).astype(float)) for trace in (a, b))
    uu, vv = u * u, v * v
    best = -1.0
    for by in range(lag - AHEAD_S, lag + AHEAD_S + 1):
        low, high = max(-by, 0), min(a.size, b.size - by)
        if low < high:  # what is not known is 0, and so are its products
            one, two = slice(low, high), slice(low + by, high + by)
            scale = math.sqrt(float(uu[one] @ there[two]) * float(known[one] @ vv[two]))
            best = max(best, float(u[one] @ v[two]) / scale if scale > 0 else -1.0)
    return best


def evening(x: FloatArray, y: FloatArray, lag: int) -> tuple[int, int]:
    """Which of two traces (0 or 1) to smooth, and the width of the running mean that makes it most like the other.

    A width of 1 leaves both as they are.
    """
    fast = [clock.fast_changes(trace) for trace in (x, y)]
    plain = alike_changes(fast[0], fast[1], lag)
    chosen = (0, 1)
    for smoothed in (0, 1):
        best, last = plain, plain
        for width in WIDTHS:
            tried = list(fast)
            tried[smoothed] = clock.fast_changes(running_mean((x, y)[smoothed], width))
            found = alike_changes(tried[0], tried[1], lag)
            if found > max(best, plain + GAIN):
                best, chosen = found, (smoothed, width)
            if found < last:
                break
            last = found
        if best > plain + GAIN:
            break
    return chosen


def smoother(x: FloatArray, y: FloatArray) -> tuple[str, float] | None:
    """Which of two traces, "reference" or "device", changes much less within 10 s than the other, and how many times.

    Changes of 5-s means, which hardly any noise is left in, are taken as a share of those of 31-s means over a minute:
    so two rides of unlike power are not told apart by that. No lag is needed. None if neither does.
    """
    one, two = _quickness(x), _quickness(y)
    if not (one > 0 and two > 0):
        return None
    role, ratio = ("reference", two / one) if two > one else ("device", one / two)
    return (role, ratio) if ratio >= SMOOTHER_RATIO else None


def _quickness(trace: FloatArray) -> float:
    """Usual change within 10 s over that within a minute, where there is pedalling; NaN where nothing is known."""
    sizes = []
    for width, apart in QUICK_AND_SLOW:
        change = np.abs((mean := running_mean(trace, width))[apart:] - mean[:-apart])
        known = np.isfinite(change) & (trace[apart:] > 0) & (trace[:-apart] > 0)
        sizes.append(float(np.median(change[known])) if known.any() else math.nan)
    return sizes[0] / sizes[1] if sizes[1] > 0 else math.nan


def made_even(x: FloatArray, y: FloatArray, lag: int) -> tuple[FloatArray, FloatArray]:
    """Smooth the sharper of two traces by the running mean that makes it most like the other at a lag.

    A running mean about each second moves no event, so lags stay what they are.
    """
    smoothed, width = evening(x, y, lag)
    if width == 1:
        return x, y
    return (running_mean(x, width), y) if smoothed == 0 else (x, running_mean(y, width))
