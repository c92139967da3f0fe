"""Whether errors show that they are not normal: skewness and heavy tails beyond chance."""

from __future__ import annotations

import math
import warnings
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
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


def shape_of(error: FloatArray, worth: float | None = None) -> Shape | None:
    """Moments of errors and what they are worth; None below LEAST_SHAPE errors, or if all are equal.

    `worth` is the number of independent errors that tell as much, if these are not.

    References
    ----------
    D'Agostino RB (1970) Biometrika 57:679 for skewness; Anscombe FJ, Glynn WJ (1983) Biometrika 70:227 for kurtosis
    (formulas from memory, compared with scipy.stats).
    """
    n = float(error.size) if worth is None else worth
    if n < LEAST_SHAPE:
        return None
    centred = error - error.mean()
    unit = float(np.abs(centred).max())
    if unit <= 1e-12 * float(np.abs(error).max()):
        return None
    square = np.square(centred / unit)
    scale = float(square.mean())
    skewness = float((square * centred).mean()) / unit / scale**1.5
    kurtosis = float(np.square(square).mean()) / scale**2
    return Shape(skewness, kurtosis, _skewness_z(skewness, n), _kurtosis_z(kurtosis, n))


def _skewness_z(skewness: float, n: float) -> float:
    y = skewness * math.sqrt((n + 1) * (n + 3) / (6 * (n - 2)))
    fourth = 3 * (n * n + 27 * n - 70) * (n + 1) * (n + 3) / ((n - 2) * (n + 5) * (n + 7) * (n + 9))
    w_square = math.sqrt(2 * (fourth - 1)) - 1
    return math.asinh(y / math.sqrt(2 / (w_square - 1))) / math.sqrt(math.log(w_square) / 2)


def _kurtosis_z(kurtosis: float, n: float) -> float:
    variance = 24 * n * (n - 2) * (n - 3) / ((n + 1) ** 2 * (n + 3) * (n + 5))
    x = (kurtosis - 3 * (n - 1) / (n + 1)) / math.sqrt(variance)
    third = 6 * (n * n - 5 * n + 2) / ((n + 7) * (n + 9)) * math.sqrt(6 * (n + 3) * (n + 5) / (n * (n - 2) * (n - 3)))
    a = 6 + 8 / third * (2 / third + math.sqrt(1 + 4 / third**2))
    base = (1 - 2 / a) / (1 + x * math.sqrt(2 / (a - 4)))
    return (1 - 2 / (9 * a) - math.copysign(abs(base) ** (1 / 3), base)) / math.sqrt(2 / (9 * a))


NORMAL_ONLY = "and these intervals are for normal errors: "
SKEW_COSTS = ("of skewed ones a limit lies too near on the side of the long tail and too far on the other, often "
              "with its whole interval; quantile_limits counts the errors")


def warn_of_shape(error: FloatArray, sampling: str, consequence: str, stacklevel: int = 3) -> None:
    """Warn if independent errors are skewed, or have heavier tails than normal ones, beyond chance.

    `consequence` ends the sentence. Light tails do no harm, nor do moments that pass in `look_at_errors`. That nothing
    is seen proves nothing: most samples of 20 exponential errors do not show it.
    """
    seen = shape_of(error) if sampling == "independent" else None
    if seen is not None and shows(seen):
        _warn("errors are", seen, consequence, stacklevel)


def dependent_shape(error: FloatArray, group: NDArray[Any] | None, *, serial: bool) -> tuple[str, Shape] | None:
    """What is not normal beyond chance: errors about the mean of their `group`, or else these means; None if neither.

    Without groups errors are those of one recording. `serial` ones are worth fewer: see `worth_of`.
    """
    if group is None:
        names: tuple[tuple[str, Shape | None], ...] = (("errors are", shape_of(error, worth_of(error))),)
    else:
        index = np.unique(group, return_inverse=True)[1]
        sizes = np.bincount(index)
        means, many = np.bincount(index, weights=error) / sizes, sizes[index] > 1
        about = (error - means[index])[many] / np.sqrt(1 - 1 / sizes[index][many])  # which have one variance
        free = float(about.size - (sizes > 1).sum())
        names = (("errors about the mean of their group are",
                  shape_of(about, min(free, worth_of(about)) if serial else free)),
                 ("groups' mean errors are", shape_of(means)))
    return next(((name, seen) for name, seen in names if seen is not None and shows(seen)), None)


def warn_of_dependent_shape(error: FloatArray, group: NDArray[Any] | None, serial: bool, consequence: str,
                            stacklevel: int = 3) -> None:
    """Warn of `dependent_shape`."""
    found = dependent_shape(error, group, serial=serial)
    if found is not None:
        _warn(*found, consequence, stacklevel)


def worth_of(error: FloatArray) -> float:
    r"""Return how many independent errors tell as much of the skewness as n in order of time.

    Of a normal series the variance of the skewness is :math:`6 n^{-1} \sum_k \rho_k^3`, that of the kurtosis has the
    fourth powers, which add up to less (Lomnicki ZA 1961, Metrika 4:37, from memory). The correlations are summed up to
    the first that is not above 0.
    """
    n = error.size
    centred = error - error.mean() if n else error
    size = float(np.abs(centred).max(initial=0.0))
    if not size > 0:
        return float(n)
    power = np.abs(np.fft.rfft(centred / size, 2 * n)) ** 2
    correlation = np.fft.irfft(power)[:n]
    correlation = correlation[1:] / correlation[0]
    end = int(np.argmax(correlation <= 0)) if (correlation <= 0).any() else correlation.size
    return float(n / (1 + 2 * (correlation[:end] ** 3).sum()))


def shows(seen: Shape) -> bool:
    """Whether moments lie beyond what passes, and beyond chance."""
    limit = -float(special.ndtri(SHAPE_P))
    return ((abs(seen.skewness) > SKEWNESS_PASSES and abs(seen.skewness_z) > limit)
            or (seen.kurtosis > KURTOSIS_PASSES and seen.kurtosis_z > limit))


def _warn(name: str, seen: Shape, consequence: str, stacklevel: int) -> None:
    warnings.warn(f"the {name} not normal (skewness {seen.skewness:.1f}, kurtosis {seen.kurtosis:.1f}; 0 and 3 if they "
                  f"were), {consequence}", AssumptionWarning, stacklevel=stacklevel + 1)
