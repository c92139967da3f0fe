"""Window means that the causes are fitted to."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.pairs import Pairs
from agree.verdict.columns import Table, _beside_coasting

WINDOW_S = 30
KNOWN_SHARE = 0.8         # of the windows that must have a cadence, or a temperature, for it to be used
TURN = 2 * math.pi / 60   # rad/s per rev/min


class Frame(NamedTuple):
    """Window means of pedalling seconds, (n,) each: W, W, rad/s, hours into the session, degrees C, session, rest."""

    error: FloatArray
    power: FloatArray
    turning: FloatArray | None
    hours: FloatArray
    warmth: FloatArray | None
    session: NDArray[np.intp]
    rested: NDArray[np.bool_]   # seconds not pedalled came just before this window


def spread_ratio(values: FloatArray | None) -> float:
    """95th over 5th percentile; 1 where nothing is known."""
    if values is None or not values.size:
        return 1.0
    low, high = np.percentile(values, (5, 95))
    return float(high / low) if low > 0 else math.inf


def frame(table: Table) -> Frame:
    """Means over windows of pedalling with at least half their seconds; cadence and temperature if most have them."""
    parts = [_means(item, number) for number, item in enumerate(table.pairs)]
    error, power, hours, session, rested, *extra = (np.concatenate(column) for column in zip(*parts, strict=True))
    known = [np.isfinite(column) for column in extra]
    use = [mask.sum() > KNOWN_SHARE * mask.size for mask in known]
    keep = np.logical_and.reduce([np.ones(error.size, bool)]
                                 + [mask for mask, one in zip(known, use, strict=True) if one])
    turning, warmth = (column[keep] if one else None for column, one in zip(extra, use, strict=True))
    return Frame(error[keep], power[keep], turning, hours[keep], warmth, session[keep].astype(np.intp),
                 rested[keep] > 0)


def _means(item: Pairs, number: int) -> tuple[FloatArray, ...]:
    good = item.used & ~_beside_coasting(item)
    index = np.floor(item.time[good] / WINDOW_S).astype(np.intp)
    count = np.bincount(index)
    keep = count >= WINDOW_S / 2
    nothing = np.full(item.time.size, np.nan)

    def mean(column: FloatArray | None) -> FloatArray:
        values = (nothing if column is None else column)[good]
        valid = np.isfinite(values)
        known = np.bincount(index[valid], minlength=count.size)
        total = np.bincount(index[valid], values[valid], minlength=count.size)
        result: FloatArray = np.where(known >= count / 2, total / np.maximum(known, 1), np.nan)[keep]
        return result

    x, y = mean(item.reference), mean(item.device)
    # Seconds of rest in or just before a window: where a device may have set itself to zero.
    rest = np.bincount(np.floor(item.time / WINDOW_S).astype(np.intp), ~good, minlength=count.size)[:count.size]
    missing = np.bincount(np.floor(item.time / WINDOW_S).astype(np.intp), minlength=count.size)[:count.size] < WINDOW_S
    idle = (rest > 3) | missing
    rested = (idle | np.r_[False, idle[:-1]])[keep].astype(float)
    return (y - x, (x + y) / 2, mean(item.time - item.time[0]) / 3600, np.full(x.size, float(number)), rested,
            mean(item.cadence) * TURN, mean(item.temperature))
