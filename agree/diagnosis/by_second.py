"""Causes that show from second to second: delay, a delay that varies, smoothing, and the scatter of one side."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.engine import estimate
from agree.core.estimate import Estimate
from agree.core.pairs import Pairs
from agree.verdict.columns import Table

SHORT_S, LONG_S = 5, 61      # a delay is judged on changes between these lengths
PIECE_S, BLOCK_S = 10, 120   # the delay of a block is taken twice, from even and odd pieces
SMOOTH_WIDTHS = (3, 5, 7, 9, 11, 15, 21)
LEAST_SECONDS = 300
NEAR_S, LEAST_W = 15, 30.0   # scatter is taken within 15 s, above 30 W


def moving(values: FloatArray, width: int) -> FloatArray:
    """Centred mean over an odd width, NaN where any is missing or beyond the ends."""
    kernel = np.ones(width) / width
    known = np.isfinite(values)
    mean = np.convolve(np.where(known, values, 0), kernel, "same")
    whole = np.convolve(known, np.ones(width), "same") > width - 0.5
    result: FloatArray = np.where(whole, mean, np.nan)
    return result


def local(values: FloatArray, width: int) -> FloatArray:
    """Centred mean over those known within a width."""
    known = np.isfinite(values)
    count = np.convolve(known, np.ones(width), "same")
    result: FloatArray = np.convolve(np.where(known, values, 0), np.ones(width), "same") / np.maximum(count, 1)
    return result


class Second(NamedTuple):
    """Columns on the full grid of seconds of all sessions, NaN where not used; sessions are kept apart by NaN."""

    reference: FloatArray
    device: FloatArray
    time: FloatArray
    session: FloatArray


def seconds(table: Table, scale: float) -> Second:
    """Reference, and device times the scale, as recorded."""
    parts = [_session(item, scale, number) for number, item in enumerate(table.pairs)]
    gap = np.full((4, LONG_S), np.nan)
    return Second(*np.concatenate([column for part in parts for column in (part, gap)], axis=1))


def _session(item: Pairs, scale: float, number: int) -> FloatArray:
    place = np.round(item.time - item.time[0]).astype(np.intp)
    rows = np.full((4, int(place[-1]) + 1), np.nan)
    reference, device = (np.where(item.recorded, column, np.nan) for column in (item.reference, item.device))
    rows[:, place] = reference, device * scale, item.time, np.full(place.size, float(number))
    return rows


class Delay(NamedTuple):
    """Mean delay (s, device behind reference), SD of the delay in time, both with intervals, and its trend, s/h."""

    mean: Estimate
    variance: Estimate
    trend: float
    slope: FloatArray     # of power, W/s, on the grid of seconds: a delay of 1 s makes an error of minus this


def delay(data: Second) -> Delay | None:
    """Delay from error = -delay x slope of power, on changes between 5 and 61 s.

    The variance of the delay over blocks of 120 s is the mean product of two estimates of each block, from even and
    odd pieces of 10 s: the noise of the two is not shared, so that the product has no bias.
    """
    x, y = (moving(column, SHORT_S) for column in (data.reference, data.device))
    error, power = y - x, (x + y) / 2
    error, power = error - local(error, LONG_S), power - local(power, LONG_S)
    slope = np.full(power.size, np.nan)
    slope[1:-1] = (power[2:] - power[:-2]) / 2
    good = np.isfinite(slope) & np.isfinite(error)
    if good.sum() < LEAST_SECONDS:
        return None
    square = float(np.mean(slope[good] ** 2))
    if not square > 0:
        return None
    value = -float(np.mean(error[good] * slope[good])) / square
    phi = -(error[good] + value * slope[good]) * slope[good] / square
    mean = estimate(value, phi, level=0.95, sampling="serial")
    index = np.flatnonzero(good)
    block, odd = index // BLOCK_S, index // PIECE_S % 2
    weight, moment = (np.stack([np.bincount(block[odd == side], column[odd == side], minlength=int(block[-1]) + 1)
                                for side in (0, 1)]) for column in (slope[good] ** 2, error[good] * slope[good]))
    enough = (weight > 0.1 * weight.mean()).all(axis=0)
    if enough.sum() < 6:
        return Delay(mean, Estimate(value=0.0, low=-math.inf, high=math.inf, level=0.95, method="too few"),
                     0.0, slope)
    both = -moment[:, enough] / weight[:, enough]
    own = np.sqrt(weight[0, enough] * weight[1, enough])
    own /= own.mean()
    centre = float(np.average(both.mean(axis=0), weights=own))
    product = (both[0] - centre) * (both[1] - centre)
    variance = float(np.mean(own * product))
    found = estimate(variance, own * (product - variance), level=0.95, sampling="independent")
    at = np.flatnonzero(enough) * BLOCK_S / 3600
    trend = float(np.polyfit(at, both.mean(axis=0), 1, w=np.sqrt(own))[0])
    return Delay(mean, found, trend, slope)


class Smoothing(NamedTuple):
    """ln of the variances of 1-s changes, device over reference; and how well a running mean explains it."""

    log_ratio: Estimate
    width: int           # running mean of the sharper trace that is nearest to the smoother one, s
    left: float          # mean square of the error after that running mean, over that before
    sharpness: float     # near 0 if the smoother trace is such a mean; far from 0 if the other is but noisier
    part: FloatArray     # error the smoothing makes, W, on the grid of seconds


def smoothing(data: Second, lag: float) -> Smoothing | None:
    """Compare changes from second to second, then the smoother trace with running means of the sharper one.

    The device is set back by the delay, to whole seconds, before. Sharpness is the coefficient of what the smoother
    trace has beyond the mean M of the sharper one on the mean's own bend, M - M(M).
    """
    changes = np.stack([np.diff(column) for column in (data.reference, data.device)])
    changes = changes[:, np.isfinite(changes).all(axis=0)]
    if changes.shape[1] < LEAST_SECONDS / 2 or not (changes.var(axis=1) > 0).all():
        return None
    square = np.mean(changes**2, axis=1)
    log_ratio = math.log(square[1] / square[0])
    phi = changes[1] ** 2 / square[1] - changes[0] ** 2 / square[0]
    ratio = estimate(log_ratio, phi, level=0.95, sampling="serial")
    device = np.roll(data.device, -round(lag))
    sharp, smooth = (data.reference, device) if log_ratio < 0 else (device, data.reference)
    trials = {width: moving(sharp, width) for width in SMOOTH_WIDTHS}
    common = np.isfinite(smooth) & np.isfinite(trials[SMOOTH_WIDTHS[-1]])
    if common.sum() < LEAST_SECONDS / 2:
        return None
    before = float(np.mean((sharp - smooth)[common] ** 2))
    left = {width: float(np.mean((trial - smooth)[common] ** 2)) for width, trial in trials.items()}
    width = min(left, key=lambda item: left[item])
    once = trials[width]
    bend = once - moving(once, width)
    good = np.isfinite(bend) & np.isfinite(smooth)
    total = float(np.mean(bend[good] ** 2)) if good.any() else 0.0
    sharpness = float(np.mean(((smooth - once) * bend)[good])) / total if total > 0 else math.nan
    return Smoothing(ratio, width, left[width] / before if before > 0 else 1.0, sharpness,
                     once - sharp if log_ratio < 0 else sharp - once)


class Scatter(NamedTuple):
    """Fast scatter of the error in per cent of power, and the exponent of its growth with power."""

    percent: float
    exponent: Estimate


def scatter(data: Second) -> Scatter | None:
    """SD of the error within 15 s that the reference's own changes do not explain, and how it grows with power.

    Its square is taken to go as power to twice the exponent (gamma regression, by scoring).
    """
    x, y = data.reference, data.device
    fast = (y - local(y, NEAR_S)) - (x - local(x, NEAR_S))
    # What the reference's changes explain is delay or smoothing, not scatter.
    rows = np.stack([x - moving(x, 3), np.gradient(moving(x, 3)), x - moving(x, 7)])
    level = local(x, NEAR_S)
    good = np.isfinite(fast) & np.isfinite(rows).all(axis=0) & np.isfinite(moving(y, 3)) & (level > LEAST_W)
    if good.sum() < LEAST_SECONDS:
        return None
    level, rows = level[good], rows[:, good]
    rest = fast[good] - np.linalg.lstsq(rows.T, fast[good], rcond=None)[0] @ rows
    z = np.log(level)
    z -= z.mean()
    spread = float(np.mean(z * z))
    if not spread > 1e-4 or not np.mean(rest**2) > 1e-8 * np.mean(level**2):
        return None
    slope = 0.0
    for _ in range(20):
        excess = _excess(rest, slope, z)
        slope = min(max(slope + float(np.mean(z * excess)) / spread, -6.0), 8.0)
    phi = z * _excess(rest, slope, z) / spread
    return Scatter(100 * math.sqrt(float(np.mean((rest / level) ** 2))),
                   estimate(slope / 2, phi / 2, level=0.95, sampling="serial"))


def _excess(rest: FloatArray, slope: float, z: FloatArray) -> FloatArray:
    expected = np.exp(slope * z)
    excess: FloatArray = rest**2 / (expected * np.mean(rest**2 / expected)) - 1
    return excess
