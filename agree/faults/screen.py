"""A cheap screen: seconds that are no readings of the effort, hidden before clocks and responses are fitted."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import (
    GROSS_APART_S,
    GROSS_SHARPER,
    SPIKE_FACTOR,
    SPIKE_S,
    SPIKE_W,
    STOP_DIP,
    WORKING_W,
)
from agree.estimators.response.own_readings import every_s, usual_changes
from agree.faults.late_start import frozen_runs
from agree.faults.view import Mask, largest_near

NEAR_S = 5


def hide(reference: FloatArray, device: FloatArray) -> tuple[Mask, Mask]:
    """Gross faults of each: zeros amid work, spikes and held values. What is left may still hold faults."""
    zeros = zeros_amid(reference, device)
    return zeros[0] | _gross(reference, device), zeros[1] | _gross(device, reference)


def zeros_amid(reference: FloatArray, device: FloatArray, *, dips: bool = True) -> tuple[Mask, Mask]:
    """Seconds in which a trace is 0 far from all coasting of the other one.

    The sharper trace may stop for a few seconds while the smoother one works on: its zeros count only where the other
    one does not dip, unless `dips` is False.
    """
    work = (reference > WORKING_W) & (device > WORKING_W)
    sharp = usual_changes(reference, device, work)
    found = []
    for y, other, sharper in ((reference, device, sharp[0] > GROSS_SHARPER * sharp[1]),
                              (device, reference, sharp[1] > GROSS_SHARPER * sharp[0])):
        high = np.where(np.isfinite(other), other, np.inf)
        zero = (y == 0) & np.isfinite(other) & (
            ndimage.minimum_filter1d(high, 2 * GROSS_APART_S + 1, mode="nearest") > WORKING_W)
        if sharper and dips:
            for start, stop in runs(zero):
                around = np.r_[other[max(start - GROSS_APART_S, 0):max(start - 1, 0)],
                               other[stop + NEAR_S:stop + GROSS_APART_S]]
                around = around[np.isfinite(around)]
                inside = float(high[start:stop + NEAR_S].min())
                zero[start:stop] = around.size > 0 and inside > STOP_DIP * float(np.median(around))
        found.append(zero)
    return found[0], found[1]


def _gross(y: FloatArray, other: FloatArray) -> Mask:
    found = np.zeros(y.size, bool)
    both = (other > WORKING_W) & (y > WORKING_W)
    k = float(np.median(y[both] / other[both])) if both.any() else 1.0
    near = largest_near(np.nan_to_num(other), NEAR_S)
    high = np.nan_to_num(y) > SPIKE_FACTOR * k * near + SPIKE_W
    for start, stop in runs(high):
        found[start:stop] |= stop - start <= max(SPIKE_S, every_s(y))
    for start, stop in frozen_runs(other, y):
        found[start:stop] = True
    return found
