"""A slow filter made more exact: spectra tell that of a minute and more by a few frequencies alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import SLOW_HISTORY, WORKING_W
from agree.estimators.response.choice import opposite
from agree.estimators.response.kernels import Kernel, kernel, weight_within
from agree.estimators.response.matching import Filter
from agree.estimators.response.nonlinear.any_filter import through
from agree.estimators.response.simplex import lowest

KINDS = ("running mean", "first order")
CLIPPED_SD, COLOUR = 4.0, 0.5  # SD to which errors are cut; of what lasts, half is taken off the next second
STEP, STEP_S = 0.05, 1.0       # first steps, of the size as a share and of the delay, s
NORMAL = 1.4826                # SD of a normal over its median absolute deviation


def refined(made: Filter, sharp: FloatArray, slow: FloatArray) -> Filter:
    """The filter with the size and delay that leave least of the slow trace, second by second.

    Parameters
    ----------
    made : Filter
        As found from spectra. One of two stages, or none, is left as it is.
    sharp, slow : (n,) array, W
        Readings, with what they should have been where faulty; NaN where unknown.
    """
    chosen = made.choice
    if chosen is None or chosen.size is None or chosen.kind not in KINDS or chosen.second is not None:
        return made
    turned = made.smoother == "reference"
    size, late = chosen.size, opposite(chosen.delay) if turned else chosen.delay
    known = np.flatnonzero(np.isfinite(sharp))
    if not known.size:
        return made
    whole = np.interp(np.arange(sharp.size), known, sharp[known])
    fair = np.isfinite(slow) & (np.nan_to_num(slow) > 0)
    fair &= weight_within(sharp.size, made.kernel.start, made.kernel.weights) >= SLOW_HISTORY
    fair &= through((~np.isfinite(sharp)).astype(float), made.kernel) < 1 - SLOW_HISTORY

    def rest(by: Kernel) -> FloatArray:
        answer = through(whole, by)
        work = fair & (answer > WORKING_W)
        ratio = float(np.median(slow[work] / answer[work])) if work.any() else 1.0
        error = np.where(work, slow / ratio - answer, np.nan)
        white = error[1:] - COLOUR * error[:-1]
        return white[np.isfinite(white)]

    first = rest(_kernel(chosen.kind, size, late, size.value, late.value))
    if not first.size:
        return made
    limit = CLIPPED_SD * NORMAL * float(np.median(np.abs(first)))

    def left(at: Sequence[float]) -> float:
        if not 0.5 * size.value < at[0] < 2 * size.value:
            return np.inf
        return float(np.mean(np.clip(rest(_kernel(chosen.kind, size, late, at[0], at[1])), -limit, limit) ** 2))

    start = np.array([size.value, late.value])
    best = lowest(left, start + np.array([[0.0, 0.0], [STEP * size.value, 0.0], [0.0, STEP_S]]), xtol=1e-2, ftol=1e-6,
                  most=80)
    by = _kernel(chosen.kind, size, late, best[0], best[1])
    delay = _moved(late, float(best[1]))
    return made._replace(kernel=by, choice=chosen._replace(
        size=_moved(size, float(best[0])), delay=opposite(delay) if turned else delay))


def _moved(item: Estimate, value: float) -> Estimate:
    """The estimate with another value, and its interval moved with it."""
    by = value - item.value
    return replace(item, value=value, low=item.low + by, high=item.high + by)


def _kernel(kind: str, size: Estimate, delay: Estimate, width: float, late: float) -> Kernel:
    return kernel(kind, _exactly(size, float(width)), _exactly(delay, float(late)))


def _exactly(item: Estimate, value: float) -> Estimate:
    return replace(item, value=value, low=value, high=value, standard_error=0.0)
