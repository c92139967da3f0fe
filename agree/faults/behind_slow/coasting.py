"""Zeros that a slow trace shows as coasting: they tell its filter, which must not be sought without them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.remember import once
from agree.core.thresholds import CLAIM_MARGIN_S, COAST_BESIDE_S, STOP_DIP, STOP_SURE, WORKING_W
from agree.estimators.response.matching import Filter, find_filter
from agree.estimators.response.nonlinear.holding import Holding
from agree.estimators.response.nonlinear.repeating import Repeating
from agree.faults.view import Mask, usual_ratio

NAMES = ("reference", "device")
ROUNDS = 3


class Fit(NamedTuple):
    """A filter, and the seconds of reference and device that were hidden for it."""

    made: Filter
    hidden: tuple[Mask, Mask]


def fitted(reference: FloatArray, device: FloatArray, hidden: tuple[Mask, Mask]) -> Filter:
    """Find the filter without hidden seconds of the two traces."""
    return once(find_filter, np.where(hidden[0], np.nan, reference), np.where(hidden[1], np.nan, device))


def with_coasting(reference: FloatArray, device: FloatArray, without: Fit) -> Fit:
    """Fit with the zeros that a slow trace shows as coasting, if that explains the slow trace better than without them.

    Parameters
    ----------
    reference, device : (n,) array, W
        Readings as recorded, NaN where unknown.
    without : Fit
        The filter without the zeros amid work of the other trace, and what was hidden for it.

    Returns
    -------
    Fit
        `without` itself, or the fit with all zeros but those that it does not explain.

    Notes
    -----
    A trace that drops out goes on working: the other one stays at its level, or follows the effort. After a sprint that
    ends in coasting a slow trace falls as its own filter says, so that it still shows power far from its own stops.
    With the right filter the coasting leaves next to nothing of it, and a straight line in its place far more; with
    the filter of a true dropout it is the other way round. A run counts as coasting if the filter with zeros leaves a
    quarter of the mean square that work in their place does. Of both fits the one counts that leaves less of the slow
    trace, every run taken as it fits better.
    """
    best = without
    for number in range(len(NAMES)):
        spans = falling(without.hidden[number], *((reference, device), (device, reference))[number])
        if not spans:
            continue
        found = _fit_with(reference, device, without.hidden, number, spans)
        if found is None:
            continue
        traces = (reference, device)
        if _left(found.made, traces, best.hidden, number, spans) < _left(best.made, traces, best.hidden, number, spans):
            best = found
    return best


def falling(hidden: Mask, own: FloatArray, other: FloatArray) -> list[tuple[int, int]]:
    """Runs of hidden zeros beside which the other trace falls."""
    found = []
    for start, stop in runs(hidden & (own == 0)):
        before, around = other[max(start - COAST_BESIDE_S, 0):start + 1], other[start:stop + COAST_BESIDE_S]
        if np.isfinite(before).any() and np.isfinite(around).any() and (
                float(np.nanmin(around)) < STOP_DIP * float(np.nanmax(before))):
            found.append((start, stop))
    return found


def _fit_with(reference: FloatArray, device: FloatArray, hidden: tuple[Mask, Mask], number: int,
              spans: list[tuple[int, int]]) -> Fit | None:
    """The filter with those zeros of a trace that it explains; None if it explains none."""
    coasting = spans
    for _ in range(ROUNDS):
        now = list(hidden)
        now[number] = hidden[number].copy()
        for start, stop in coasting:
            now[number][start:stop] = False
        fit = Fit(fitted(reference, device, (now[0], now[1])), (now[0], now[1]))
        if fit.made.kernel.weights.size == 1 or _holds(fit.made) or fit.made.smoother == NAMES[number]:
            return None
        as_zero, as_work = _squares(fit.made, (reference, device), hidden, number, spans)
        explained = [span for span, zero, work in zip(spans, as_zero, as_work, strict=True) if zero < STOP_SURE * work]
        if explained == coasting:
            return fit
        if not explained:
            return None
        coasting = explained
    return fit


def _holds(made: Filter) -> bool:
    """Whether the slow trace keeps its reading at stops: then it falls beside none, and any dropout passes for one."""
    return isinstance(made.kernel, Holding) or (isinstance(made.kernel, Repeating) and made.kernel.held_s > 0)


def _left(made: Filter, traces: tuple[FloatArray, FloatArray], hidden: tuple[Mask, Mask], number: int,
          spans: list[tuple[int, int]]) -> float:
    """Mean square, as a share of power, that a filter leaves beside zeros, each run taken as it fits better."""
    return float(np.minimum(*_squares(made, traces, hidden, number, spans)).mean())


def _squares(made: Filter, traces: tuple[FloatArray, FloatArray], hidden: tuple[Mask, Mask], number: int,
             spans: list[tuple[int, int]]) -> tuple[FloatArray, FloatArray]:
    """Mean squares around each run with its zeros as they are, and with work in their place."""
    own = np.where(hidden[number] & (traces[number] != 0), np.nan, traces[number])
    known = np.isfinite(own)
    for start, stop in spans:
        known[start:stop] = False
    at = np.arange(own.size)
    work = np.interp(at, at[known], own[known]) if known.any() else np.zeros(own.size)
    zero = work.copy()
    for start, stop in spans:
        zero[start:stop] = 0.0
    other = np.where(hidden[1 - number], np.nan, traces[1 - number])
    low, high = made.reach if made.smoother != NAMES[number] else (-made.reach[1], -made.reach[0])
    left = []
    for filled in (zero, work):
        pair = made.columns(*((filled, other) if number == 0 else (other, filled)))
        u, v = pair if number == 0 else pair[::-1]
        works = (u > WORKING_W) & (v > WORKING_W)
        apart = (v - usual_ratio(v[works] / u[works]) * u) ** 2
        sums = [apart[max(start + min(low, 0) - CLAIM_MARGIN_S, 0):stop + max(high, 0) + CLAIM_MARGIN_S]
                for start, stop in spans]
        left.append(np.array([float(np.nanmean(part)) if np.isfinite(part).any() else np.inf for part in sums]))
    return left[0], left[1]
