"""The course of the lag over a ride: windows of a minute are correlated at many lags, and the best path is followed.

A path may creep by a second between windows, as clocks that drift do, and it may jump, at a price, as where a
recorder paused. Traces are on 1-s grids; NaN is no reading.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    DISTINCT_LAG_S,
    EXCURSION_S,
    FAR_LAG_LEAST_S,
    FAR_LAG_S,
    MIN_STEP_S,
    MOST_CLOCK_STEPS,
    REUSED_SHARE,
    WORKING_W,
)
from agree.pairing.clocks import clock
from agree.pairing.clocks.course import HOP_S, HOPS, course_used_once, likely_course

Narrow = NDArray[np.float32]  # as many windows as lags: half the memory

# What is followed here is a proposal, sought again second by second and judged; these trade time against care.
LEAST_S = 20  # readings of both that a window needs to tell anything
NEAR_S = 75  # lags tried on either side of the best one
BESIDE_S = 8  # and on either side of further ones
PROPOSAL_S = 120  # windows that propose further lags from the whole of the other trace,
SUMS_AT_ONCE = 20_000  # sums of hops that are worked out at once
BLOCK_S = 2048  # s of the other trace that are transformed at once: as small as the processor's cache
PROPOSERS = 120  # so many at most, and as many lags each:
PROPOSALS = 3
MIN_PROPOSAL = 0.6
ALIKE = 0.7  # a window so much alike along the path proposes nothing
MOST_FURTHER = 12
MOST_WIDENED, LASTING = 16, 100  # so many, followed over at least a hundredth of the ride, are widened about
MOST_ROUNDS = 8  # of widening the lags tried about those the path came to: five stops of 45 s reach 225 s far
FIRST_ROUNDS = 3  # of these, after which a path that jumps all the time is given up
WEIGHT = 1 / (5.0 * HOPS)  # 5 readings of the smoothed traces count as one, and windows overlap
LARGEST = 0.98  # correlation: above it all windows are equally sure
HOPELESS = 5  # times as many changes of lag as are taken out at most: no path is sought with such care


class Stretch(NamedTuple):
    """Windows `start` to `stop` (s of the reference), and the whole-second lag of each hop within."""

    start: int
    stop: int
    lags: NDArray[np.int64]


def shifted(v: FloatArray, place: NDArray[np.int64]) -> FloatArray:
    """Readings at places, NaN beyond the ends."""
    out: FloatArray = v.take(place, mode="clip")
    if place.size and not (place.min() >= 0 and place.max() < v.size):
        out[(place < 0) | (place >= v.size)] = np.nan
    return out


def _windows(sums: FloatArray) -> FloatArray:
    """Sums over windows of two hops."""
    return sums[..., :-1] + sums[..., 1:] if sums.shape[-1] > 1 else sums


def correlations(u: FloatArray, v: FloatArray, lags: NDArray[np.int64]) -> tuple[Narrow, Narrow]:
    """Correlation in each window at each lag, and the number of readings it rests on, (windows, lags) each."""
    size = -(-u.size // HOP_S) * HOP_S  # whole hops; the last is filled up with zeros
    before, after = max(-int(lags.min()), 0), max(int(lags.max()) + size - v.size, 0)
    one, other = (np.stack([np.nan_to_num(trace), np.isfinite(trace)]) for trace in (u, v))
    own, known = np.pad(one, ((0, 0), (0, size - u.size)))
    others, there = np.pad(other, ((0, 0), (before, after)))
    # Sums over hops without a product of the whole in between: what is not known is 0, and so are its products.
    first = np.stack([own, own * own, known, known]).reshape(4, -1, HOP_S)
    second = np.stack([others, there, others * others, there])
    hops = first.shape[1]
    windows = max(hops - 1, 1)
    r, count = (np.empty((lags.size, windows), np.float32) for _ in range(2))
    each = max(SUMS_AT_ONCE // hops, 1)  # lags at once: many of a short ride
    sums = np.empty((each, 4, hops))
    for begin in range(0, lags.size, each):
        some = slice(begin, min(begin + each, lags.size))
        for row, lag in enumerate(lags[some].tolist()):
            at = slice(before + lag, before + lag + size)
            np.einsum("kij,kij->ki", first, second[:, at].reshape(4, -1, HOP_S), out=sums[row])
        uv, uu, vv, n = _windows(sums[:some.stop - begin]).transpose(1, 0, 2)
        scale = np.sqrt(uu * vv)
        r[some] = np.where(scale > 1e-9 * np.maximum(n, 1), uv / np.maximum(scale, 1e-300), 0.0)
        count[some] = n
    return r.T, count.T


def _log_likelihood(r: Narrow, count: Narrow) -> FloatArray:
    """Of each window at each lag, over that of unrelated traces; windows overlap by half and so count for half."""
    told = np.minimum(np.maximum(r, 0.0), LARGEST)
    out: FloatArray = np.where(count >= LEAST_S, -0.5 * np.log1p(-told**2) * count * WEIGHT, 0.0)
    return out


def _block_spectra(v: FloatArray) -> NDArray[np.complex128]:
    """Spectra of overlapping blocks from 120 s before the beginning on, which a window of that length runs over."""
    step = BLOCK_S - PROPOSAL_S
    count = -(-(v.size + PROPOSAL_S + 1) // step)
    padded = np.zeros(count * step + PROPOSAL_S)
    padded[PROPOSAL_S:PROPOSAL_S + v.size] = v
    spectra: NDArray[np.complex128] = fft.rfft(sliding_window_view(padded, BLOCK_S)[::step], axis=-1)
    return spectra


def _further(u: FloatArray, v: FloatArray, starts: NDArray[np.int64], lowest: float, highest: float) -> list[int]:
    """Lags that windows propose from the whole of the other trace, the best first."""
    filled = np.nan_to_num(v)
    spectra = _block_spectra(filled)
    energy = np.r_[0.0, np.cumsum(np.r_[np.zeros(PROPOSAL_S), filled**2, np.zeros(PROPOSAL_S)])]
    # The root of that of the window that begins at each place from -120 on.
    size = np.sqrt(np.maximum(energy[PROPOSAL_S:] - energy[:-PROPOSAL_S], 0.0))
    found: list[tuple[float, int]] = []
    for start in starts:
        part = np.nan_to_num(u[start:start + PROPOSAL_S])
        own = float(part @ part)
        if own <= 0:
            continue
        parts = fft.irfft(spectra * fft.rfft(part, BLOCK_S).conj(), BLOCK_S)[:, :BLOCK_S - PROPOSAL_S]
        r = parts.ravel()[:v.size + PROPOSAL_S + 1]  # at each place from -120 on
        r /= np.maximum(size, math.sqrt(0.05 * own)) * math.sqrt(own)  # a quiet place is no match
        r[:math.ceil(max(start + lowest, -PROPOSAL_S)) + PROPOSAL_S] = -1
        r[max(math.floor(min(start + highest, v.size)) + PROPOSAL_S + 1, 0):] = -1
        for _ in range(PROPOSALS):
            best = int(r.argmax())
            if r[best] < MIN_PROPOSAL:
                break
            found.append((float(r[best]), best - PROPOSAL_S - int(start)))
            r[max(best - DISTINCT_LAG_S, 0):best + DISTINCT_LAG_S + 1] = -1
    return [lag for _, lag in sorted(found, reverse=True)]


def _around(lags: NDArray[np.int64], reach: int, lowest: float, highest: float) -> NDArray[np.int64]:
    """Every lag within `reach` of one of `lags`."""
    spread = np.unique((lags[:, None] + np.arange(-reach, reach + 1)).ravel())
    return spread[(spread >= lowest) & (spread <= highest)]


def _unexplained(u: FloatArray, told: FloatArray) -> NDArray[np.int64]:
    """Starts of windows of 2 min that are not alike along the path, thinned out evenly to 120.

    `told` is the correlation of each window of a minute along the path.
    """
    starts = np.arange(0, max(u.size - PROPOSAL_S // 2, 1), PROPOSAL_S // 2)
    square = np.zeros((starts.size + 1) * PROPOSAL_S // 2)
    square[:u.size] = np.nan_to_num(u)[:square.size] ** 2
    halves = square.reshape(-1, PROPOSAL_S // 2).sum(axis=1)
    telling: NDArray[np.bool_] = halves[:-1] + halves[1:] > 0.1 * PROPOSAL_S
    near = np.append(told, np.full(3, -1.0))[starts[:, None] // HOP_S + np.arange(3)]
    alike: NDArray[np.bool_] = near.max(axis=1) >= ALIKE
    starts = starts[telling & ~alike]
    if starts.size > PROPOSERS:
        starts = starts[np.linspace(0, starts.size - 1, PROPOSERS).astype(int)]
    return starts


def unit(trace: FloatArray) -> FloatArray:
    """Fast changes of a trace, limited in band, in units of their standard deviation; NaN if it has none."""
    smooth = clock.band(trace)
    sd = float(np.nanstd(smooth)) if np.isfinite(smooth).any() else 0.0
    return smooth / sd if sd > clock.STILL_W else np.full(trace.size, np.nan)


def follow(x: FloatArray, y: FloatArray, lag: int | None, lowest: float, highest: float) -> list[Stretch]:
    """Stretches between jumps of the lag, in order; none if there is nothing to follow.

    Parameters
    ----------
    x, y : array
        Traces of reference and device.
    lag : int, optional
        The best single lag, if there is one to believe in.
    lowest, highest : float
        Lags to consider.
    """
    u, v = unit(x), unit(y)
    windows = max(-(-x.size // HOP_S) - 1, 1)
    told, lags = np.full(windows, -1.0), np.zeros(0, dtype=np.int64)
    score = np.zeros((windows, 0))
    seen = lasting = np.array([] if lag is None else [lag], dtype=np.int64)
    course = lags  # the lag of each window
    for rounds in range(MOST_ROUNDS):
        if rounds >= FIRST_ROUNDS and (np.abs(np.diff(course)) >= MIN_STEP_S).sum() > HOPELESS * MOST_CLOCK_STEPS:
            break  # of another ride each round finds more lags, and takes more time and memory
        further = np.array(_further(u, v, _unexplained(u, told), lowest, highest)[:MOST_FURTHER], dtype=np.int64)
        pool = np.union1d(_around(lasting, NEAR_S, lowest, highest), _around(further, BESIDE_S, lowest, highest))
        new = np.setdiff1d(pool, lags)
        if not new.size:
            break
        r, count = correlations(u, v, new)
        lags, order = np.concatenate([lags, new]), np.argsort(np.concatenate([lags, new]))
        lags, score = lags[order], np.hstack([score, _log_likelihood(r, count)])[:, order]
        index = likely_course(score, lags)
        course = lags[index]
        seen, often = np.unique(course, return_counts=True)
        # Of two rides the path comes to many lags for a moment each: only those that last are worth widening about.
        lasting = seen[(often >= max(2, windows // LASTING)) & (often >= np.sort(often)[-MOST_WIDENED:].min())]
        likely = score[np.arange(windows), index] / (HOP_S * HOPS * WEIGHT)  # in a window that is full
        told = np.sqrt(-np.expm1(-2 * likely))
    if not lags.size:
        return []
    window, path = np.arange(windows), course
    # The time of the exact search goes with the square of the lags seen: of another ride there are hundreds.
    if (np.abs(np.diff(path)) >= MIN_STEP_S).sum() <= HOPELESS * MOST_CLOCK_STEPS:
        steps = course_used_once(score[:, np.searchsorted(lags, seen)], seen)
        window, path = np.array([w for w, _ in steps]), seen[[k for _, k in steps]]
    cuts = np.flatnonzero(np.abs(np.diff(path)) >= MIN_STEP_S) + 1
    bounds = [0, *cuts.tolist(), path.size]
    return without_excursions(without_reuse([
        Stretch(int(window[a]) * HOP_S, min((int(window[b - 1]) + HOPS) * HOP_S, x.size), path[a:b])
        for a, b in pairwise(bounds)], y.size, ~(x <= WORKING_W)))


def without_reuse(stretches: list[Stretch], size: int, works: NDArray[np.bool_] | None = None) -> list[Stretch]:
    """Leave out stretches for which the device's seconds are mostly those of longer ones already.

    Where the device has ended, or is absent, its last minutes are alike to some later minute by chance; and a lag of
    minutes from both neighbours, for a window or two, is more often chance than a long pause with another soon after.

    Parameters
    ----------
    stretches : list of Stretch
        In order of time.
    size : int
        Seconds of the device.
    works : array, optional
        Seconds in which the reference works: windows reach into a stop, of which the device may have no second.
    """
    taken = np.zeros(size, bool)
    kept: list[Stretch] = []
    for stretch in sorted(stretches, key=lambda s: s.start - s.stop):
        lag = int(np.median(stretch.lags))
        place = np.arange(stretch.start, stretch.stop)
        own = (place if works is None else place[works[stretch.start:stretch.stop]]) + lag
        own = own[(own >= 0) & (own < size)]
        others = [abs(int(np.median(other.lags)) - lag) for other in kept]
        far = bool(others) and min(others) > FAR_LAG_S and stretch.stop - stretch.start < FAR_LAG_LEAST_S
        if not far and taken[own].sum() <= REUSED_SHARE * max(own.size, 1):
            kept.append(stretch)
            taken[own] = True
    return sorted(kept, key=lambda s: s.start)


def without_excursions(stretches: list[Stretch]) -> list[Stretch]:
    """Join stretches between which the lag goes away and comes back within 15 min.

    One clock would have lost as many seconds as the other one had just lost. Faulty readings, such as halves of the
    power for a minute, are alike at another lag more often than that happens.
    """
    kept: list[Stretch] = []
    for stretch in stretches:
        back = next((k for k, earlier in enumerate(kept)
                     if abs(int(stretch.lags[0]) - int(earlier.lags[-1])) < MIN_STEP_S
                     and stretch.start - earlier.stop <= EXCURSION_S), None)
        if back is None:
            kept.append(stretch)
        else:
            whole = np.concatenate([kept[back].lags, stretch.lags])
            kept[back:] = [Stretch(kept[back].start, stretch.stop, whole)]
    return kept
