"""What goes with the begin and end of faults: stops, fast changes of cadence, speed or power, temperature."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, special

from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.thresholds import LEAST_PATTERN_EVENTS, LEAST_WARMTH, PATTERN_P
from agree.diagnosis.finding import Moment, Pattern

NEAR_S = 5           # s on either side of an event that count as beside it
STOP_S = 3           # s of both at 0, or of no record, that make a stop
FASTEST = 0.05       # share of seconds whose changes are the fastest

Mask = NDArray[np.bool_]


class Conditions(NamedTuple):
    """For each moment, the seconds at it (n,); and those at which something might have been seen to begin (n,)."""

    masks: dict[Moment, Mask]
    riding: Mask


def conditions(item: Pairs) -> Conditions:
    """Moments of a pair that faults may go with."""
    x, y = (np.nan_to_num(column, nan=0.0) for column in (item.reference, item.device))
    stopped = (x <= 0) & (y <= 0)
    gap = np.r_[False, np.diff(item.time) > STOP_S]
    stopped = ndimage.binary_opening(stopped, np.ones(STOP_S)) | gap
    masks: dict[Moment, Mask] = {"beside a stop": _near(stopped)}
    sharper = np.maximum(x, y)
    masks["power changes fast"] = _near(_fastest(sharper, ~stopped))
    if item.cadence is not None and np.isfinite(item.cadence).any():
        masks["cadence changes fast"] = _near(_fastest(item.cadence, ~stopped & (np.nan_to_num(item.cadence) > 0)))
    if item.speed is not None and np.isfinite(item.speed).any():
        masks["speed changes fast"] = _near(_fastest(item.speed, ~stopped & (np.nan_to_num(item.speed) > 0)))
    warmth = item.temperature
    if warmth is not None and np.isfinite(warmth).any() and np.nanmax(warmth) - np.nanmin(warmth) >= LEAST_WARMTH:
        low, high = np.nanpercentile(warmth, (100 / 3, 200 / 3))
        masks |= {"cold": warmth <= low, "warm": warmth >= high}
    return Conditions(masks, ~stopped)


def _near(mask: Mask) -> Mask:
    """Seconds within a few of the mask."""
    near: Mask = ndimage.binary_dilation(mask, np.ones(2 * NEAR_S + 1))
    return near


def _fastest(values: FloatArray, riding: Mask) -> Mask:
    """Seconds whose change over 3 s is among the fastest while riding; stops are a matter of their own."""
    change = np.abs(np.r_[0.0, 0.0, values[3:] - values[:-3], 0.0]) if values.size > 3 else np.zeros(values.size)
    change = np.where(np.isfinite(change) & ndimage.binary_erosion(riding, np.ones(7)), change, 0.0)
    if not (change > 0).any():
        return np.zeros(values.size, bool)
    fastest: Mask = change > max(float(np.quantile(change[riding], 1 - FASTEST)), 0.0)
    return fastest


def patterns(parts: Sequence[tuple[Conditions, list[tuple[int, int]]]]) -> tuple[Pattern, ...]:
    """Moments at which more events begin or end than would by chance; events of all sessions together.

    An event is at a moment if its first or last second is. By chance it would be so in the share of seconds at
    which one of its length would be (binomial tail); with few events nothing is judged.
    """
    counts: dict[Moment, tuple[int, int, float]] = {}
    for condition, spans in parts:
        for moment, mask in condition.masks.items():
            count, of, expected = counts.get(moment, (0, 0, 0.0))
            base = float(mask[condition.riding].mean()) if condition.riding.any() else 0.0
            for start, stop in spans:
                long = stop - start > 2 * NEAR_S
                count += bool(mask[start] or mask[stop - 1])
                expected += 1 - (1 - base) ** 2 if long and moment not in ("warm", "cold") else base
                of += 1
            counts[moment] = (count, of, expected)
    found = []
    for moment, (count, of, expected) in counts.items():
        share = min(expected / of, 1.0) if of else 0.0
        p = float(special.bdtrc(count - 1, of, share)) if count and 0 < share < 1 else 1.0
        if of >= LEAST_PATTERN_EVENTS and p < PATTERN_P / max(len(counts), 1) and 2 * count >= of:
            found.append(Pattern(moment=moment, count=count, of=of, expected=share, p=p))
    return tuple(sorted(found, key=lambda item: item.p))
