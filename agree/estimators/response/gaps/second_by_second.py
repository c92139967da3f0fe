"""A running mean or lag between two traces from their readings second by second, with the stops that one leaves out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import WORKING_W
from agree.estimators.response.gaps.left_out import LeftOut, Mask
from agree.estimators.response.kernels import Kernel, weights_of
from agree.estimators.response.nonlinear.any_filter import through
from agree.estimators.response.simplex import lowest

SIZES = {"first order": (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 18.0),
         "running mean": (1.0, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0, 14.0, 20.0, 30.0)}   # s; a mean over 1 s is a delay alone
BESIDE_S = 6          # s of mean delay on either side of that lag of the traces that is tried
CLIPPED_SD = 6.0      # robust standard deviations, beyond which an error counts as one of this size: it may be a fault
NORMAL = 1.4826
LEAST_LAG_S, LARGEST_S = 0.05, 60.0
LEAST_KNOWN, LEAST_W = 60, 0.5  # seconds amid work; rounding to whole W


class Fit(NamedTuple):
    """Kind, size and delay (s) of a filter, and what it leaves, W.

    That is the mean size of errors on a grid, and their root mean square, far ones clipped, where it was refined.
    """

    kind: str
    size: float
    delay: float
    left: float = math.inf

    @property
    def kernel(self) -> Kernel:
        """Its weights."""
        return weights_of(self.kind, self.size, self.delay)


class Trial(NamedTuple):
    """Two traces whose filter is sought, and the seconds that do not count.

    `pieces` are those between which the filter does not go on: it begins anew at each; `frozen` seconds do not exist
    for it.
    """

    item: LeftOut
    aside: Mask
    pieces: tuple[tuple[int, int], ...] = ()
    frozen: Mask | None = None

    def answered(self, by: Kernel) -> FloatArray:
        """The sharp trace through the filter."""
        if self.frozen is not None:
            made = self.item.whole.copy()
            made[~self.frozen] = through(made[~self.frozen], by)
            return made
        if self.pieces:
            return np.concatenate([through(self.item.whole[start:stop], by) for start, stop in self.pieces])
        return through(self.item.whole, by)

    def errors(self, made: FloatArray) -> FloatArray:
        """What is left of the smooth trace about the line through it and the answered one, amid work, W; else NaN."""
        smooth = self.item.smooth
        good = ~self.aside & np.isfinite(smooth) & np.isfinite(self.item.sharp)
        good &= (made > WORKING_W) | (smooth > WORKING_W)
        u, v = made[good], smooth[good]
        rest = np.full(smooth.size, np.nan)
        if u.size < LEAST_KNOWN:
            return rest
        apart = u - u.mean()
        slope = float(apart @ v) / max(float(apart @ apart), 1e-300)
        rest[good] = v - v.mean() - slope * apart
        return rest

    def left(self, by: Kernel, limit: float = math.inf) -> float:
        """Root mean square of the errors, those beyond a limit counting as such."""
        rest = self.errors(self.answered(by))
        rest = rest[np.isfinite(rest)]
        return math.sqrt(float(np.mean(np.minimum(np.square(rest), limit**2)))) if rest.size else math.inf

    def limit(self, one: Fit) -> float:
        """Size beyond which an error may be a fault."""
        rest = self.errors(self.answered(one.kernel))
        return CLIPPED_SD * NORMAL * max(float(np.nanmedian(np.abs(rest))), LEAST_W) if np.isfinite(rest).any() else (
            math.inf)


def roughly(trial: Trial, lag: int) -> Fit:
    """Of a grid about a lag (whole s) the mean or lag that leaves least, in mean size."""
    best = Fit("running mean", 1.0, float(lag))
    for kind, sizes in SIZES.items():
        for size in sizes:
            early = size if kind == "first order" else 0.0  # a lag is late by itself
            made = trial.answered(weights_of(kind, size, lag - math.floor(early)))
            for more in range(-BESIDE_S, BESIDE_S + math.ceil(size) + 1):
                rest = np.abs(trial.errors(shifted(made, more)))
                left = float(np.nanmean(rest)) if np.isfinite(rest).any() else math.inf
                if left < best.left:
                    best = Fit(kind, size, float(lag - math.floor(early) + more), left)
    return best


def shifted(values: FloatArray, by: int) -> FloatArray:
    """A trace later by whole seconds; its ends are kept."""
    return values[np.clip(np.arange(values.size) - by, 0, values.size - 1)]


def nearer(trial: Trial, start: Fit) -> Fit:
    """Size and delay that leave least near a start, by simplex."""
    for near in (10.0, 1.0):  # the first only tells which errors are large
        left = partial(_left, trial, start.kind, trial.limit(start))
        corners = np.array([[start.size, start.delay]]) + np.array([[0.0, 0.0], [0.1 * start.size, 0.0], [0.0, 0.3]])
        size, delay = lowest(left, corners, xtol=2e-3 * near, ftol=1e-4 * near, most=60).tolist()
        start = Fit(start.kind, size, delay, left((size, delay)))
    return start


def _left(trial: Trial, kind: str, limit: float, at: Sequence[float]) -> float:
    """What is left by size and delay; infinite where the size is none."""
    inside = (1.0 if kind == "running mean" else LEAST_LAG_S) <= at[0] <= LARGEST_S
    return trial.left(weights_of(kind, at[0], at[1]), limit) if inside else math.inf
