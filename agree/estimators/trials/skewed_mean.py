"""Mean of subjects' mean errors, with an interval that stays right where these are skewed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.estimators.trials.unweighted import SubjectErrors, mean_error

LEAST_SUBJECTS = 3  # of two means there is no skewness
_FLAT = 1e-6        # a skewness of less moves no end by a millionth of the interval
_EQUAL = 1e-9       # of the means' size: a spread of less is of the arithmetic


def hall_ends(means: FloatArray, t: float) -> tuple[FloatArray, FloatArray]:
    """Ends of the mean of each row of subjects' means, low and high, from the mean in SDs; see `skewed_mean_error`."""
    n = means.shape[-1]
    away = means - means.mean(axis=-1, keepdims=True)
    sd = np.sqrt(np.square(away).sum(axis=-1, keepdims=True) / (n - 1))
    level = np.abs(means).max(axis=-1, keepdims=True)
    away = np.where(sd > _EQUAL * level, away / np.where(sd > 0, sd, 1.0), 0.0)
    skewness = (away**3).mean(axis=-1) * n * n / ((n - 1) * (n - 2))
    flat = np.abs(skewness) < _FLAT
    g = np.where(flat, 1.0, skewness)
    low, high = (np.where(flat, -w, -3 / g * (np.cbrt(1 + g * (w - g / (6 * n))) - 1))
                 for w in (t / math.sqrt(n), -t / math.sqrt(n)))
    return low, high


def skewed_mean_error(errors: SubjectErrors, level: float) -> Estimate:
    r"""Mean of the subjects' mean errors; each end is the wider of Student's t and of Hall's transformation.

    The mean of few skewed errors and their spread go together: where the long tail was missed, both are too small, and
    the t interval leaves the mean in 10 to 14 % of studies on one side. With the studentised mean
    :math:`U = (\bar d - \beta)/s` and the sample's skewness g,

    .. math:: \sqrt{S} \left(U + g U^2/3 + g^2 U^3/27 + g/(6 S)\right)

    is near t with S - 1 degrees of freedom whatever the skewness, and is turned back in closed form. Taken alone it
    would narrow one end by chance; so neither end is ever nearer than t's.

    References
    ----------
    Hall P (1992) J R Stat Soc B 54:221-228 (citation from memory).
    """
    item = mean_error(errors, level)
    sd = math.sqrt(max(errors.of_means, 0.0))
    if errors.subjects < LEAST_SUBJECTS or not sd > 0:
        return item
    low, high = hall_ends(errors.means, t_quantile(level, errors.subjects - 1))
    return replace(item, low=min(item.low, item.value + sd * float(low)),
                   high=max(item.high, item.value + sd * float(high)),
                   method="t and Hall's transformation, between subjects")
