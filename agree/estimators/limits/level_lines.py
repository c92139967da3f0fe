"""Least squares of errors, and of their size, on a level: coefficients with influences; over sessions too."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.over_sessions import numbered, pair_weights

MEAN_TO_SD = math.sqrt(math.pi / 2)  # of a normal error: sd over mean absolute value


class Curve(NamedTuple):
    """Coefficients (2,) on (1, u), their influences (2, n), and the residuals."""

    coefficients: FloatArray
    influence: FloatArray
    residual: FloatArray


class Trend(NamedTuple):
    """Line of the errors and of their SD, coefficients (4,) and influences (4, n) together.

    `pull`, (4, 2, S): what an offset, and a slope, of one session's errors alone does to each coefficient; None but for
    sessions.
    """

    mean: Curve
    width: Curve
    pull: FloatArray | None = None

    @property
    def coefficients(self) -> FloatArray:
        """Of the mean, then of the SD."""
        return np.concatenate((self.mean.coefficients, self.width.coefficients))

    @property
    def influence(self) -> FloatArray:
        """Of the mean, then of the SD."""
        return np.concatenate((self.mean.influence, self.width.influence))


def straight(u: FloatArray, values: FloatArray, sloped: bool = True, share: FloatArray | None = None) -> Curve:
    """Least squares of values on (1, u), or on 1; influences are the jackknife's, residual/(1 - leverage).

    With `share`, (n,) with sum 1, pairs count by it, and influences are plain.
    """
    n = u.size
    p = np.full(n, 1 / n) if share is None else share
    mean, middle = float(p @ u), float(p @ values)
    w = u - mean
    sww = float(p @ (w * w))
    slope = float(p @ (w * values)) / sww if sloped and sww > 0 else 0.0
    residual = values - middle - slope * w
    own = residual
    if share is None:
        room = 1 - 1 / n - (w * w / (n * sww) if sloped else 0)
        own = residual / np.where(room > 1e-9, room, 1)  # no room: the residual is 0 whatever was read
    by_slope = w * own / sww if sloped and sww > 0 else np.zeros(n)
    return Curve(np.array([middle - slope * mean, slope]), np.stack((own - mean * by_slope, by_slope)), residual)


def spread_curve(
    u: FloatArray, error: Curve, *, sloped: bool, parameters: int, share: FloatArray | None = None
) -> Curve:
    """SD of the errors about their line: from the absolute residuals on u, or one value with divisor n - parameters."""
    n = u.size
    p = np.full(n, 1 / n) if share is None else share
    if sloped:
        size = straight(u, np.abs(error.residual), share=share)
        # The residuals' line is estimated too: d|e| = -sign(e) (1, u) d(coefficients).
        sign = -np.sign(error.residual)
        w = u - p @ u
        pull = np.stack((np.ones(n), u)) * sign
        tilt = pull @ (p * w) / float(p @ (w * w))
        carried = np.stack((pull @ p - p @ u * tilt, tilt)) @ error.influence
        return Curve(MEAN_TO_SD * size.coefficients, MEAN_TO_SD * (size.influence + carried), size.residual)
    square = error.residual**2 * n / max(n - parameters, 1)
    sd = math.sqrt(float(p @ square))
    influence = (square - sd * sd) / (2 * sd) if sd > 0 else np.zeros(n)
    return Curve(np.array([sd, 0.0]), np.stack((influence, np.zeros(n))), error.residual)


def trend_of(
    u: FloatArray, errors: FloatArray, *, bias: bool, spread: bool, share: FloatArray | None = None
) -> Trend:
    """Both lines; `bias` and `spread` say which has a slope."""
    mean = straight(u, errors, bias, share)
    return Trend(mean, spread_curve(u, mean, sloped=spread, parameters=1 + bias, share=share))


def trend_over_sessions(
    u: FloatArray, errors: FloatArray, session: NDArray[Any], *, bias: bool, spread: bool
) -> Trend:
    r"""Both lines with sessions that count alike; influences are those of leaving out each session.

    A session's mean influence is made (S - 1)(all less all but it), the delete-one-session jackknife: few sessions, or
    one that alone has a wide range of levels, pull the line towards their own errors, and what they leave as residuals
    is too small. NaN where the rest has one level only.

    References
    ----------
    Bell RM, McCaffrey DF (2002) Surv Methodol 28:169, for the bias and the jackknife among its remedies; MacKinnon JG,
    Nielsen MO, Webb MD (2023) J Econometrics 232:272 (citations from memory).
    """
    index, sizes = numbered(session)
    whole = trend_of(u, errors, bias=bias, spread=spread, share=pair_weights(session) / u.size)
    parts = []
    for k in range(sizes.size):
        keep = index != k
        rest, labels = u[keep], np.asarray(session)[keep]
        if np.ptp(rest) > 1e-12 or not (bias or spread):
            without = trend_of(rest, errors[keep], bias=bias, spread=spread,
                               share=(pair_weights(labels) / rest.size)).coefficients
        else:
            without = np.full(4, math.nan)
        parts.append((sizes.size - 1) * (whole.coefficients - without))
    wanted = np.stack(parts, axis=1)
    wanted -= wanted.mean(axis=1, keepdims=True)  # the estimate is that of all sessions
    found = []
    for curve, rows in ((whole.mean, wanted[:2]), (whole.width, wanted[2:])):
        means = np.stack([np.bincount(index, weights=row) for row in curve.influence]) / sizes
        found.append(curve._replace(influence=curve.influence + (rows - means)[:, index]))
    return Trend(found[0], found[1], _pull(u, index, pair_weights(session) / u.size, (bias, spread)))


def _pull(u: FloatArray, index: NDArray[np.intp], p: FloatArray, sloped: tuple[bool, bool]) -> FloatArray:
    mean = float(p @ u)
    w = u - mean
    rows = []
    for has_slope in sloped:
        slope = p * w / float(p @ (w * w)) if has_slope and np.ptp(u) > 0 else np.zeros(u.size)
        rows += [p - mean * slope, slope]
    result: FloatArray = np.stack([[np.bincount(index, weights=row), np.bincount(index, weights=row * w)]
                                   for row in rows])
    return result


def sessions_df(pull: FloatArray, weights: FloatArray) -> float:
    """Degrees of freedom of a combination of coefficients, (4,): sessions less 1 if all pull alike, fewer if some do.

    With v the squares of what an offset and a slope of a session do to it, (sum v)^2 / sum v^2 - 1 (Satterthwaite), at
    least 1: a session with hardly any range tells nothing of the variance of a slope (Bell & McCaffrey 2002).
    """
    halves = [np.tensordot(weights[k:k + 2], pull[k:k + 2], axes=1) for k in (0, 2)]
    v = np.square(np.concatenate(halves)).sum(axis=0)
    total = float(v.sum())
    return max(1.0, total**2 / float(v @ v) - 1) if total > 0 else float(v.size - 1)
