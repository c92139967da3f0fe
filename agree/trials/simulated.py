"""Studies that might be found with an assumed device, drawn many at a time, for plans that must keep what they say."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.thresholds import TRIALS_COUNTED_SHARE
from agree.estimators.trials.skewed_mean import hall_ends
from agree.verdict.error_distribution import KnownError, interval_half_width

STUDIES = 1500  # standard error of a chance of 80 %: 1.0 point
SEED = 13
MOST_DRAWN = 400_000  # trials in memory at a time


class Studies(NamedTuple):
    """What the rules need of each study: (k,) arrays, errors in units of the limit.

    `within` is NaN with one trial each. `farthest`: largest error of a single trial; `share`: of single trials within
    1 - shift, 1 and 1 + shift in the three rows; `means`: (k, S) subjects' means.
    """

    means: FloatArray
    within: FloatArray
    farthest: FloatArray
    share: FloatArray

    @property
    def bias(self) -> FloatArray:
        """Mean errors."""
        return np.asarray(self.means.mean(axis=1))

    @property
    def of_means(self) -> FloatArray:
        """V, the variances of subjects' means."""
        return np.asarray(self.means.var(axis=1, ddof=1))


def drawn(subjects: int, trials: int, between: float, within: float, error: float, shift: float) -> Studies:
    """Draw studies of normal errors; the same numbers each time, so that a plan is the same each time."""
    rng = np.random.default_rng(SEED)
    at_once = max(1, MOST_DRAWN // (subjects * trials))
    made = []
    for start in range(0, STUDIES, at_once):
        count = min(at_once, STUDIES - start)
        own = error + between * rng.standard_normal((count, subjects, 1)) + (
            within * rng.standard_normal((count, subjects, trials)))
        means = own.mean(axis=2)
        square = (np.square(own - means[..., None]).sum((1, 2)) / (subjects * (trials - 1)) if trials > 1
                  else np.full(count, np.nan))
        share = np.stack([(np.abs(own + k * shift) <= 1).mean(axis=(1, 2)) for k in (0.0, -1.0, 1.0)])
        made.append(Studies(means, square, np.abs(own).max(axis=(1, 2)), share))
    first, second, third, fourth = zip(*made, strict=True)
    return Studies(np.concatenate(first), np.concatenate(second), np.concatenate(third),
                   np.concatenate(fourth, axis=1))


def mean_holds(found: Studies, level: float, known: KnownError) -> NDArray[np.bool_]:
    """Whether each study's mean error is found within, by t and with what is allowed for skew."""
    subjects = found.means.shape[1]
    sd, bias = np.sqrt(found.of_means), found.bias
    t = t_quantile(level, subjects - 1)
    half = t * sd / math.sqrt(subjects)
    low, high = hall_ends(found.means, t)
    more = 0.0
    if known.u > 0:
        wide = interval_half_width(sd / math.sqrt(subjects), subjects - 1, known, level)
        more = np.maximum(np.square(wide) - np.square(half), 0.0)
    low, high = (np.sqrt(np.square(np.maximum(half, sd * end)) + more) for end in (-low, high))
    result: NDArray[np.bool_] = (bias - low >= -1) & (bias + high <= 1)
    return result


def counted_holds(share: FloatArray, number: FloatArray, level: float) -> NDArray[np.bool_]:
    """Whether a counted share, the lowest over the rows, is found to be 95 % or more."""
    lowest = share.min(axis=0)
    hit, missed = lowest * number, (1 - lowest) * number
    low = np.where(lowest > 0, special.betaincinv(np.maximum(hit, 1e-9), missed + 1, (1 - level) / 2), 0.0)
    result: NDArray[np.bool_] = low >= TRIALS_COUNTED_SHARE
    return result


def effective(found: Studies, trials: int) -> FloatArray:
    """Effective number of single trials of each study, as `effective_trials` finds it."""
    subjects = found.means.shape[1]
    of_means = found.of_means
    within = np.nan_to_num(found.within)
    variance = np.maximum(of_means + (1 - 1 / trials) * within, within)
    number: FloatArray = np.clip(variance * subjects / of_means, subjects, subjects * trials)
    return number
