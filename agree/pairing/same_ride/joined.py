"""Whether two recordings are of one ride all along: a file may be joined of two rides, or go on into another one.

Minutes that are unlike by noise still rise and fall with the other recording, if little beside the noise: the slope of
the one on the other stays, and so does the mean power of each minute. In another ride both go their own way.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import (
    ELSEWHERE_ALIKE,
    LEAST_LEVEL_MINUTES,
    LEAST_LEVELS_OFF,
    LEAST_LIVELY,
    LEAST_OTHER_MINUTES,
    LEAST_REST_ALIKE,
    LEAST_SLIGHTLY_OFF,
    LEAST_VARIED,
    LEAST_WORK_S,
    LEVELS_OFF_TIMES,
    MOST_ASTRAY_R,
    MOST_LEVELS_R,
    MOST_OTHER_R,
    MOST_OTHER_SLOPE,
    STUCK_S,
    USUALLY_ALIKE,
    WORKING_W,
)
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.lag_path import shifted, unit
from agree.pairing.clocks.smoothness import made_even
from agree.pairing.same_ride.minutes import WINDOW_S, Likeness
from agree.pairing.same_ride.unlike_part import surprising_part, unlike_part

NEAR_S, FAR_S = 2, 240  # lags looked at beside the one found: for the rest, and for a part that a missed step moved


class Other(NamedTuple):
    """A part that is of another ride: seconds of the reference, and correlation there and in the rest."""

    start_s: int
    stop_s: int
    correlation: float
    rest: float


class Levels(NamedTuple):
    """Usual power of the minutes of a part, over seconds in which both work, the device at its own ratio.

    `off` is the root mean square difference, and `usual` the median size of those of the rest, both as a share of usual
    power. `correlation` is that of the medians, or of their changes from minute to minute if that is less. `varied`
    is the robust standard deviation of the device's, as a share of their median: of a device that is stuck it is 0.
    Dropouts, partial readings and spikes move the mean of a minute, and an average its median: the lesser is taken.
    """

    minutes: int
    off: float
    usual: float
    correlation: float
    varied: float

    @property
    def unlike(self) -> bool:
        """Whether the power of the minutes of the part goes its own way."""
        return (self.minutes >= LEAST_LEVEL_MINUTES and self.off >= LEAST_LEVELS_OFF
                and self.off >= LEVELS_OFF_TIMES * self.usual and self.correlation <= MOST_LEVELS_R
                and self.varied >= LEAST_VARIED)


NO_LEVELS = Levels(0, math.nan, math.nan, math.nan, math.nan)


class Part(NamedTuple):
    """A part that is unlike: its minutes, its correlation, the greatest slope it may have, and the size of its changes.

    The latter two are shares of those in the rest (the usual size in the device over that in the reference);
    `rest_alike` is the share of its minutes that are alike, `rest` its correlation.
    """

    minutes: int
    rest_alike: float
    correlation: float
    most_slope: float
    lively: float
    levels: Levels = NO_LEVELS
    rest: float = 1.0

    @property
    def other(self) -> bool:
        """Whether it is of another ride."""
        if self.rest_alike < LEAST_REST_ALIKE:
            return False
        if self.levels.unlike and self.rest_alike >= USUALLY_ALIKE and self.correlation <= MOST_ASTRAY_R * self.rest:
            return True
        return (self.minutes >= LEAST_OTHER_MINUTES and self.correlation <= MOST_OTHER_R
                and self.most_slope <= MOST_OTHER_SLOPE and self.lively >= LEAST_LIVELY
                and not (self.levels.off < LEAST_SLIGHTLY_OFF or self.levels.correlation > MOST_LEVELS_R))


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


def _minutes(x: FloatArray, y: FloatArray, starts: NDArray[np.int64]) -> tuple[FloatArray, FloatArray]:
    """Power of both by minutes of which a third has both at work, NaN elsewhere; nor are seconds of a stuck device."""
    works = (x > WORKING_W) & (y > WORKING_W)
    for start, stop in runs(y[1:] == y[:-1]):
        if stop - start + 1 >= STUCK_S:
            works[start:stop + 1] = False
    place = starts[:, None] + np.arange(WINDOW_S)
    known = shifted(works.astype(float), place) > 0
    enough = known.sum(axis=1) >= LEAST_WORK_S
    one, two = (np.where(known, shifted(v, place), np.nan)[enough] for v in (x, y))
    return one, two


def _together(a: FloatArray, b: FloatArray) -> float:
    scale = float(a.std()) * float(b.std())
    return float(((a - a.mean()) * (b - b.mean())).mean()) / scale if scale > 0 else 0.0


def levels(x: FloatArray, y: FloatArray, part: NDArray[np.int64], rest: NDArray[np.int64]) -> Levels:
    """Compare the usual power of minutes of a part, and of the rest, each at its own ratio or that of the rest.

    Parameters
    ----------
    x, y : (n,) array
        Power of reference and device on the reference's seconds, W.
    part, rest : array
        First seconds of the minutes.
    """
    off: list[FloatArray] = []
    ratios: list[float] = []
    for starts in (rest, part):
        one, two = _minutes(x, y, starts)
        if one.shape[0] < LEAST_LEVEL_MINUTES:
            return NO_LEVELS
        usual = float(np.nanmedian(one))
        ratios.append(float(np.nanmedian(two / one)))
        # At the ratio of the rest too: a fault, as half of the power, may begin or end within the part.
        apart = np.stack([(two / ratio - one) / usual for ratio in ratios])
        each = np.concatenate([np.nanmedian(apart, axis=2), np.nanmean(apart, axis=2)])
        off.append(np.abs(each).min(axis=0))
    one, two = np.nanmedian(one, axis=1), np.nanmedian(two, axis=1)
    centre = float(np.median(two))
    return Levels(one.size, math.sqrt(float((off[1]**2).mean())), float(np.median(off[0])),
                  min(_together(one, two), _together(np.diff(one), np.diff(two))),
                  1.4826 * float(np.median(np.abs(two - centre))) / centre)


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
    surest = surprising_part(found.matched)
    traces = None
    for first, last in dict.fromkeys((unlike_part(found.matched), (surest.first, surest.last))):
        if last - first >= LEAST_LEVEL_MINUTES and last - first < found.matched.size:
            traces = traces or _laid(x, y, fine)
            if (other := _judged(traces, found, first, last)) is not None:
                return other
    return None


def alike_elsewhere(correlation: float, rest: float) -> bool:
    """Whether a part is so much alike at another lag, beside the rest at its own, that a step was missed."""
    return correlation > max(2 * MOST_OTHER_R, ELSEWHERE_ALIKE * rest)


class _Laid(NamedTuple):
    """Fast changes of both, power of both, and the device's place of each second of the reference."""

    u: FloatArray
    v: FloatArray
    x: FloatArray
    y: FloatArray
    along: NDArray[np.int64]


def _laid(x: FloatArray, y: FloatArray, fine: Fine) -> _Laid:
    place = np.arange(x.size)
    u, v = (unit(trace) for trace in made_even(x, y, round(fine.lag)))
    return _Laid(u, v, x, y, place + np.rint(fine.at(place.astype(float))).astype(np.int64))


def _judged(traces: _Laid, found: Likeness, first: int, last: int) -> Other | None:
    """The part, if it is of another ride."""
    u, v, x, y, along = traces
    inside = np.zeros(found.matched.size, bool)
    inside[first:last] = True
    near = [_sums(u, shifted(v, along + by), found.starts) for by in range(-NEAR_S, NEAR_S + 1)]
    here = max(near, key=lambda sums: _correlation(sums, ~inside))
    slope = float(here.both[~inside].sum() / here.one[~inside].sum())
    lively, usual = (float(np.median(here.other[which]) / np.median(here.one[which])) for which in (inside, ~inside))
    if not (slope > 0 and usual > 0):  # a device that has nothing in the rest: nothing is to be compared
        return None
    starts = found.starts[inside]
    part = Part(int(inside.sum()), float(found.matched[~inside].mean()), _correlation(here, inside),
                _most_slope(here, inside) / slope, lively / usual,
                levels(x, shifted(y, along), starts, found.starts[~inside]), _correlation(here, ~inside))
    if not part.other:
        return None
    elsewhere = max(_correlation(_sums(u, shifted(v, along + by), starts), np.ones(starts.size, bool))
                    for by in range(-FAR_S, FAR_S + 1))
    if alike_elsewhere(elsewhere, part.rest):
        return None
    return Other(int(starts[0]), int(starts[-1]) + WINDOW_S, part.correlation, part.rest)
