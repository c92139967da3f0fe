"""The likeliest course of the lag, second by second: what seconds cost, and each change of the lag."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    STEP_EDGE_S,
    STEP_PASSED,
    STEP_PRICE,
    STEP_PRICE_AT_STOP,
    STEP_UNKNOWN,
    STEP_WORST,
    WORKING_W,
)


class Prices(NamedTuple):
    """What `likeliest` asks for: what each second costs, and each change of the lag."""

    cost: FloatArray
    skip: FloatArray
    lost: FloatArray
    price: FloatArray
    price_lost: FloatArray


def prices(own: FloatArray, near: FloatArray, inside: NDArray[np.bool_], sd: float, memory: float) -> Prices:
    """Log likelihoods that seconds cost at each lag, or passed over, and prices of changes.

    Parameters
    ----------
    own : (seconds,) array, W
        The reference.
    near : (seconds + lags - 1,) array, W
        The device, from the second that the first of the reference has at the lowest lag.
    inside : (seconds + lags - 1,) array of bool
        Whether the device's recording has that second. Beyond its ends a second costs most: else
        faults would lie there.
    sd : float
        Standard deviation of what is left, W.
    memory : float
        Seconds that count as one.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.pairing.clocks.by_second.likeliest_course import prices
    >>> made = prices(np.full(2, 200.0), np.array([200.0, 204.0, 0.0]), np.ones(3, bool), 2.0, 1.0)
    >>> made.cost.tolist(), made.price_lost.tolist()
    ([[0.0, 2.0], [2.0, 4.5]], [6.0, 6.0, 6.0])
    """
    lags = near.size - own.size + 1
    apart = np.lib.stride_tricks.sliding_window_view(near, lags) - own[:, None]
    beyond = np.lib.stride_tricks.sliding_window_view(~inside, lags)
    cost = np.minimum(0.5 * (apart / sd) ** 2, STEP_WORST)
    cost = np.where(np.isfinite(cost), cost, np.where(beyond, STEP_WORST, STEP_UNKNOWN)) / memory
    skip, lost = (np.where(power > WORKING_W, STEP_PASSED, STEP_UNKNOWN / 2) / memory for power in (own, near))
    # A smoothed trace falls to a stop over some seconds: a change that had to wait for it would come too late.
    price, price_lost = (np.where(ndimage.minimum_filter1d(np.nan_to_num(power, nan=np.inf), 2 * STEP_EDGE_S + 1)
                                  > WORKING_W, STEP_PRICE, STEP_PRICE_AT_STOP) for power in (own, near))
    return Prices(cost, skip, np.where(inside, lost, 0.0), price, price_lost)


def likeliest(cost: FloatArray, skip: FloatArray, lost: FloatArray, price: FloatArray, price_lost: FloatArray) -> list[
        tuple[int, int, int]]:
    """Course of least cost: start and stop in seconds of the reference, and index of the lag, in order of time.

    Where the lag falls by s, s seconds of the reference are passed over, so that none of the device is used twice;
    where it rises, s seconds of the device.

    Parameters
    ----------
    cost : (seconds, lags) array
        Of each second at each lag, in ascending order of whole seconds.
    skip : (seconds,) array
        Cost of passing over a second of the reference.
    lost : (seconds + lags - 1,) array
        Cost of passing over a second of the device: of the first second at each lag, then of the next ones at the last.
    price, price_lost : (seconds,) and (seconds + lags - 1,) arrays
        Of a change by which a second of the reference, or of the device, is the first to be passed over.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.pairing.clocks.by_second.likeliest_course import likeliest
    >>> cost = np.ones((9, 3))
    >>> cost[:4, 0] = cost[4:, 2] = 0
    >>> likeliest(cost, np.ones(9), np.zeros(11), np.full(9, 2.0), np.full(11, 2.0))
    [(0, 4, 0), (4, 9, 2)]
    """
    seconds, lags = cost.shape
    passed, gone = np.r_[0.0, np.cumsum(skip)], np.r_[0.0, np.cumsum(lost)]
    totals = np.empty((seconds, lags))
    totals[0] = cost[0]
    # Least total of all earlier places at which the device was at the same second, less what was passed over by then,
    # and the price of leaving from there.
    fallen = np.full(seconds + lags, np.inf)
    for t in range(1, seconds):
        last, held = totals[t - 1], fallen[t - 1:t - 1 + lags]
        np.minimum(held, last + (price[t] - passed[t]), out=held)
        best = np.minimum(last, held + passed[t])
        other = gone[t:t + lags]
        risen = np.minimum.accumulate(last - other + price_lost[t:t + lags])
        best[1:] = np.minimum(best[1:], risen[:-1] + other[1:])
        np.add(best, cost[t], out=totals[t])
    return _traced(totals, cost, (passed, price), (gone, price_lost))


def _traced(totals: FloatArray, cost: FloatArray, fall: tuple[FloatArray, FloatArray],
            rise: tuple[FloatArray, FloatArray]) -> list[tuple[int, int, int]]:
    """The way back through the totals."""
    (passed, price), (gone, price_lost) = fall, rise
    t, k = totals.shape[0] - 1, int(totals[-1].argmin())
    stop, found = t + 1, []
    while t > 0:
        before = totals[t, k] - cost[t, k]
        if totals[t - 1, k] <= before + 1e-9:
            t -= 1
            continue
        found.append((t, stop, k))
        lower = totals[t - 1, :k] + (gone[t + k] - gone[t:t + k]) + price_lost[t:t + k]
        if lower.size and lower.min() <= before + 1e-6:
            t, k = t - 1, int(lower.argmin())
        else:  # the device was at this second before: s seconds ago, at a lag greater by s
            back = np.arange(min(t - 1, totals.shape[1] - 1 - k) + 1)
            earlier = totals[t - 1 - back, k + back] - passed[t - back] + price[t - back]
            s = int(earlier.argmin())
            t, k = t - 1 - s, k + s
        stop = t + 1
    return [*found, (0, stop, k)][::-1]
