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
from agree.core.thresholds import LEAST_END_S, LEAST_TURN_S, MIN_STEP_S, WORKING_W
from agree.pairing.clocks import clock, smoothness
from agree.pairing.clocks.lag_path import Stretch, shifted, without_excursions
from agree.pairing.clocks.poor_parts import Course, mended

# The model of the search: log likelihoods, of which the likeliest course is taken. What it finds is judged afterwards
# (`no_step`, `without_turns`, minutes that are alike), and benchmarks/same_ride.py measures the whole.
PRICE = 12.0  # of a change of lag, in units of log likelihood
PRICE_AT_STOP = 6.0  # where the first second passed over is one of no work: recorders pause there
WORST = 4.5  # log likelihood that one second can cost: 3 standard deviations
PASSED = 3.7  # of a second of work that the device passed over: about what unrelated readings cost
UNKNOWN = 1.0  # of a second that either lacks; beyond the ends of the device it is `WORST`: else faults would lie there
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
    return without_excursions(without_turns(_stretches(courses)))


def without_turns(stretches: list[Stretch]) -> list[Stretch]:
    """Leave out moments at which the lag turns back, and those at the ends that are too short to tell a lag.

    One clock would have lost seconds just after the other one had: so the search passes over a stop that it finds no
    place for, by a fall and a rise of the lag within seconds.
    """
    kept = list(stretches)
    while len(kept) > 1:
        lags = [int(np.median(part.lags)) for part in kept]
        short = [k for k, part in enumerate(kept) if part.stop - part.start < (
            LEAST_END_S if k in (0, len(kept) - 1) else LEAST_TURN_S * (
                (lags[k] - lags[k - 1]) * (lags[k + 1] - lags[k]) < 0))]
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
    courses = mended(scale * one, two, courses, sd, WORST)
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
        apart = np.lib.stride_tricks.sliding_window_view(near, count) - own[:, None]
        cost = np.minimum(0.5 * (apart / sd) ** 2, WORST)
        place = np.arange(start, stop)[:, None] + lowest + np.arange(count)
        beyond = (place < 0) | (place >= two.size)
        cost = np.where(np.isfinite(cost), cost, np.where(beyond, WORST, UNKNOWN)) / memory
        skip = np.where(own > WORKING_W, PASSED, UNKNOWN / 2) / memory
        lost = np.where(near > WORKING_W, PASSED, UNKNOWN / 2) / memory
        at = np.arange(near.size) + start + lowest
        lost = np.where((at < 0) | (at >= two.size), 0.0, lost)
        price, price_lost = (np.where(power > WORKING_W, PRICE, PRICE_AT_STOP) for power in (own, near))
        out += [Course(start + a, start + b, lowest + k)
                for a, b, k in likeliest(cost, skip, lost, price, price_lost)]
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
    rest = np.clip(rest, -WORST * sd, WORST * sd)
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
    >>> from agree.pairing.clocks.step_search import likeliest
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
