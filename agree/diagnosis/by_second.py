"""What shows from second to second: a delay that varies, and scatter; session by session, kept as sums over 10 s."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import CALM_SHARE

SHORT_S, LONG_S = 5, 61      # a delay is judged on changes between these lengths
PIECE_S, BLOCK_S = 10, 120   # the delay of a block is taken twice, from even and odd pieces
LEAST_SECONDS = 300
NEAR_S, LEAST_W = 15, 30.0   # scatter is taken within 15 s, above 30 W
LONGEST_S = 86_400           # s of one session whose scatter is looked at: it is known well enough after that


def _sums(values: FloatArray, width: int) -> FloatArray:
    total: FloatArray = ndimage.uniform_filter1d(values, width, mode="constant") * width
    return total


def moving(values: FloatArray, width: int) -> FloatArray:
    """Centred mean over an odd width, NaN where any is missing or beyond the ends."""
    known = np.isfinite(values)
    whole = _sums(known.astype(float), width) > width - 0.5
    result: FloatArray = np.where(whole, _sums(np.where(known, values, 0.0), width) / width, np.nan)
    return result


def local(values: FloatArray, width: int) -> FloatArray:
    """Centred mean over those known within a width."""
    known = np.isfinite(values)
    count = np.maximum(_sums(known.astype(float), width), 1.0)
    result: FloatArray = _sums(np.where(known, values, 0.0), width) / count
    return result


class Second(NamedTuple):
    """Reference and device times the scale on the full grid of seconds of a session, NaN where not used."""

    reference: FloatArray
    device: FloatArray


def seconds(item: Pairs, scale: float) -> Second:
    """Both as recorded, on a grid of seconds."""
    place = np.round(item.time - item.time[0]).astype(np.intp)
    rows = np.full((2, int(place[-1]) + 1), np.nan)
    recorded = item.recorded
    for row, column in zip(rows, (item.reference, item.device), strict=True):
        row[place] = np.where(recorded, column, np.nan)
    return Second(rows[0], rows[1] * scale)


def side_seconds(item: Pairs, scale: float) -> Second | None:
    """What the scatter of the device's own is taken from: both with one response where the reference is the slower one.

    As recorded, the device then shows changes that the reference has smoothed away, which go with power and look like
    its noise. None where no filter tells what the slower reference shows.
    """
    slow = item.matched
    if slow is None or slow.smoother != "reference":
        return seconds(item, scale)
    if not slow.fits:
        return None
    return seconds(replace(item, reference=item.matched_reference, device=item.matched_device,
                           reason=np.where(item.used, "", "missing"), matched=None, faults=()), scale)


class Changes(NamedTuple):
    """Sums over pieces of 10 s, (5, pieces): error x slope, slope squared, slope, seconds; and hours into the session.

    Error and slope (of power, W/s) are of changes between 5 and 61 s.
    """

    sums: FloatArray
    hours: FloatArray


def changes(data: Second) -> Changes:
    """Pieces of one session."""
    x, y = (moving(column, SHORT_S) for column in data)
    error, power = y - x, (x + y) / 2
    error, power = error - local(error, LONG_S), power - local(power, LONG_S)
    slope = np.full(power.size, np.nan)
    slope[1:-1] = (power[2:] - power[:-2]) / 2
    good = np.isfinite(slope) & np.isfinite(error)
    piece = np.flatnonzero(good) // PIECE_S
    count = -(-power.size // BLOCK_S) * (BLOCK_S // PIECE_S)
    error, slope = error[good], slope[good]
    sums = np.stack([np.bincount(piece, row, minlength=count) for row in (
        error * slope, slope**2, slope, np.ones(slope.size))]).astype(np.float64)
    return Changes(sums, np.arange(count) * PIECE_S / 3600)


class Delay(NamedTuple):
    """Mean delay (s, device behind reference), variance of the delay in time, with intervals, and its trend, s/h.

    A delay of 1 s makes an error of minus the slope of power: its root mean square in windows of 30 s is `per_second`.
    """

    mean: Estimate
    variance: Estimate
    trend: float
    per_second: float


def delay(parts: Sequence[Changes]) -> Delay | None:
    """Delay from error = -delay x slope of power.

    The variance of the delay over blocks of 120 s is the mean product of two estimates of each block, from even and
    odd pieces of 10 s: the noise of the two is not shared, so that the product has no bias. It is about the mean delay
    of each session: clocks matched to whole seconds differ from session to session, and vary within none.
    """
    sums = np.concatenate([part.sums for part in parts], axis=1)
    moment, square, slope, count = sums
    if count.sum() < LEAST_SECONDS or not square.sum() > 0:
        return None
    value = -float(moment.sum() / square.sum())
    mean = estimate(value, -(moment + value * square) / square.mean(), level=0.95, sampling="serial")
    windows = slope[:slope.size // 3 * 3].reshape(-1, 3).sum(axis=1) / 30
    per_second = math.sqrt(float(np.mean(windows**2)))
    halves = BLOCK_S // PIECE_S
    weight, product = (row.reshape(-1, halves // 2, 2).sum(axis=1).T for row in (square, moment))
    enough = (weight > 0.1 * weight.mean()).all(axis=0)
    if enough.sum() < 6:
        blank = Estimate(value=0.0, low=-math.inf, high=math.inf, level=0.95, method="too few")
        return Delay(mean, blank, 0.0, per_second)
    both = -product[:, enough] / weight[:, enough]
    own = np.sqrt(weight[0, enough] * weight[1, enough])
    own /= own.mean()
    session = np.repeat(np.arange(len(parts)), [part.sums.shape[1] // halves for part in parts])[enough]
    weights = np.maximum(np.bincount(session, own), 1e-300)
    centre = (np.bincount(session, own * both.mean(axis=0)) / weights)[session]
    squares = (both[0] - centre) * (both[1] - centre)
    variance = float(np.mean(own * squares))
    found = estimate(variance, own * (squares - variance), level=0.95, sampling="independent")
    at = np.concatenate([part.hours for part in parts])[::halves][enough]
    trend = float(np.polyfit(at, both.mean(axis=0) - centre, 1, w=np.sqrt(own))[0]) if np.ptp(at) > 0 else 0.0
    return Delay(mean, found, trend, per_second)


def sharpness(data: Second) -> FloatArray:
    """Squared changes from one second to the next of reference and device, sums over pieces of 10 s, (2, pieces)."""
    x, y = (np.diff(column) for column in data)
    good = np.isfinite(x) & np.isfinite(y)
    piece = np.flatnonzero(good) // PIECE_S
    return np.stack([np.bincount(piece, row[good] ** 2, minlength=1) for row in (x, y)]).astype(np.float64)


def log_ratio(parts: Sequence[FloatArray]) -> Estimate | None:
    """Logarithm of the ratio of variances of 1-s changes, device over reference, from `sharpness` of each session."""
    sums = np.concatenate(parts, axis=1)
    if not (sums.sum(axis=1) > 0).all() or sums.shape[1] < LEAST_SECONDS / PIECE_S / 2:
        return None
    mean = sums.mean(axis=1)
    return estimate(math.log(mean[1] / mean[0]), sums[1] / mean[1] - sums[0] / mean[0], level=0.95, sampling="serial")


class Scatter(NamedTuple):
    """Fast scatter of the error in per cent of power, the exponent of its growth with power, and seconds it is from.

    `elsewhere_percent` is that of the other seconds, in which the reference changes more.
    """

    percent: float
    exponent: Estimate
    seconds: int
    elsewhere_percent: float


def scatter(data: Second) -> Scatter | None:
    """SD of the error within 15 s that the reference's own changes do not explain, and how it grows with power.

    It is taken where the reference changes least, as a share of power: beside changes, what the two answer in unlike
    times, cut or repeat is not all explained, and goes with power too. Noise of strokes is there at any time. Its
    square is taken to go as power to twice the exponent (gamma regression, by scoring).
    """
    x, y = (column[:LONGEST_S] for column in data)
    fast = (y - local(y, NEAR_S)) - (x - local(x, NEAR_S))
    # What the reference's changes explain is delay or smoothing, not scatter.
    rows = np.stack([x - moving(x, 3), np.gradient(moving(x, 3)), x - moving(x, 7)])
    level = local(x, NEAR_S)
    good = np.isfinite(fast) & np.isfinite(rows).all(axis=0) & np.isfinite(moving(y, 3)) & (level > LEAST_W)
    if good.sum() < LEAST_SECONDS:
        return None
    change = np.sqrt(local((np.nan_to_num(moving(x, 3)) - level) ** 2, NEAR_S).clip(0)) / np.maximum(level, LEAST_W)
    level, rows, change = level[good], rows[:, good], change[good]
    rest = fast[good] - np.linalg.lstsq(rows.T, fast[good], rcond=None)[0] @ rows
    calm = change <= np.quantile(change, CALM_SHARE)
    shares = np.square(rest / level)
    level, rest = level[calm], rest[calm]
    z = np.log(level)
    z -= z.mean()
    spread = float(np.mean(z * z))
    if not spread > 1e-4 or not np.mean(rest**2) > 1e-8 * np.mean(level**2):
        return None
    slope = 0.0
    for _ in range(20):
        step = float(np.mean(z * _excess(rest, slope, z))) / spread
        slope = min(max(slope + step, -6.0), 8.0)
        if abs(step) < 1e-6:
            break
    phi = z * _excess(rest, slope, z) / spread
    return Scatter(100 * math.sqrt(float(np.mean((rest / level) ** 2))),
                   estimate(slope / 2, phi / 2, level=0.95, sampling="serial"), int(calm.sum()),
                   100 * math.sqrt(float(np.mean(shares[~calm]))) if not calm.all() else 0.0)


def together(found: Sequence[Scatter]) -> Scatter | None:
    """Scatter of several sessions: each counts by its seconds."""
    if len(found) < 2:
        return found[0] if found else None
    n = np.array([item.seconds for item in found], dtype=float)
    share = n / n.sum()
    percent, elsewhere = (math.sqrt(float(share @ np.square(row))) for row in zip(
        *((item.percent, item.elsewhere_percent) for item in found), strict=True))
    value = float(share @ np.array([item.exponent.value for item in found]))
    error = math.sqrt(float(share**2 @ np.array([item.exponent.standard_error**2 for item in found])))
    half = 1.96 * error
    first = found[0].exponent
    exponent = Estimate(value=value, low=value - half, high=value + half, level=first.level, method=first.method,
                        standard_error=error, df=first.df)
    return Scatter(percent, exponent, int(n.sum()), elsewhere)


def _excess(rest: FloatArray, slope: float, z: FloatArray) -> FloatArray:
    expected = np.exp(slope * z)
    excess: FloatArray = rest**2 / (expected * np.mean(rest**2 / expected)) - 1
    return excess
