"""Runs that may be partial by the sharp trace alone, and that the slow one plainly does not bear out."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import CLAIM_UNKNOWN, MAYBE_LEAST, MAYBE_REFUTED, WORKING_W
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.nonlinear.any_filter import through
from agree.faults.behind_slow.candidates import Maybe

SHOWN = 0.8  # of a run's energy, within the reach of the filter that is looked at


def without_refuted(some: list[Maybe], sharp: FloatArray, slow: FloatArray, by: Kernel) -> list[Maybe]:
    """Runs without partial ones of which the slow trace shows less than half of the energy.

    A ride of intervals jumps to half of its power, and back, hundreds of times. What lasts for as long as the filter
    shows in the slow trace by itself: it need not be weighed with all others.

    Parameters
    ----------
    some : list of Maybe
        Runs that may be faulty.
    sharp, slow : (n,) array, W
        Readings, NaN where unknown.
    by : Kernel
        The filter from the one to the other.
    """
    known, n = np.flatnonzero(np.isfinite(sharp)), sharp.size
    if not known.size:
        return some
    made = through(np.interp(np.arange(n), known, sharp[known]), by)
    fair = np.isfinite(slow) & (np.nan_to_num(slow) > 0) & (made > WORKING_W)
    if not fair.any():
        return some
    ratio = float(np.quantile(slow[fair] / made[fair], MAYBE_REFUTED[0]))
    seen = np.where(fair, slow, 0.0) / ratio
    sums = [np.r_[0.0, np.cumsum(row)] for row in (np.where(fair, seen - made, 0.0), seen, fair)]
    reach = by.start + int(np.searchsorted(np.cumsum(by.weights), SHOWN)) + 1
    left = []
    for one in some:
        low, high = (int(np.clip(at, 0, n)) for at in (one.start + by.start, one.stop + reach))
        lack, energy, count = (float(row[high] - row[low]) for row in sums)
        bears = lack + MAYBE_REFUTED[1] * energy >= MAYBE_LEAST * SHOWN * float(one.adds.sum())
        if one.kind != "partial" or bears or count < (1 - CLAIM_UNKNOWN) * (high - low):
            left.append(one)
    return left
