"""What rounding of the readings leaves unknown of the error of trials, however alike the errors look."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.estimators.rounding import at_least, rounding_of_mean
from agree.estimators.trials.common_step import common_step
from agree.trials.trials import Trials
from agree.verdict.error_distribution import KnownError
from agree.verdict.rule import widen

TAIL = 0.025  # chance that few subjects whose errors are all alike hide more: one side of an interval at 95 %


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rounding(Result):
    """What rounding leaves of a mean over subjects, in the unit of the errors.

    Attributes
    ----------
    step : (n,) array
        Step of the readings in each trial; empty where they are not rounded, or not paired.
    standard_error : float
        Least standard error of the mean: of n trials by as many subjects as trials step sqrt(2/12/n).
    shift : float
        How far the mean of rounded errors may be off. Errors that scatter round up and down and their mean is right;
        of errors of which a share q > 1/2 are one number of steps, all or most are rounded the same way, so that
        the mean may be q - 1/2 steps further out, up to where the next step begins; of few subjects by chance more.
    """

    step: FloatArray = field(default_factory=lambda: np.zeros(0))
    standard_error: float = 0.0
    shift: float = 0.0

    def mean(self, item: Estimate, known: KnownError, times: float = 1.0) -> Estimate:
        """Widen a mean of subjects to what rounding leaves, and by the reference's own error.

        `times` is the standard error of what is estimated over that of the mean.
        """
        wide = _widened(at_least(item, times * self.standard_error), known)
        if not self.shift:
            return wide
        moved = _widened(item, self.beside(known))
        return replace(wide, low=min(wide.low, moved.low, item.value - self.shift),
                       high=max(wide.high, moved.high, item.value + self.shift))

    def beside(self, known: KnownError) -> KnownError:
        """Add the shift to what is known of the reference: no number of trials takes it away."""
        return KnownError(normal=known.normal, rectangles=(*known.rectangles, self.shift)) if self.shift else known


    def of_size(self, size: FloatArray, subject: NDArray[np.intp]) -> Rounding:
        """Return it for the mean size (n,) of errors, of which those that show 0 are not.

        Errors within half a step of 0 show none. Where more of them show 0 than 1, as normal errors do, the mean size
        shown is too small by up to a tenth of a step for each that shows 0 (a twelfth where they spread over many
        steps: the second difference of |e| at 0).
        """
        if not self.step.size:
            return self
        none = np.where(size < self.step / 2, self.step, 0.0) / np.bincount(subject)[subject]
        return replace(self, shift=max(self.shift, float(none.sum()) / (subject.max() + 1) / 10))


def _widened(item: Estimate, known: KnownError) -> Estimate:
    """Widen by a known error, and keep ends that are further out than t's where they are."""
    wide = widen(item, known)
    if wide is item:
        return item
    own = t_quantile(item.level, item.df) * item.standard_error
    more = max((wide.high - wide.value) ** 2 - own**2, 0.0)
    return replace(wide, low=min(wide.low, item.value - math.sqrt((item.value - item.low) ** 2 + more)),
                   high=max(wide.high, item.value + math.sqrt((item.high - item.value) ** 2 + more)))


def rounding_of_trials(trials: Trials, scales: tuple[FloatArray, FloatArray]) -> Rounding:
    """Return it for readings that are divided by `scales`, the reference's and the device's."""
    step = common_step(trials.reference, trials.device)
    if step == 0:
        return Rounding()
    weights = [subject.size / (len(trials.subjects) * np.bincount(subject)[subject] * scale)
               for subject, scale in zip((trials.subject, trials.device_subject), scales, strict=True)]
    error = math.hypot(*(rounding_of_mean(step, weight) for weight in weights))
    alike = _share_alike(trials, step)
    away = max(alike - 0.5, 0.0)
    if alike == 1:  # a mean d steps further out shows nothing in n trials with a chance of (1 - d)^n
        away = max(away, 1 - TAIL ** (1 / len(trials.subjects)))
    return Rounding(step=step / scales[0] if trials.paired else np.zeros(0), standard_error=error,
                    shift=step * away * float(weights[0].mean()))


def _share_alike(trials: Trials, step: float) -> float:
    """Share of the differences that are the most common number of steps, subjects weighed alike."""
    if trials.paired:
        return _largest(np.round((trials.device - trials.reference) / step), 1 / trials.sizes[trials.subject])
    different: list[FloatArray] = []
    weight: list[FloatArray] = []
    for k in range(len(trials.subjects)):  # every difference of two readings of one subject
        x, y = (_counts(np.round(values[subject == k] / step)) for values, subject in (
            (trials.reference, trials.subject), (trials.device, trials.device_subject)))
        different.append(np.subtract.outer(y[0], x[0]).ravel())
        weight.append(np.multiply.outer(y[1], x[1]).ravel())
    return _largest(np.concatenate(different), np.concatenate(weight))


def _counts(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    found, count = np.unique(values, return_counts=True)
    return found, count / values.size


def _largest(steps: FloatArray, weight: NDArray[np.float64]) -> float:
    index = np.unique(steps, return_inverse=True)[1]
    share = np.bincount(index, weights=weight) / weight.sum()
    return 1.0 if share.size == 1 else float(share.max())
