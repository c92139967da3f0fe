"""Window means that the causes are fitted to, session by session."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.answered_pairs import answered_columns
from agree.core.data.pairs import Pairs
from agree.core.thresholds import JUMP_SHARE
from agree.diagnosis.slow_faults import SlowFault, courses, slow_faults
from agree.verdict.columns import Table, beside_coasting

WINDOW_S = 30
KNOWN_SHARE = 0.8         # of the windows that must have a cadence, or a temperature, for it to be used
KNOTS = (0.15, 0.3, 0.45, 0.6, 0.75, 0.85, 0.93)  # shares of the seconds with less power, at which an error may bend
BESIDE_JUMP_S = 2         # s beside a jump of power, which a part of a second and a short mean spread over
TURN = 2 * math.pi / 60   # rad/s per rev/min


class Frame(NamedTuple):
    """Window means of pedalling seconds, (n,) each: W, W, rad/s, hours into the session, degrees C, session, rest.

    `slow` has for each session its slow faults, and `courses` what an error of size 1 of each would be in the windows
    of that session, (faults, windows); `misfits`, how these courses may be misfit. `above` (2 knots, n) holds means
    over each window, at each of the `knots`, W: of the power by which seconds exceed it, as an error makes that bends
    there; and of the power of the seconds that exceed it, as one that begins there. `turned` is the mean of power times
    turning, W rad/s. `answered` says whether a filter describes how the two respond, in half of the sessions or more.
    """

    error: FloatArray
    power: FloatArray
    turning: FloatArray | None
    hours: FloatArray
    warmth: FloatArray | None
    session: NDArray[np.intp]
    slow: tuple[tuple[SlowFault, ...], ...]
    courses: tuple[FloatArray, ...]
    misfits: tuple[FloatArray, ...]
    knots: FloatArray
    above: FloatArray
    turned: FloatArray | None
    answered: bool = True


def spread_ratio(values: FloatArray | None) -> float:
    """95th over 5th percentile; 1 where nothing is known."""
    if values is None or not values.size:
        return 1.0
    low, high = np.percentile(values, (5, 95))
    return float(high / low) if low > 0 else math.inf


def frame(table: Table) -> Frame:
    """Means over windows of pedalling with at least half their seconds; cadence and temperature if most have them."""
    slow = tuple(slow_faults(item) for item in table.pairs)
    both = (table.reference + table.device) / 2
    knots = np.quantile(both[both > 0], KNOTS) if (both > 0).any() else np.zeros(0)
    parts = [_means(item, faults, knots) for item, faults in zip(table.pairs, slow, strict=True)]
    error, power, hours, turning, warmth, turned = (np.concatenate(column) for column in
                                                    zip(*((*part[:5], part[8]) for part in parts), strict=True))
    session = np.repeat(np.arange(len(parts)), [part[0].size for part in parts])
    known = [np.isfinite(column) for column in (turning, warmth)]
    use = [mask.sum() > KNOWN_SHARE * mask.size for mask in known]
    keep = np.ones(error.size, bool)
    for mask, one in zip(known, use, strict=True):
        keep &= mask | ~np.bool_(one)
    splits = np.split(keep, np.cumsum([part[0].size for part in parts])[:-1])
    slow_rows, misfits = (tuple(part[k][:, mask] for part, mask in zip(parts, splits, strict=True)) for k in (5, 6))
    return Frame(error[keep], power[keep], turning[keep] if use[0] else None, hours[keep],
                 warmth[keep] if use[1] else None, session[keep], slow, slow_rows, misfits, knots,
                 np.hstack([part[7] for part in parts])[:, keep], turned[keep] if use[0] else None,
                 2 * sum(_unanswered(item) for item in table.pairs) <= len(parts))


def _unanswered(item: Pairs) -> bool:
    return item.matched is not None and not item.matched.fits


def beside_jump(item: Pairs) -> NDArray[np.bool_]:
    """Seconds in which power jumps, and those next to them, of a pair that differs by a part of a second alone.

    What a delay does not describe of the two, as of a mean over 1.5 s, is largest there, and has no sum: what a sprint
    loses as it begins it has back as it ends. Where it ends in coasting that is left out, so that the loss must be too.
    """
    if item.matched is None or not item.matched.delay_alone:
        return np.zeros(item.time.size, bool)
    x = np.nan_to_num(answered_columns(item)[0])
    jumps = np.abs(np.diff(x, prepend=x[:1])) > JUMP_SHARE * float(np.mean(x[item.used]))
    near: NDArray[np.bool_] = np.convolve(jumps, np.ones(2 * BESIDE_JUMP_S + 1))[BESIDE_JUMP_S:-BESIDE_JUMP_S] > 0.5
    return near


def _means(item: Pairs, faults: tuple[SlowFault, ...], knots: FloatArray) -> tuple[FloatArray, ...]:
    good = item.used & ~beside_coasting(item) & ~beside_jump(item)
    time = item.time[good]
    index = np.floor(time / WINDOW_S).astype(np.intp)
    count = np.bincount(index)
    keep = count >= WINDOW_S / 2
    nothing = np.full(time.size, np.nan)

    def mean(values: FloatArray) -> FloatArray:
        valid = np.isfinite(values)
        known = np.bincount(index[valid], minlength=count.size)
        total = np.bincount(index[valid], values[valid], minlength=count.size)
        result: FloatArray = np.where(known >= count / 2, total / np.maximum(known, 1), np.nan)[keep]
        return result

    reference, device = (column[good] for column in answered_columns(item))
    power = (reference + device) / 2
    turning = nothing if item.cadence is None else item.cadence[good] * TURN
    warmth = nothing if item.temperature is None else item.temperature[good]
    x, y = mean(reference), mean(device)
    pairs = [courses(fault, time, power, turning) for fault in faults]
    none = np.zeros((0, x.size))
    own = np.vstack([none, *(mean(shape) for shape, _ in pairs)])
    misfit = np.vstack([none, *(mean(row) for _, rows in pairs for row in rows)])
    above = np.vstack([none, *(mean(np.maximum(power - knot, 0.0)) for knot in knots),
                       *(mean(np.where(power > knot, power, 0.0)) for knot in knots)])
    return (y - x, (x + y) / 2, mean(time - item.time[0]) / 3600, mean(turning), mean(warmth), own, misfit, above,
            mean(power * turning))
