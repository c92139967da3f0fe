"""Whether two recordings are of one ride all along: a file may be joined of two rides, or go on into another one.

Minutes that are unlike by noise still rise and fall with the other recording, if little beside the noise: the slope of
the one on the other stays. In another ride it is 0, though both have changes of like size.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    LEAST_LIVELY,
    LEAST_OTHER_MINUTES,
    LEAST_REST_ALIKE,
    MOST_OTHER_R,
    MOST_OTHER_SLOPE,
)
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.lag_path import shifted, unit
from agree.pairing.clocks.smoothness import made_even
from agree.pairing.same_ride.minutes import WINDOW_S, Likeness

MATCHED_COSTS = 3.0  # another ride has a minute in some 20 that is alike by chance
NEAR_S, FAR_S = 2, 240  # at another lag that explains them, a step of a clock was missed, and no ride


class Other(NamedTuple):
    """A part that is of another ride: seconds of the reference, and correlation there and in the rest."""

    start_s: int
    stop_s: int
    correlation: float
    rest: float


class Part(NamedTuple):
    """A part that is unlike: its minutes, its correlation, the greatest slope it may have, and the size of its changes.

    The latter two are shares of those in the rest (the usual size in the device over that in the reference);
    `rest_alike` is the share of its minutes that are alike.
    """

    minutes: int
    rest_alike: float
    correlation: float
    most_slope: float
    lively: float

    @property
    def other(self) -> bool:
        """Whether it is of another ride."""
        return (self.minutes >= LEAST_OTHER_MINUTES and self.rest_alike >= LEAST_REST_ALIKE
                and self.correlation <= MOST_OTHER_R and self.most_slope <= MOST_OTHER_SLOPE
                and self.lively >= LEAST_LIVELY)


def unlike_part(matched: NDArray[np.bool_]) -> tuple[int, int]:
    """Return the windows, from and to, in which those that are not matched most outweigh those that are."""
    total = np.r_[0.0, np.cumsum(np.where(matched, -MATCHED_COSTS, 1.0))]
    lowest = np.minimum.accumulate(total)
    stop = int((total - lowest).argmax())
    return int(total[:stop + 1].argmin()), stop


class _Sums(NamedTuple):
    """Sums of products in windows of a minute."""

    both: FloatArray
    one: FloatArray
    other: FloatArray


def _sums(u: FloatArray, v: FloatArray, starts: NDArray[np.int64]) -> _Sums:
    place = starts[:, None] + np.arange(WINDOW_S)
    a, b = shifted(u, place), shifted(v, place)
    known = np.isfinite(a) & np.isfinite(b)
    a, b = np.where(known, a, 0.0), np.where(known, b, 0.0)
    return _Sums((a * b).sum(axis=1), (a * a).sum(axis=1), (b * b).sum(axis=1))


def _correlation(sums: _Sums, which: NDArray[np.bool_]) -> float:
    scale = math.sqrt(float(sums.one[which].sum() * sums.other[which].sum()))
    return float(sums.both[which].sum()) / scale if scale > 0 else 0.0


def _most_slope(sums: _Sums, which: NDArray[np.bool_]) -> float:
    """Slope of the device on the reference and twice its standard error, by minutes."""
    both, one = sums.both[which], sums.one[which]
    slope = float(both.sum() / one.sum())
    return slope + 2 * math.sqrt(float(((both - slope * one) ** 2).sum())) / float(one.sum())


def other_ride(x: FloatArray, y: FloatArray, fine: Fine, found: Likeness) -> Other | None:
    """Return the part that is of another ride, if most of the rest is of one; None if there is none.

    Parameters
    ----------
    x, y : array
        Power of reference and device, W, on 1-s grids.
    fine : Fine
        Lags found.
    found : Likeness
        From `minutes.along`.
    """
    first, last = unlike_part(found.matched)
    inside = np.zeros(found.matched.size, bool)
    inside[first:last] = True
    if inside.sum() < LEAST_OTHER_MINUTES or inside.all():
        return None
    u, v = (unit(trace) for trace in made_even(x, y, round(fine.lag)))
    place = np.arange(u.size)
    along = place + np.rint(fine.at(place.astype(float))).astype(np.int64)
    near = [_sums(u, shifted(v, along + by), found.starts) for by in range(-NEAR_S, NEAR_S + 1)]
    here = max(near, key=lambda sums: _correlation(sums, ~inside))
    slope = float(here.both[~inside].sum() / here.one[~inside].sum())
    lively, usual = (float(np.median(here.other[which]) / np.median(here.one[which])) for which in (inside, ~inside))
    part = Part(int(inside.sum()), float(found.matched[~inside].mean()), _correlation(here, inside),
                _most_slope(here, inside) / slope, lively / usual)
    if not part.other:
        return None
    starts = found.starts[inside]
    elsewhere = max(_correlation(_sums(u, shifted(v, along + by), starts), np.ones(starts.size, bool))
                    for by in range(-FAR_S, FAR_S + 1))
    if elsewhere > 2 * MOST_OTHER_R:
        return None
    return Other(int(starts[0]), int(starts[-1]) + WINDOW_S, part.correlation, _correlation(here, ~inside))
