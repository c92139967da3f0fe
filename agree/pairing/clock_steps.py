"""Steps of a clock: a recorder that paused by itself, or whose clock was set, and counts on as if nothing had been.

Between steps the lag is constant, but for a drift. Windows propose lags, a best path through them says when each
holds, and a stretch counts only if it would be a match on its own. Traces are on 1-s grids; NaN is no reading.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from agree.core.checks import FloatArray
from agree.pairing import clock

STEP_WINDOW_S = 120  # windows that propose lags, each half over the next
TOLD_CORRELATION = 0.7  # a window that matches so well within 2 s of the lag proposes no other
MIN_PROPOSAL = 0.6
PROPOSALS = 3  # per window
MOST_LAGS = 80
BLOCK_S = 5  # the path may change lags every so many seconds; changes are then placed to the second
MODEL_CORRELATION = 0.8  # the score of a second is a log likelihood: readings correlated so against unrelated ones,
UNRELATED = 0.1  # with this share of seconds unrelated whatever the lag
INDEPENDENT_S = 5.0  # seconds of the smoothed traces that count as one
PRICE = 10.0  # of a change of lag, in units of log likelihood
MIN_STEP_S = 2
MIN_SEGMENT_S = 120
MIN_SEGMENT_CORRELATION = 0.5
MIN_GAIN = 10.0  # in strength, of a stretch's own lag over that of the stretch before or after
MOST_STEPS = 60
# Windows whose correlation is so far below the median of all are said if they are so many, as a share and at least.
UNLIKE, UNLIKE_SHARE, UNLIKE_WINDOWS = 0.35, 0.05, 3


class Segment(NamedTuple):
    """Seconds `start` to `stop` of the reference, the whole-second lag there, and the strength of the match."""

    start: int
    stop: int
    lag: int
    strength: float


def _unit(trace: FloatArray) -> FloatArray:
    smooth = clock.band(trace)
    sd = float(np.nanstd(smooth)) if np.isfinite(smooth).any() else 0.0
    return smooth / sd if sd > clock.STILL_W else np.full(trace.size, np.nan)


def _at(v: FloatArray, place: NDArray[np.int64]) -> FloatArray:
    """Readings at places, NaN beyond the ends."""
    inside = (place >= 0) & (place < v.size)
    out: FloatArray = np.where(inside, v[np.clip(place, 0, v.size - 1)], np.nan)
    return out


def _score(u: FloatArray, v: FloatArray) -> FloatArray:
    """Log likelihood of each second if it is one and the same in both, over that of unrelated ones; 0 if unknown."""
    rest = 1 - MODEL_CORRELATION**2
    ratio = 0.5 * v**2 - (v - MODEL_CORRELATION * u) ** 2 / (2 * rest) - 0.5 * math.log(rest)
    robust = np.log(UNRELATED + (1 - UNRELATED) * np.exp(np.minimum(ratio, 30.0)))
    out: FloatArray = np.nan_to_num(robust) / INDEPENDENT_S
    return out


def _told(u: FloatArray, v: FloatArray, lag: FloatArray | None) -> tuple[NDArray[np.int64], FloatArray]:
    """Starts of the windows that have something to tell, and the correlation there at the lag; NaN if there is none."""
    half = STEP_WINDOW_S // 2
    edges = np.arange(0, max(u.size - half, 1), half)

    def windows(values: FloatArray) -> FloatArray:
        total = np.r_[0.0, np.cumsum(np.nan_to_num(values))]
        out: FloatArray = total[np.minimum(edges + STEP_WINDOW_S, u.size)] - total[edges]
        return out

    telling = windows(u * u) > 0.1 * STEP_WINDOW_S
    told = np.full(edges.size, np.nan)
    if lag is not None:
        place = np.arange(u.size) + np.rint(lag).astype(np.int64)
        for d in (-2, -1, 0, 1, 2):
            other = _at(v, place + d)
            seen = np.where(np.isfinite(other), u, np.nan)
            scale = np.sqrt(windows(seen * seen) * windows(np.where(np.isfinite(u), other, np.nan) ** 2))
            both = windows(np.isfinite(seen).astype(float)) > half
            told = np.fmax(told, np.where(both, windows(u * other) / np.maximum(scale, 1e-9), np.nan))
    return edges[telling], told[telling]


def unlike(x: FloatArray, y: FloatArray, fine: clock.Fine) -> str:
    """Say in how many windows the traces are not alike at the lag; "" if in few."""
    _, told = _told(_unit(x), _unit(y), fine.at(np.arange(x.size, dtype=float)))
    told = told[np.isfinite(told)]
    limit = float(np.median(told)) - UNLIKE if told.size else 0.0
    bad = int((told < limit).sum())
    if bad < max(UNLIKE_WINDOWS, UNLIKE_SHARE * told.size):
        return ""
    return (f"in {bad} of {told.size} windows of 2 min the recordings are not alike at this lag (correlation of fast "
            f"changes below {limit:.2f}): a device may have failed there, or a clock changed")


def _proposals(u: FloatArray, v: FloatArray, starts: NDArray[np.int64], lowest: float, highest: float) -> list[
        tuple[float, int]]:
    """Correlation and lag of the best places for each window in the whole of the other trace."""
    size = fft.next_fast_len(v.size + STEP_WINDOW_S, real=True)
    filled = np.nan_to_num(v)
    spectrum = fft.rfft(filled, size)
    energy = np.r_[0.0, np.cumsum(np.r_[np.zeros(STEP_WINDOW_S), filled**2, np.zeros(STEP_WINDOW_S)])]
    energy = energy[STEP_WINDOW_S:] - energy[:-STEP_WINDOW_S]  # of the window that begins at each place from -120 on
    found = []
    for start in starts:
        part = np.nan_to_num(u[start:start + STEP_WINDOW_S])
        product = fft.irfft(spectrum * fft.rfft(part, size).conj(), size)
        r = np.r_[product[-STEP_WINDOW_S:], product[:v.size + 1]]
        own = float(part @ part)
        r /= np.sqrt(np.maximum(energy * own, 0.05 * own * own))  # a quiet place is no match
        lags = np.arange(-STEP_WINDOW_S, v.size + 1) - start
        r[(lags < lowest) | (lags > highest)] = -1
        for _ in range(PROPOSALS):
            best = int(r.argmax())
            if r[best] < MIN_PROPOSAL:
                break
            found.append((float(r[best]), int(lags[best])))
            r[max(best - clock.DISTINCT_S, 0):best + clock.DISTINCT_S + 1] = -1
    return found


def _path(scores: FloatArray, lags: NDArray[np.int64]) -> list[tuple[int, int, int]]:
    """Best path through blocks and lags: first block, one past the last, and the lag's index, for each stretch.

    A second of either recording is used once: where the lag falls by s, the path leaves out s seconds.
    """
    blocks, count = scores.shape
    gap = -(-np.maximum(lags[:, None] - lags[None, :], 0) // BLOCK_S)  # from the row's lag to the column's
    pad = int(gap.max()) + 1
    pad = min(pad, blocks + 1)
    gap = np.minimum(gap, blocks)
    best = np.full((blocks + pad, count), -np.inf)
    source = np.full((blocks, count), -1)
    from_ = np.arange(count)[:, None]
    for b in range(blocks):
        rows = b + pad - 1 - gap
        earlier = np.where(rows >= 0, best[np.maximum(rows, 0), from_], -np.inf)
        jump = earlier.max(axis=0) - PRICE
        stay = best[b + pad - 1]
        top = np.maximum(np.maximum(stay, jump), 0.0)
        best[b + pad] = scores[b] + top
        source[b] = np.where(top == stay, from_[:, 0], np.where(top == jump, earlier.argmax(axis=0), -1))
    b, k = divmod(int(best[pad:].argmax()), count)
    stop, stretches = b + 1, []
    while True:
        came = int(source[b, k])
        if came != k:
            stretches.append((b, stop, k))
            if came < 0:
                break
            b = b - 1 - int(gap[came, k])
            stop, k = b + 1, came
        else:
            b -= 1
    return stretches[::-1]


def _strength(u: FloatArray, v: FloatArray, start: int, stop: int, lag: int) -> tuple[float, float]:
    """Correlation and strength of the fast changes over a stretch."""
    best = (0.0, 0.0)
    for d in (-1, 0, 1):
        a, b = u[start:stop], _at(v, np.arange(start, stop) + lag + d)
        both = np.isfinite(a) & np.isfinite(b)
        a, b = a[both], b[both]
        scale = math.sqrt(float(a @ a) * float(b @ b))
        r = float(a @ b) / scale if scale > 0 else 0.0
        best = max(best, (r, math.atanh(max(min(r, 0.9999), -0.9999)) * math.sqrt(a.size)))
    return best


def _evident(u: FloatArray, v: FloatArray, found: list[Segment]) -> list[Segment]:
    """Leave out stretches that are no match on their own, the weakest first, and join those of one lag."""
    found = list(found)
    while True:
        joined: list[Segment] = []
        for item in found:
            if joined and abs(item.lag - joined[-1].lag) < MIN_STEP_S:
                joined[-1] = joined[-1]._replace(stop=item.stop)
            else:
                joined.append(item)
        found = []
        doubt: list[tuple[float, int]] = []
        for k, item in enumerate(joined):
            r, strength = _strength(u, v, item.start, item.stop, item.lag)
            found.append(item._replace(strength=strength))
            near = [joined[i].lag for i in (k - 1, k + 1) if 0 <= i < len(joined)]
            gain = strength - max((_strength(u, v, item.start, item.stop, lag)[1] for lag in near), default=-math.inf)
            short = item.stop - item.start < MIN_SEGMENT_S
            if short or r < MIN_SEGMENT_CORRELATION or strength < clock.MIN_STRENGTH or gain < MIN_GAIN:
                doubt.append((strength, k))
        if not doubt or len(found) == 1:
            return found
        del found[min(doubt)[1]]


def find_segments(
    x: FloatArray, y: FloatArray, fine: clock.Fine | None, lowest: float, highest: float
) -> list[Segment]:
    """Stretches of constant lag, in order; fewer than two if there is no step.

    Parameters
    ----------
    x, y : array
        Traces of reference and device.
    fine : Fine, optional
        The one lag, if there is one to believe in.
    lowest, highest : float
        Lags to consider.
    """
    u, v = _unit(x), _unit(y)
    place = np.arange(x.size)
    lag = None if fine is None else fine.at(place.astype(float))
    starts, told = _told(u, v, lag)
    starts = starts[~(told >= TOLD_CORRELATION)]
    if lag is not None and not starts.size:
        return []
    pool: list[int] = [] if fine is None else [round(fine.lag)]
    for _, new in sorted(_proposals(u, v, starts, lowest, highest), reverse=True):
        if all(abs(new - old) >= MIN_STEP_S for old in pool) and len(pool) < MOST_LAGS:
            pool.append(new)
    if len(pool) < 2:
        return []
    lags = np.array(sorted(pool))
    bend = np.zeros(x.size) if fine is None or lag is None else lag - fine.lag
    blocks = -(-x.size // BLOCK_S)
    scores = np.zeros((blocks, lags.size))
    for k, one in enumerate(lags):
        each = _score(u, _at(v, place + np.rint(one + bend).astype(np.int64)))
        scores[:, k] = np.add.reduceat(each, np.arange(0, x.size, BLOCK_S))
    raw = [Segment(a * BLOCK_S, min(b * BLOCK_S, x.size), int(lags[k]), 0.0) for a, b, k in _path(scores, lags)]
    found = _evident(clock.fast_changes(x), clock.fast_changes(y), raw)
    return found if len(found) >= 2 else []
