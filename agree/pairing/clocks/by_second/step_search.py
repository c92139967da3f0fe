"""Steps of a clock sought second by second, where windows of a minute have told that there are some.

Windows of a minute tell two stops that are less than two minutes apart as one, and average lags over the stop. Here the
readings of every second are compared at every lag between those found, and the likeliest course is followed: a lag that
stays costs nothing, and each change of it a price. Traces are on 1-s grids; NaN is no reading.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.thresholds import LEAST_BETWEEN_S, LEAST_END_S, LEAST_TURN_S, MIN_STEP_S, STEP_WORST, WORKING_W
from agree.pairing.clocks import clock, smoothness
from agree.pairing.clocks.by_second.likeliest_course import likeliest, prices
from agree.pairing.clocks.by_second.poor_parts import Course, mended
from agree.pairing.clocks.lag_path import Stretch, shifted, without_excursions

REACH_S = 6  # lags tried beyond those found; with 66 the zeros of a late start were taken for a pause
LONGEST_S = 7200  # a region of more seconds is cut, since the memory goes with seconds times lags
BESIDE_S = 400  # readings looked at on either side of a change
MOST_LAGS = 400  # between the lowest and the highest of neighbouring changes; a longer pause stays where it was found
ROUNDS = 3  # of settling how alike the traces are, which says what a second may cost
SMOOTH_SD_S = 1.5  # a lag between whole seconds mixes neighbours: both are smoothed by more
LEAST_SD_W = 2.0
MINUTE_S = 60
MEMORY_S = 20  # over which errors of neighbouring seconds may be alike


def refined(x: FloatArray, y: FloatArray, stretches: list[Stretch]) -> list[Stretch]:
    """Stretches between changes of the lag, found second by second near those that windows of a minute found.

    Parameters
    ----------
    x, y : array
        Traces of reference and device, W.
    stretches : list of Stretch
        From `lag_path.follow`, in order of time.
    """
    courses = _courses(stretches, x.size)
    for _ in range(ROUNDS):
        one, two = _evened(x, y, courses)
        before, courses = courses, _followed(one, two, courses)
        if courses == before:
            break
    return without_excursions(without_turns(_stretches(courses), ~(x <= WORKING_W)))


def without_turns(stretches: list[Stretch], works: NDArray[np.bool_]) -> list[Stretch]:
    """Leave out moments at which the lag turns back, and those at the ends that have too little work to tell a lag.

    One clock would have lost seconds just after the other one had: so the search passes over a stop that it finds no
    place for, by a fall and a rise of the lag within seconds. Six minutes of rest before a ride tell no lag, nor
    do seconds between two steps in one stop.
    `works` are the seconds in which the reference does.
    """
    kept = list(stretches)
    while len(kept) > 1:
        lags = [int(np.median(part.lags)) for part in kept]
        short = [k for k, part in enumerate(kept) if (
            works[part.start:part.stop].sum() < LEAST_END_S if k in (0, len(kept) - 1) else
            works[part.start:part.stop].sum() < LEAST_BETWEEN_S or
            part.stop - part.start < LEAST_TURN_S * ((lags[k] - lags[k - 1]) * (lags[k + 1] - lags[k]) < 0))]
        if not short:
            break
        del kept[min(short, key=lambda k: kept[k].stop - kept[k].start)]
    return kept


def _courses(stretches: list[Stretch], size: int) -> list[Course]:
    """Second by second what windows told: a change is in the middle between two stretches."""
    cuts = [0, *((before.stop + after.start) // 2 for before, after in pairwise(stretches)), size]
    return [Course(start, stop, int(lag)) for stretch, (begin, end) in zip(stretches, pairwise(cuts), strict=True)
            for start, stop, lag in _pieces(stretch.lags, begin, end)]


def _pieces(lags: NDArray[np.int64], begin: int, end: int) -> list[tuple[int, int, int]]:
    """Runs of one lag, spread evenly over the seconds of a stretch."""
    edges = np.r_[0, np.flatnonzero(np.diff(lags)) + 1, lags.size]
    places = begin + (edges * (end - begin)) // max(lags.size, 1)
    pieces = zip(places[:-1].tolist(), places[1:].tolist(), lags[edges[:-1]].tolist(), strict=True)
    return [piece for piece in pieces if piece[1] > piece[0]]


def _laid(y: FloatArray, courses: list[Course], size: int) -> FloatArray:
    """The device on the reference's seconds; NaN where the reference is passed over."""
    out = np.full(size, np.nan)
    for c in courses:
        out[c.start:c.stop] = shifted(y, np.arange(c.start, c.stop) + c.lag)
    return out


def _evened(x: FloatArray, y: FloatArray, courses: list[Course]) -> tuple[FloatArray, FloatArray]:
    """Both traces equally smooth, as they are along the course of the lag."""
    which, width = smoothness.evening(x, _laid(y, courses, x.size), 0)
    pair = [x, y]
    if width > 1:
        pair[which] = smoothness.running_mean(pair[which], width)
    return pair[0], pair[1]


def _followed(one: FloatArray, two: FloatArray, courses: list[Course]) -> list[Course]:
    """The likeliest course in each region that has changes; elsewhere what it was."""
    one, two = (clock.mean_of_valid(trace, lambda v: ndimage.gaussian_filter1d(v, SMOOTH_SD_S, mode="constant"))
                for trace in (one, two))
    scale, sd, memory = _noise(one, _laid(two, courses, one.size))
    courses = mended(scale * one, two, courses, sd, STEP_WORST)
    out: list[Course] = []
    for region in _regions(courses):
        if len(region) == 1:
            out += region
            continue
        start, stop = region[0].start, region[-1].stop
        lags = [c.lag for c in region]
        lowest = min(lags) - REACH_S
        count = max(lags) + REACH_S - lowest + 1
        near = shifted(two, np.arange(start + lowest, stop + lowest + count - 1))
        own = scale * one[start:stop]
        at = np.arange(near.size) + start + lowest
        found = prices(own, near, (at >= 0) & (at < two.size), sd, memory)
        out += [Course(start + a, start + b, lowest + k)
                for a, b, k in likeliest(*found)]
    return _merged(out)


def _noise(one: FloatArray, laid: FloatArray) -> tuple[float, float, float]:
    """Usual ratio of device to reference, standard deviation of what is left, W, and seconds that count as one."""
    works = (one > WORKING_W) & (laid > WORKING_W)
    if not works.any():
        return 1.0, LEAST_SD_W, 1.0
    scale = float(np.median(laid[works] / one[works]))
    rest = np.where(works, laid - scale * one, np.nan)
    # Where the course is wrong all is far apart, and lastingly so: the better half of the minutes tells what is right.
    size = rest.size // MINUTE_S * MINUTE_S
    minutes = np.abs(rest[:size]).reshape(-1, MINUTE_S)
    telling = np.isfinite(minutes).sum(axis=1) >= MINUTE_S / 2
    if telling.any():
        medians = np.full(telling.size, np.inf)
        medians[telling] = np.nanmedian(minutes[telling], axis=1)
        usual = float(np.median(medians[telling]))
        rest = np.where(np.repeat(medians <= usual, MINUTE_S), rest[:size], np.nan)
    sd = max(1.4826 * float(np.nanmedian(np.abs(rest))), LEAST_SD_W)
    rest = np.clip(rest, -STEP_WORST * sd, STEP_WORST * sd)
    rest = np.where(np.isfinite(rest), rest - np.nanmean(rest), 0.0)
    square, memory = float(rest @ rest), 1.0
    for hop in range(1, MEMORY_S):
        alike = float(rest[hop:] @ rest[:-hop]) / square if square > 0 else 0.0
        if alike < 0.1:
            break
        memory += 2 * alike
    return scale, sd, memory


def _regions(courses: list[Course]) -> list[list[Course]]:
    """The courses cut into regions near changes, and single courses between them."""
    out: list[list[Course]] = [[]]
    for k, course in enumerate(courses):
        long = bool(out[-1]) and course.stop - out[-1][0].start > LONGEST_S
        if out[-1] and (long or _reach(out[-1], course) >= MOST_LAGS):
            last = out[-1][-1]
            out.append([])
            if _reach([last], course) < MOST_LAGS:  # else so long a pause stays where it was found
                middle = (last.start + last.stop) // 2
                out[-2][-1] = last._replace(stop=middle)
                out[-1].append(last._replace(start=middle))
        if course.stop - course.start <= 2 * BESIDE_S:
            out[-1].append(course)
            continue
        head = course.start + (BESIDE_S if k else 0)
        tail = course.stop - (BESIDE_S if k < len(courses) - 1 else 0)
        out[-1].append(course._replace(stop=head))
        out += [[course._replace(start=head, stop=tail)], [course._replace(start=tail)]]
    regions = [[course for course in region if course.stop > course.start] for region in out]
    return [region for region in regions if region]


def _reach(region: list[Course], course: Course) -> int:
    """Lags to be tried in a region with one course more."""
    lags = [c.lag for c in (*region, course)]
    return max(lags) - min(lags) + 2 * REACH_S + 1


def _merged(courses: list[Course]) -> list[Course]:
    out: list[Course] = []
    for course in courses:
        if out and out[-1].lag == course.lag:
            out[-1] = out[-1]._replace(stop=course.stop)
        else:
            out.append(course)
    return out


def _stretches(courses: list[Course]) -> list[Stretch]:
    """Courses between which the lag changes by a second are one stretch of a clock that creeps."""
    out: list[list[Course]] = []
    for course in courses:
        if out and abs(course.lag - out[-1][-1].lag) < MIN_STEP_S:
            out[-1].append(course)
        else:
            out.append([course])
    return [Stretch(part[0].start, part[-1].stop, np.concatenate(
        [np.full(max((c.stop - c.start) // 30, 1), c.lag) for c in part])) for part in out]
