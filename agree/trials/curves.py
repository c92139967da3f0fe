"""Curves that a page of trials shows: the share within against the limit, counted and normal."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from agree.core.checks import FloatArray
from agree.core.results.result import Result
from agree.estimators.trials.shares_within import normal_share
from agree.trials.meanings import counted_within
from agree.trials.scaled import ScaledErrors
from agree.verdict.error_distribution import KnownError

STEPS = 40
NORMAL_95 = 1.959964  # half-width of the middle 95 % of a normal distribution, in standard deviations


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShareCurve(Result):
    """Share of single trials within a limit, at many limits.

    Attributes
    ----------
    limit : (k,) array
        Limits, in the unit of the errors.
    counted, low, high : (k,) array
        Counted share and its limits; empty where trials are not paired.
    normal : (k,) array
        Share of normal errors.
    """

    limit: FloatArray
    counted: FloatArray
    low: FloatArray
    high: FloatArray
    normal: FloatArray


def share_curve(scaled: ScaledErrors, level: float, known: KnownError) -> ShareCurve:
    """Return the shares at 40 limits, up to twice the claim's or past the largest error."""
    largest = float(np.abs(scaled.error).max()) if scaled.error.size else 0.0
    limits = np.linspace(0, max(2 * scaled.limit, 1.05 * largest), STEPS + 1)[1:]
    normal = np.array([normal_share(scaled.errors, float(t), level).value for t in limits])
    if not scaled.error.size:
        none = np.zeros(0)
        return ShareCurve(limit=limits, counted=none, low=none, high=none, normal=normal)
    known = scaled.rounding.beside(known)
    found = [counted_within(replace(scaled, limit=float(t)), level, known) for t in limits]
    counted, low, high = (np.array([getattr(item, name) for item in found]) for name in ("value", "low", "high"))
    return ShareCurve(limit=limits, counted=counted, low=low, high=high, normal=normal)


def usual_span(scaled: ScaledErrors, bias: float, mean_of: int) -> tuple[float, float]:
    """Return where 95 % of subjects' means of so many trials lie, if errors are normal with the figures found."""
    half = NORMAL_95 * math.sqrt(scaled.errors.variance(mean_of))
    return bias - half, bias + half
