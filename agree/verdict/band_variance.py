"""Standard errors of all bands together: what sessions have in common, and what differs from band to band."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate, t_quantile
from agree.core.thresholds import BAND_STEP_W, HALF_WEIGHT_S, LEAST_BAND_S, POOL_LEVEL
from agree.estimators.ratios import ratio_of_sums
from agree.verdict.columns import Table

MOST_STRETCHES = 100  # steps of the range; a wider one has wider steps
LEAST_CELL_S = 10  # seconds of a session in a band from which its mean counts


class Spread(NamedTuple):
    """Standard error of a band's bias, per cent, and its degrees of freedom."""

    standard_error: float
    df: float


class Parts(NamedTuple):
    """Variance of what a session has in all bands, with its degrees of freedom, and of what a cell of weight 1 adds."""

    common: float
    common_df: float
    cell: float
    cell_df: float


def cells(table: Table, masks: list[NDArray[np.bool_]]) -> tuple[FloatArray, FloatArray]:
    """Bias in per cent and seconds of each session (row) in each band (column); NaN and 0 where there is too little."""
    count = table.sessions
    sums = [np.stack([np.bincount(table.session[mask], weights=column[mask], minlength=count) for mask in masks], 1)
            for column in (table.error, table.reference, np.ones(table.error.size))]
    seconds = np.where((sums[2] >= LEAST_CELL_S) & (sums[1] > 0), sums[2], 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        bias: FloatArray = np.where(seconds > 0, 100 * sums[0] / sums[1], np.nan)
    return bias, seconds


def parts_of(bias: FloatArray, weight: FloatArray) -> Parts | None:
    """Split the spread of session means (S, B) about their bands' means; None where too little is known of it.

    With r = y_kb - mean_b, a_k = sum_b w r/sum_b w: M = sum a^2/(S - 1) and R = sum w (r - a)^2/df. A band's mean has
    the variance M sum_k w^2/W^2 + R (1 - 1/B)/W.
    """
    sessions, count = bias.shape
    known = weight > 0
    df = float(known.sum() - sessions - count + 1)
    if sessions < 2 or count < 2 or df < 1 or not known.any(axis=1).all():
        return None
    y = np.where(known, bias, 0.0)
    rest = np.where(known, y - (weight * y).sum(axis=0) / weight.sum(axis=0), 0.0)
    own = (weight * rest).sum(axis=1) / weight.sum(axis=1)
    return Parts(float(own @ own) / (sessions - 1), sessions - 1.0,
                 float((weight * (rest - own[:, None]) ** 2).sum()) / df, df)


def spread_of(parts: Parts, weight: FloatArray, bands: int) -> Spread:
    """Standard error of a band whose sessions have these weights; degrees of freedom after Satterthwaite (1946)."""
    total = float(weight.sum())
    common = parts.common * float(weight @ weight) / total**2
    cell = parts.cell * (1 - 1 / bands) / total
    variance = common + cell
    if not variance > 0:
        return Spread(0.0, parts.common_df)
    return Spread(math.sqrt(variance), variance**2 / (common**2 / parts.common_df + cell**2 / parts.cell_df))


def shared_spread(table: Table, masks: list[NDArray[np.bool_]], level: float) -> list[Spread | None]:
    """Spread of each band from all bands together; None where there is nothing to share.

    Several sessions: see `parts_of`. One recording: the long-run variance of a second is the mean over the bands of
    that of their own 8 cosines, the power held fixed, with 7 degrees of freedom for each band.
    """
    if len(masks) < 2 or level < POOL_LEVEL:
        return [None] * len(masks)
    if table.sessions > 1:
        bias, seconds = cells(table, masks)
        weight = seconds / (seconds + HALF_WEIGHT_S)
        parts = parts_of(bias, weight)
        return [None if parts is None else spread_of(parts, weight[:, k], len(masks)) for k in range(len(masks))]
    return list(_of_one_recording(table, masks, level))


def _of_one_recording(table: Table, masks: list[NDArray[np.bool_]], level: float) -> list[Spread]:
    long_run, freedom = [], []
    for mask in masks:
        value, phi = ratio_of_sums(table.error[mask], table.reference[mask])
        item = estimate(value, phi, level=level, sampling="serial", fixed=table.reference[mask])
        long_run.append(1e4 * item.standard_error**2 * float(mask.sum()))
        freedom.append(item.df)
    shared, df = float(np.mean(long_run)), float(sum(freedom))
    return [Spread(math.sqrt(shared / float(mask.sum())), df) for mask in masks]


def narrowest_seen(table: Table, masks: list[NDArray[np.bool_]], ends: tuple[float, float], limit: float,
                   level: float) -> float | None:
    """Smallest width, W, at which every stretch of the range is shown to be inside the limit; None if none is.

    An error beyond the claim that is confined to fewer watts could be hidden. Stretches begin at each multiple of the
    step between the ends; one with fewer than 60 s shows nothing. Each has the variance that bands share, without its
    part (1 - 1/B), and t with the least degrees of freedom of its two parts.

    Parameters
    ----------
    masks : list of (n,) bool array
        Seconds of each judged band.
    ends : tuple of float
        Lowest and highest edge of them, W.
    limit : float
        Limit in per cent, what the reference leaves open taken off.
    """
    spreads = shared_spread(table, masks, max(level, POOL_LEVEL))
    if any(item is None for item in spreads) or not limit > 0:
        return None
    step = BAND_STEP_W * max(1, math.ceil((ends[1] - ends[0]) / BAND_STEP_W / MOST_STRETCHES))
    count = math.ceil((ends[1] - ends[0]) / step)
    cell = np.floor((table.level - ends[0]) / step).astype(int)
    cell_masks = np.logical_or.reduce(masks)
    place = (table.session * count + np.clip(cell, 0, count - 1))[cell_masks]
    error, reference, seconds = (np.concatenate([np.zeros((table.sessions, 1)), np.cumsum(np.bincount(
        place, weights=column[cell_masks], minlength=table.sessions * count).reshape(-1, count), axis=1)], 1)
        for column in (table.error, table.reference, np.ones(table.error.size)))
    variance = _stretch_variance(table, masks, spreads)
    for width in range(1, count + 1):
        e, r, n = (column[:, width:] - column[:, :-width] for column in (error, reference, seconds))
        weight = np.where((n >= LEAST_CELL_S) & (r > 0), n / (n + HALF_WEIGHT_S), 0.0)
        total = weight.sum(axis=0)
        if (n.sum(axis=0) < LEAST_BAND_S).any() or not (total > 0).all():
            continue
        mean = (weight * 100 * e / np.where(r > 0, r, 1)).sum(axis=0) / total
        squared, df = variance(weight, n)
        if (np.abs(mean) + t_quantile(level, df) * np.sqrt(squared) <= limit).all():
            return width * step
    return None


def _stretch_variance(
    table: Table, masks: list[NDArray[np.bool_]], spreads: list[Spread | None]
) -> Callable[[FloatArray, FloatArray], tuple[FloatArray, float]]:
    """Return what turns weights and seconds of sessions (S, k) into the variances of k stretches, with their df."""
    if table.sessions == 1:
        known = [(item.standard_error**2 * float(mask.sum()), item.df)
                 for item, mask in zip(spreads, masks, strict=True) if item is not None]
        return lambda weight, n: (known[0][0] / n[0], known[0][1])
    bias, seconds = cells(table, masks)
    parts = parts_of(bias, seconds / (seconds + HALF_WEIGHT_S))
    if parts is None:
        return lambda weight, n: (np.full(weight.shape[1], math.inf), 1.0)
    return lambda weight, n: (parts.common * (weight**2).sum(axis=0) / weight.sum(axis=0) ** 2
                              + parts.cell / weight.sum(axis=0), min(parts.common_df, parts.cell_df))
