"""Two stages of smoothing in a row, two lags or a mean and a lag: fitted, told from one, and both sizes with limits."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import STAGE_EVIDENCE, STAGE_LEAST
from agree.estimators.response import transfer
from agree.estimators.response.linear.lowpass import share_of
from agree.estimators.response.simplex import lowest
from agree.estimators.response.transfer import Fitted, Seen

KINDS = ("two lags", "mean and lag")
MOST_STEPS = 900
ROUGH = (0.05, 1.0, 150)    # tolerances and steps of a first fit, and the share of the evidence it must show
NEARLY = 0.3
LAGS, MEANS = (0.7, 1.2, 2.0, 3.2, 5.0, 8.0, 12.0, 20.0), (2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 30.0, 40.0)
PAIRS = {"two lags": [(size, second) for size in LAGS for second in LAGS if second <= size],
         "mean and lag": [(size, second) for size in MEANS for second in LAGS]}
STEP = 1e-4


class Stages(NamedTuple):
    """Two stages that leave clearly less than one, or None; and all that leave less, the best first."""

    clear: Fitted | None
    tried: tuple[Fitted, ...]


def two_stages(data: Seen, one: Fitted, least: float) -> Stages:
    """Fit two stages in a row beside one.

    Parameters
    ----------
    data : Seen
        The smoother trace over the other one.
    one : Fitted
        The single mean or lag that leaves least.
    least : float
        What it leaves if its readings may lie between whole seconds, which widens it too.
    """
    enough = STAGE_EVIDENCE * max(1.0, least / (2 * data.frequency.size))
    tried = []
    for kind in KINDS:
        rough = min((nearest(data, start, *ROUGH) for start in starts(data, kind, one)), key=lambda item: item.misfit)
        if least - rough.misfit > NEARLY * enough:
            made = nearest(data, rough)
            if made.size >= STAGE_LEAST[kind][0] and made.second >= STAGE_LEAST[kind][1] and made.misfit < least:
                tried.append(made)
    tried.sort(key=lambda item: item.misfit)
    return Stages(tried[0] if tried and least - tried[0].misfit > enough else None, tuple(tried))


def starts(data: Seen, kind: str, one: Fitted) -> list[Fitted]:
    """The best of a grid, and two stages that are together as wide and as late as the single filter."""
    sizes, seconds = np.array(PAIRS[kind]).T
    early = seconds + (sizes if kind == "two lags" else 0.0)  # a lag is late by itself
    grid = transfer.misfits(data, kind, sizes, early, seconds)
    i, j, k = np.unravel_index(np.argmin(grid), grid.shape)
    first = Fitted(kind, sizes[i], transfer.DELAYS_S[j] - early[i], 0.0, 1.0, transfer.SHARES[k], seconds[i])
    # The weights of a mean over W s vary as those of a lag of W/3.5 s do.
    lag = one.size if one.kind == "first order" else one.size / math.sqrt(12)
    late = one.delay + (one.size if one.kind == "first order" else 0.0)
    pairs = [(0.95 * lag, 0.3 * lag), (0.75 * lag, 0.65 * lag)] if kind == "two lags" else [
        (max(share * math.sqrt(12) * lag, 1.5), math.sqrt(1 - share**2) * lag) for share in (0.35, 0.93)]
    return [first, *(Fitted(kind, size, late - second - (size if kind == "two lags" else 0.0), 0.0, 1.0, one.share,
                            second) for size, second in pairs)]


def nearest(data: Seen, start: Fitted, xtol: float = 1e-4, ftol: float = 1e-4, most: int = MOST_STEPS) -> Fitted:
    """Sizes, delay and share of noise that leave least near a start, by simplex."""
    misfit, kind = misfit_of(data, start.kind), start.kind
    narrow, wide = (1.0 if kind == "mean and lag" else STEP), 1.5 * float(transfer.SIZES["first order"][-1])

    def full(at: Sequence[float] | FloatArray) -> tuple[float, float, float, float]:
        size, second = float(at[2]), float(at[3])
        if kind == "two lags":  # they are the same the other way round
            size, second = max(size, second), min(size, second)
        return size, second, float(at[0]), min(max(float(at[1]), 0.0), 1.0)

    def left(at: Sequence[float]) -> float:
        size, second, delay, share = full(at)
        inside = narrow <= size <= wide and STEP <= second <= wide
        return misfit(size, second, delay, share)[0] + max(abs(at[1] - 0.5) - 0.5, 0.0) if inside else math.inf

    begin = np.array([start.delay, start.share, max(start.size, narrow), max(start.second, STEP)])
    steps = np.diag([0.2, 0.3 if start.share < 0.5 else -0.3, 0.06 * begin[2] + 0.04, 0.06 * begin[3] + 0.04])
    found = full(lowest(left, begin + np.vstack([np.zeros(4), steps]), xtol=xtol, ftol=ftol, most=most))
    return Fitted(kind, found[0], found[2], *misfit(*found), found[3], found[1])


def refitted(data: Seen, start: Fitted, near: float = 1e-5) -> Fitted:
    """Fit of the same kind near a start; `near` is how near in size, delay and misfit (two stages: 10 times that)."""
    if start.kind in KINDS:
        return nearest(data, start, 10 * near, 10 * near)
    return transfer.nearest(data, start.kind, np.array([start.delay, start.share, start.size]),
                            transfer.SIZES[start.kind], near)


def misfit_of(data: Seen, kind: str) -> Callable[[float, float, float, float], tuple[float, float]]:
    """Return what gives, by both sizes, delay and share, the weighted squares left and the scale that leaves least."""
    turn = 2 * np.pi * data.frequency
    around, weighted, whole = np.exp(-1j * turn), data.weight * data.ratio, float(data.weight @ np.abs(data.ratio)**2)
    weight, late, shared_of = data.weight, 1j * turn, share_of(data.noise)
    sine, half = np.sin(turn / 2), turn / 2

    def at(size: float, second: float, delay: float, share: float) -> tuple[float, float]:
        keep = math.exp(-1 / second)
        below = 1 - keep * around
        if kind == "two lags":
            other = math.exp(-1 / size)
            below *= 1 - other * around
            h = ((1 - keep) * (1 - other)) / below
        else:
            mean = size * half
            np.sin(mean, out=mean)
            mean /= sine
            mean *= (1 - keep) / size
            h = mean / below
        power = h.real * h.real
        power += h.imag * h.imag
        shared = np.exp(delay * late)
        shared *= weighted
        shared *= np.conj(h, out=h)
        if share:
            part = shared_of(power, share)
            along = max(float(shared.real @ part), 0.0)
            square = float(weight @ (part * part * power))
        else:
            along, square = max(float(shared.real.sum()), 0.0), float(weight @ power)
        return whole - along**2 / square, along / square

    return at


def turned(found: Fitted) -> list[tuple[Fitted, Fitted, float]]:
    """Fits a little to either side in each size, and how far apart they are.

    Of two lags these are their sum and the square of their difference: where they are equal, what the data say of
    either alone has no slope. Behind a square below 0 both are complex, and their filter is real.
    """
    if found.kind == "none":
        return []
    if found.kind != "two lags":
        names = ("size", "second") if found.kind == "mean and lag" else ("size",)
        sizes = [(name, getattr(found, name)) for name in names]
        return [(found._replace(**{name: (1 + STEP) * size}), found._replace(**{name: (1 - STEP) * size}),
                 2 * STEP * size) for name, size in sizes]
    whole, square = found.size + found.second, (found.size - found.second)**2

    def with_sizes(total: float, apart: float) -> Fitted:
        root = cmath.sqrt(apart)
        return found._replace(size=(total + root) / 2, second=(total - root) / 2)  # type: ignore[arg-type]

    step, wide = STEP * whole, STEP * whole**2
    return [(with_sizes(whole + step, square), with_sizes(whole - step, square), 2 * step),
            (with_sizes(whole, square + wide), with_sizes(whole, square - wide), 2 * wide)]


def sizes_of(found: Fitted, phi: FloatArray, level: float, own_error: float) -> tuple[Estimate, Estimate]:
    """Both sizes with limits, from the influences of each second on what `turned` turns, (2, n)."""
    if found.kind == "mean and lag":
        wide, lag = (_widened(estimate(value, row, level=level, sampling="serial"), own_error * value, least)
                     for value, row, least in zip((found.size, found.second), phi, (1.0, 0.0), strict=True))
        return wide, lag
    whole, apart = found.size + found.second, found.size - found.second
    total = _widened(estimate(whole, phi[0], level=level, sampling="serial"), own_error * whole, 0.0)
    square = _widened(estimate(apart**2, phi[1], level=level, sampling="serial"), 2 * own_error * whole * apart,
                      -math.inf)
    near, far = math.sqrt(max(square.low, 0.0)), math.sqrt(max(square.high, 0.0))

    def one(value: float, low: float, high: float) -> Estimate:
        low, high = max(min(low, value), 0.0), max(high, value)
        return replace(total, value=value, low=low, high=high,
                       standard_error=(high - low) / 2 / t_quantile(level, total.df))

    return (one(found.size, (total.low + near) / 2, (total.high + far) / 2),
            one(found.second, (total.low - far) / 2, (total.high - near) / 2))


def _widened(item: Estimate, own_error: float, least: float) -> Estimate:
    error = math.hypot(item.standard_error, own_error)
    half = t_quantile(item.level, item.df) * error
    return replace(item, low=max(item.value - half, least), high=item.value + half, standard_error=error)
