"""What rounding of the readings leaves unknown of the mean error of trials, however alike the errors look."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.estimators.readings import resolution
from agree.estimators.rounding import at_least, rounding_of_mean
from agree.trials.trials import Trials
from agree.verdict.error_distribution import KnownError
from agree.verdict.rule import widen


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rounding(Result):
    """What rounding leaves of a mean over subjects, in the unit of the errors.

    Attributes
    ----------
    standard_error : float
        Least standard error of the mean: of n trials by as many subjects as trials step sqrt(2/12/n).
    shift : float
        Half a step where all differences are one number of steps, else 0. Errors that scatter round up and down and
        their mean is right; errors that do not are all rounded the same way, by up to half a step.
    """

    standard_error: float = 0.0
    shift: float = 0.0

    def mean(self, item: Estimate, known: KnownError, times: float = 1.0) -> Estimate:
        """Widen a mean of subjects to what rounding leaves, and by the reference's own error.

        `times` is the standard error of what is estimated over that of the mean.
        """
        wide = widen(at_least(item, times * self.standard_error), known)
        if not self.shift:
            return wide
        moved = widen(item, self.beside(known))
        return replace(wide, low=min(wide.low, moved.low, item.value - self.shift),
                       high=max(wide.high, moved.high, item.value + self.shift))

    def beside(self, known: KnownError) -> KnownError:
        """Add the shift to what is known of the reference: no number of trials takes it away."""
        return KnownError(normal=known.normal, rectangles=(*known.rectangles, self.shift)) if self.shift else known


def rounding_of_trials(trials: Trials, scales: tuple[FloatArray, FloatArray]) -> Rounding:
    """Return it for readings that are divided by `scales`, the reference's and the device's."""
    x, y = trials.reference, trials.device
    step = resolution(x, y)
    if step == 0:
        return Rounding()
    weights = [subject.size / (len(trials.subjects) * np.bincount(subject)[subject] * scale)
               for subject, scale in zip((trials.subject, trials.device_subject), scales, strict=True)]
    error = math.hypot(*(rounding_of_mean(step, weight) for weight in weights))
    if trials.paired:
        alike = np.unique(np.round((y - x) / step)).size == 1
    else:  # every difference of two readings of one subject
        count = len(trials.subjects)
        low, high = np.full((2, count), np.inf), np.full((2, count), -np.inf)
        for k, (subject, values) in enumerate(((trials.subject, x), (trials.device_subject, y))):
            np.minimum.at(low[k], subject, values)
            np.maximum.at(high[k], subject, values)
        alike = bool(np.ptp(np.r_[low[1] - high[0], high[1] - low[0]]) < step / 2)
    return Rounding(standard_error=error, shift=step / 2 * float(weights[0].mean()) if alike else 0.0)
