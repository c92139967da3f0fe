"""Running means and first-order lags as weights over seconds, and traces smoothed by them with their gaps."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple, Protocol

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import PURE_LAG_S
from agree.estimators.response.linear.smeared import by_chance

LEFT_OVER = 0.002   # share of a lag's weights that is cut off


class Kernel(NamedTuple):
    """Smoothed value at t: sum of weights[k] * value at t - (start + k)."""

    start: int
    weights: FloatArray


class Weighted(Protocol):
    """Anything that weighs earlier readings: a filter of any kind."""

    @property
    def start(self) -> int:
        """How many seconds ago the first weight stands."""

    @property
    def weights(self) -> FloatArray:
        """Of readings, each a second earlier than the one before."""


def _whole(item: Estimate, offset: float = 0.0) -> float:
    """Return the value, or the whole number (plus an offset) beside it if chance or 0.1 s allow that."""
    near = round(item.value - offset) + offset
    low, high = by_chance(item)
    whole = low <= near <= high or abs(near - item.value) <= PURE_LAG_S
    return float(near if whole else item.value)


def kernel(kind: str, size: Estimate | None, delay: Estimate, second: Estimate | None = None,
           part: float = 0.0) -> Kernel:
    """Weights of a running mean or lag of a size, later by a delay (s); of the delay alone, in whole seconds, else.

    With a second size, of two lags or of a mean and a lag in a row. A part of the delay is readings between seconds.
    """
    if part:
        beside = kernel(kind, size, replace(delay, value=delay.value - part, low=delay.low - part,
                                            high=delay.high - part), second)
        return Kernel(beside.start, np.convolve(beside.weights, [1 - part, part]))
    if size is None:
        return Kernel(round(delay.value), np.ones(1))
    if second is not None:
        first = kernel("running mean" if kind == "mean and lag" else "first order", size, delay)
        return Kernel(first.start, np.convolve(first.weights, _lag(second.value)))
    if kind == "running mean":
        width = max(_whole(size), 1.0)
        return weights_of(kind, width, _whole(delay, (width - 1) / 2 % 1))
    return weights_of(kind, size.value, _whole(delay))


def weights_of(kind: str, size: float, delay: float) -> Kernel:
    """Weights of a running mean or lag of exactly this size and delay, s."""
    if kind == "running mean":
        low, high = delay - size / 2, delay + size / 2
        start = math.floor(low + 0.5)
        at = np.arange(start, math.ceil(high - 0.5) + 1)
        weights = (np.minimum(at + 0.5, high) - np.maximum(at - 0.5, low)).clip(0) / size
        return Kernel(start, weights)
    whole, rest = divmod(delay, 1.0)
    return Kernel(int(whole), np.convolve(_lag(size), [1 - rest, rest] if rest else [1.0]))


def _lag(size: float) -> FloatArray:
    """Weights of a first-order lag."""
    keep = math.exp(-1 / size)
    if keep <= LEFT_OVER:
        return np.ones(1)
    count = math.ceil(math.log(LEFT_OVER) / math.log(keep))
    weights = keep ** np.arange(count)
    result: FloatArray = weights / weights.sum()
    return result


def smoothed(values: FloatArray, by: Kernel) -> FloatArray:
    """Trace smoothed by a kernel; NaN where a second it needs is unknown or beyond the ends."""
    n, reach = values.size, by.weights.size
    if reach == 1 and by.weights[0] == 1:  # moved alone: readings stay exact
        at = np.arange(n) - by.start
        return np.where((at >= 0) & (at < n), values[np.clip(at, 0, n - 1)], np.nan) if n else values
    known = np.isfinite(values)
    scale = float(np.abs(values[known]).max(initial=0)) or 1.0
    mean = np.convolve(np.where(known, values / scale, 0), by.weights)
    count = np.convolve(known.astype(float), np.ones(reach))
    full = np.where(count > reach - 0.5, mean * scale, np.nan)
    result = np.full(n, np.nan)
    at = np.arange(n) - by.start
    inside = (at >= 0) & (at < full.size)
    result[inside] = full[at[inside]]
    return result


def weight_within(size: int, start: int, weights: FloatArray) -> FloatArray:
    """Share of a filter's weights that falls on seconds of a recording of so many, for each second."""
    whole = np.convolve(np.ones(size), weights)
    at = np.arange(size) - start
    return np.where((at >= 0) & (at < whole.size), whole[np.clip(at, 0, whole.size - 1)], 0.0)


def weights_alike(one: Weighted, other: Weighted, at_most: float) -> bool:
    """Whether the weights of two filters differ by no more than this in sum, and so all that they give."""
    low = min(one.start, other.start)
    rows = [np.pad(by.weights, (by.start - low, 0)) for by in (one, other)]
    size = max(row.size for row in rows)
    first, second = (np.pad(row, (0, size - row.size)) for row in rows)
    return bool(np.abs(first - second).sum() <= at_most)
