"""Gains of the sessions: whether they differ, and the scale over them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import HALF_WEIGHT_S, NAMED_STRENGTH, ROUNDING_SHARE
from agree.diagnosis.windows.frame import WINDOW_S, Frame
from agree.diagnosis.windows.gains import Gains
from agree.diagnosis.windows.least_squares import level_off, widened


def scale_over_sessions(data: Frame, own: Gains, error: FloatArray, serial: Estimate) -> tuple[Estimate, float]:
    """Scale as the mean over sessions of their gains, with what varies from one to the next in its interval.

    Its strength is that of this interval, or that with which each session by itself shows a gain of the same sign:
    of two sessions that agree, t with one degree of freedom would name nothing.
    """
    each = own.of_sessions(error)
    mean = float(own.shares @ each)
    phi = np.empty(error.size)
    levels, signs = [], set()
    for (low, high), gain, square in zip(own.bounds, each, own.squares, strict=True):
        if not square > 0:
            phi[low:high] = 0.0
            continue
        p = own.power[low:high]
        influence = p * error[low:high] * (high - low) / square
        phi[low:high] = influence - mean
        if high - low > 8:
            levels.append(level_off(estimate(float(gain), influence - gain * p * p * (high - low) / square,
                                             level=0.95, sampling="serial")))
            signs.add(gain > 0)
    size = estimate(mean, phi, level=0.95, sampling="sessions", session=data.session,
                    half_weight_n=HALF_WEIGHT_S / WINDOW_S)
    size = replace(size, value=serial.value, low=serial.value - mean + size.low, high=serial.value - mean + size.high)
    agreed = min(levels) if levels and len(signs) == 1 else 0.0
    return size, max(level_off(size), min(agreed, level_off(serial)))


def gains_differ(own: Gains, error: FloatArray) -> bool:
    """Whether the gains of the sessions in an error (n,) differ by more than their serial intervals explain."""
    found = []
    for (low, high), gain, square in zip(own.bounds, own.of_sessions(error), own.squares, strict=True):
        if high - low > 8 and square > 0:
            p = own.power[low:high]
            made = estimate(float(gain), p * (error[low:high] - gain * p) * (high - low) / square, level=0.95,
                            sampling="serial")
            found.append(widened(made, ROUNDING_SHARE))
    return len(found) > 1 and unlike(found)[-1] >= NAMED_STRENGTH


def unlike(means: Sequence[Estimate]) -> tuple[float, FloatArray, float]:
    r"""Weighted mean, scores of the deviations from it, and the level at which :math:`Q = \sum z^2` excludes chance.

    z is a deviation in standard errors as a normal score of its t distribution; Q has S - 1 degrees of freedom
    (Cochran 1954, Biometrics 10:101, for Q; from memory).
    """
    values = np.array([item.value for item in means])
    weights = 1 / np.array([max(item.standard_error, 1e-12) ** 2 for item in means])
    centre = float(np.sum(weights * values) / np.sum(weights))
    scores = []
    for item in means:
        if not item.standard_error > 0:
            scores.append(0.0 if item.value == centre else math.copysign(8.0, item.value - centre))
            continue
        # The errors have few degrees of freedom.
        tail = float(special.stdtr(item.df, -abs(item.value - centre) / item.standard_error))
        scores.append(math.copysign(min(-float(special.ndtri(max(tail, 1e-300))), 38.0), item.value - centre))
    made = np.array(scores)
    return centre, made, float(special.chdtr(len(means) - 1, float(made @ made)))
