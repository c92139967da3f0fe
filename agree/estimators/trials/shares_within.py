"""Share of trials, or of subjects' means, within a limit: counted, or from normal errors."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.estimators.trials.unweighted import SubjectErrors

POINTS = 2039     # a prime: a rank-1 lattice of so many points stands for draws, without random numbers
GENERATOR = 883   # of Korobov's lattice (1, a, a^2, ...): least P2 in 4 and 5 dimensions together


def binomial_limits(share: float, number: float, level: float) -> tuple[float, float]:
    """Exact limits (Clopper & Pearson 1934) of a share of an effective number, which need not be whole."""
    hit, missed, tail = share * number, (1 - share) * number, (1 - level) / 2
    low = 0.0 if share <= 0 else float(special.betaincinv(hit, missed + 1, tail))
    high = 1.0 if share >= 1 else float(special.betaincinv(hit + 1, missed, 1 - tail))
    return low, high


def effective_trials(errors: SubjectErrors) -> float:
    """Number of independent trials worth as much as these: sigma^2 S/V, between S and N."""
    if errors.of_means <= 0:
        return float(errors.n)
    return float(min(max(errors.variance() * errors.subjects / errors.of_means, errors.subjects), errors.n))


def counted_share(
    error: FloatArray, limit: FloatArray, subject: NDArray[np.intp], errors: SubjectErrors, level: float,
    shift: FloatArray | float = 0.0, step: FloatArray | float = 0.0,
) -> Estimate:
    """Share of single trials within their limits, each subject weighed alike; no shape of the errors is assumed.

    An error of readings in whole steps stands for all within half a step of it, of which some are outside a limit that
    cuts the step. For the low end such a trial counts by the part of its step that is within, if it is within itself;
    for the high end it counts whole.

    Parameters
    ----------
    error, limit : (n,) array
        Error of each trial and the limit at its level.
    subject : (n,) array of int
        Numbers of the subjects, from 0.
    errors : SubjectErrors
        Of the errors in units of the limit.
    level : float
        Confidence level.
    shift : float or (n,) array
        Half-width of the reference's own error, which all trials share: the widest limits of none, this and its
        opposite are taken.
    step : float or (n,) array
        Step that the readings are rounded to; 0 if they are not.
    """
    number = effective_trials(errors)
    size = np.bincount(subject)
    ends, share = [], math.nan
    for k in (0.0, -1.0, 1.0) if np.any(shift) else (0.0,):
        moved = error + k * shift
        inside = (np.abs(moved) <= limit).astype(float)
        part = _part_within(moved, limit, step) if np.any(step) else inside
        perhaps = (np.abs(moved) - np.asarray(step) / 2 <= limit).astype(float)
        own, fewest, most = (float((np.bincount(subject, weights=w) / size).mean())
                             for w in (inside, np.minimum(inside, part), perhaps))
        share = own if k == 0 else share
        ends.append((binomial_limits(fewest, number, level)[0], binomial_limits(most, number, level)[1]))
    return Estimate(value=share, low=min(low for low, _ in ends), high=max(high for _, high in ends), level=level,
                    method=f"counted, binomial, {number:.0f} effective of {error.size} trials")


def _part_within(error: FloatArray, limit: FloatArray, step: FloatArray | float) -> FloatArray:
    """Part of the step around each error that lies within the limit."""
    half = np.broadcast_to(np.asarray(step, dtype=float) / 2, error.shape)
    inside = np.minimum(error + half, limit) - np.maximum(error - half, -limit)
    result: FloatArray = np.clip(inside / np.where(half > 0, 2 * half, 1.0), 0.0, 1.0)
    return result


@cache
def _lattice(dimensions: int) -> FloatArray:
    vector = np.ones(dimensions)
    for k in range(1, dimensions):
        vector[k] = vector[k - 1] * GENERATOR % POINTS
    result: FloatArray = (np.outer(vector, np.arange(POINTS)) + 0.5) / POINTS % 1.0
    return np.clip(result, 0.5 / POINTS, 1 - 0.5 / POINTS)


@cache
def _turned(dimensions: int, row: int, df: float) -> FloatArray:
    """Values of df/chi-square at one coordinate of the lattice: they do not depend on the data."""
    return np.asarray(df / special.chdtri(df, _lattice(dimensions)[row]), dtype=np.float64)


def normal_share(
    errors: SubjectErrors, limit: float, level: float, mean_of: int = 1, u: float = 0.0,
    rectangles: tuple[float, ...] = (),
) -> Estimate:
    r"""Share of new subjects whose mean of M trials errs by at most `limit`, if errors are normal.

    Generalised pivots: with :math:`V^* = V (S-1)/\chi^2`, likewise the mean squares within, and
    :math:`\beta^* = \bar d - Z \sqrt{V^*/S} + u Z' + \sum a_i U_i`, the limits are quantiles of
    :math:`\Phi((T - \beta^*)/\sigma^*) - \Phi((-T - \beta^*)/\sigma^*)` over a lattice of 2,039 points.

    Parameters
    ----------
    errors : SubjectErrors
        Of errors on a scale with one limit for all.
    limit : float
        T, positive.
    level : float
        Confidence level.
    mean_of : int
        M, 1 or more.
    u : float
        Standard deviation of the normal part of the reference's own error, which subjects share.
    rectangles : tuple of float
        Half-widths of its rectangular parts.

    References
    ----------
    Krishnamoorthy K, Mathew T (2009) Statistical Tolerance Regions (citation from memory).
    """
    parts = errors.parts(mean_of)
    points = _lattice(len(parts) + 2 + len(rectangles) if u > 0 or rectangles else len(parts) + 1)
    tails = (1 - level) / 2
    drawn = [part.square * _turned(len(points), row, part.df) for row, part in enumerate(parts)]
    variance = sum(part.coefficient * square for part, square in zip(parts, drawn, strict=True))
    variance = np.maximum(variance, sum(drawn[1:], start=np.zeros(POINTS)) / mean_of)
    bias = errors.bias - special.ndtri(points[len(parts)]) * np.sqrt(drawn[0] / errors.subjects)
    if u > 0 or rectangles:
        bias = bias + u * special.ndtri(points[len(parts) + 1])
        for half, row in zip(rectangles, points[len(parts) + 2:], strict=True):
            bias = bias + half * (2 * row - 1)
    low, high = np.quantile(_inside(bias, np.sqrt(variance), limit), [tails, 1 - tails])
    value = float(_inside(np.array(errors.bias), np.array(math.hypot(math.sqrt(errors.variance(mean_of)), 0.0)), limit))
    return Estimate(value=value, low=min(float(low), value), high=max(float(high), value), level=level,
                    method="normal errors, generalised pivots")


def _inside(bias: FloatArray, sd: FloatArray, limit: float) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        share = special.ndtr((limit - bias) / sd) - special.ndtr((-limit - bias) / sd)
    result: FloatArray = np.where(sd > 0, share, (np.abs(bias) <= limit).astype(float))
    return result
