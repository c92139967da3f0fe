"""Whether errors show that they are not normal: skewness and heavy tails beyond chance."""

from __future__ import annotations

import math
import warnings
from typing import NamedTuple

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.errors import AssumptionWarning
from agree.core.thresholds import KURTOSIS_PASSES, LEAST_SHAPE, SHAPE_P, SKEWNESS_PASSES


class Shape(NamedTuple):
    """Skewness and kurtosis of n errors (0 and 3 if normal), each as a value that is standard normal if they are."""

    skewness: float
    kurtosis: float
    skewness_z: float
    kurtosis_z: float


def shape_of(error: FloatArray) -> Shape | None:
    """Moments of errors and what they are worth; None below LEAST_SHAPE errors, or if all are equal.

    References
    ----------
    D'Agostino RB (1970) Biometrika 57:679 for skewness; Anscombe FJ, Glynn WJ (1983) Biometrika 70:227 for kurtosis
    (formulas from memory, compared with scipy.stats).
    """
    n, centred = error.size, error - error.mean()
    unit = float(np.abs(centred).max())
    if n < LEAST_SHAPE or unit <= 1e-12 * float(np.abs(error).max()):
        return None
    square = np.square(centred / unit)
    scale = float(square.mean())
    skewness = float((square * centred).mean()) / unit / scale**1.5
    kurtosis = float(np.square(square).mean()) / scale**2
    return Shape(skewness, kurtosis, _skewness_z(skewness, n), _kurtosis_z(kurtosis, n))


def _skewness_z(skewness: float, n: int) -> float:
    y = skewness * math.sqrt((n + 1) * (n + 3) / (6 * (n - 2)))
    fourth = 3 * (n * n + 27 * n - 70) * (n + 1) * (n + 3) / ((n - 2) * (n + 5) * (n + 7) * (n + 9))
    w_square = math.sqrt(2 * (fourth - 1)) - 1
    return math.asinh(y / math.sqrt(2 / (w_square - 1))) / math.sqrt(math.log(w_square) / 2)


def _kurtosis_z(kurtosis: float, n: int) -> float:
    variance = 24 * n * (n - 2) * (n - 3) / ((n + 1) ** 2 * (n + 3) * (n + 5))
    x = (kurtosis - 3 * (n - 1) / (n + 1)) / math.sqrt(variance)
    third = 6 * (n * n - 5 * n + 2) / ((n + 7) * (n + 9)) * math.sqrt(6 * (n + 3) * (n + 5) / (n * (n - 2) * (n - 3)))
    a = 6 + 8 / third * (2 / third + math.sqrt(1 + 4 / third**2))
    base = (1 - 2 / a) / (1 + x * math.sqrt(2 / (a - 4)))
    return (1 - 2 / (9 * a) - math.copysign(abs(base) ** (1 / 3), base)) / math.sqrt(2 / (9 * a))


NORMAL_ONLY = "and these intervals are for normal errors: "


def warn_of_shape(error: FloatArray, sampling: str, consequence: str, stacklevel: int = 3) -> None:
    """Warn if independent errors are skewed, or have heavier tails than normal ones, beyond chance.

    `consequence` ends the sentence. Light tails do no harm, nor do moments that pass in `look_at_errors`. That nothing
    is seen proves nothing: most samples of 20 exponential errors do not show it.
    """
    seen = shape_of(error) if sampling == "independent" else None
    if seen is None:
        return
    limit = -float(special.ndtri(SHAPE_P))
    if ((abs(seen.skewness) > SKEWNESS_PASSES and abs(seen.skewness_z) > limit)
            or (seen.kurtosis > KURTOSIS_PASSES and seen.kurtosis_z > limit)):
        warnings.warn(f"the errors are not normal (skewness {seen.skewness:.1f}, kurtosis {seen.kurtosis:.1f}; 0 and 3 "
                      f"if they were), {consequence}",
                      AssumptionWarning, stacklevel=stacklevel)
