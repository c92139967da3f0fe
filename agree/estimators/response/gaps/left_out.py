"""Stops that a recorder leaves out, and traces with what a filter makes of the other one in their place."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import GAP_STOP_S, GAP_STOPS, GAP_UNKNOWN, WORKING_W
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.nonlinear.any_filter import through

Mask = NDArray[np.bool_]


class LeftOut(NamedTuple):
    """A sharp trace and a smooth one with stops that either leaves out.

    Attributes
    ----------
    sharp, smooth : (n,) array, W
        Readings, NaN where unknown.
    whole : (n,) array, W
        The sharp trace: the last reading before a stop that it leaves out stands for that if it is next to none;
        other holes are bridged by straight lines.
    gaps : (n,) array of bool
        Seconds of the stops in which either is missing.
    """

    sharp: FloatArray
    smooth: FloatArray
    whole: FloatArray
    gaps: Mask

    @property
    def absent(self) -> Mask:
        """Seconds that the smooth trace leaves out, and the sharp one tells."""
        mask: Mask = self.gaps & ~np.isfinite(self.smooth) & np.isfinite(self.sharp)
        return mask

    def unknown(self, by: Kernel) -> Mask:
        """Seconds of which the smooth reading is missing, or comes of what the sharp trace leaves out."""
        absent = (self.gaps & ~np.isfinite(self.sharp)).astype(float)
        mask: Mask = self.gaps | (through(absent, by) > GAP_UNKNOWN)
        return mask

    def filled(self, by: Kernel, unsure: Mask | None) -> FloatArray:
        """The smooth trace, with what the filter makes of the sharp one where it is unknown beside a stop."""
        made = through(self.whole, by)
        unknown = self.unknown(by) if unsure is None else self.unknown(by) | unsure
        works = ~unknown & (made > WORKING_W) & (self.smooth > WORKING_W)
        ratio = float(np.median(self.smooth[works] / made[works])) if works.any() else 1.0
        return np.where(unknown, ratio * made, self.smooth)

    def bridged(self) -> FloatArray:
        """The sharp trace with stops that it leaves out filled; other holes stay."""
        return np.where(self.gaps, self.whole, self.sharp)


def stops_left_out(reference: FloatArray, device: FloatArray) -> Mask | None:
    """Seconds missing in either trace while the rider stands; None if they are of fewer than three stops.

    The rider stands where both are missing, or the other one reads next to nothing in the gap or right beside it.
    Faults that were hidden amid work are no such gaps.
    """
    known = np.isfinite(reference), np.isfinite(device)
    least = np.fmin(reference, device)
    gaps, count = np.zeros(reference.size, bool), 0
    for start, stop in runs(~(known[0] & known[1])):
        if not start or stop == reference.size:
            continue
        around = least[start - 1:stop + 1]
        neither = ~(known[0] | known[1])[start:stop]
        if neither.sum() >= GAP_STOP_S or np.nanmin(around) <= WORKING_W:
            gaps[start:stop] = True
            count += stop - start >= GAP_STOP_S
    return gaps if count >= GAP_STOPS else None


def left_out(sharp: FloatArray, smooth: FloatArray, gaps: Mask) -> LeftOut:
    """Both traces with the stops that either leaves out."""
    at, known = np.arange(sharp.size), np.isfinite(sharp)
    whole = np.interp(at, at[known], sharp[known])
    for start, stop in runs(gaps & ~known):
        if start and whole[start - 1] <= WORKING_W:
            whole[start:stop] = whole[start - 1]
    return LeftOut(sharp, smooth, whole, gaps)
