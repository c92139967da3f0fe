"""Least squares of a few columns, with the influence of each window on each coefficient."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate, t_quantile
from agree.core.interval.estimate import Estimate


class Solved(NamedTuple):
    """Coefficients (k,), residual (n,), influences (k, n), and the standard errors rounding alone may give (k,)."""

    beta: FloatArray
    rest: FloatArray
    phi: FloatArray
    rounding: FloatArray


def solve(rows: FloatArray, error: FloatArray, floor: float) -> Solved:
    """Least squares; `floor` is the scatter of window means, W, below which there is rounding and no evidence.

    Where a cause explains the error exactly, what is left is the residue of the arithmetic, which differs from
    processor to processor and may point anywhere. Scatter of `floor` in every window would give coefficients the
    variances floor^2 [(R R^T)^-1]_jj; they are added to those found.
    """
    size = np.sqrt(np.mean(rows * rows, axis=1, keepdims=True))
    size[size == 0] = 1.0
    unit = rows / size
    inverse = np.linalg.pinv(unit @ unit.T / error.size)
    beta = inverse @ unit @ error / error.size
    rest = error - beta @ unit
    rounding = floor * np.sqrt(np.diag(inverse).clip(0) / error.size) / size[:, 0]
    return Solved(beta / size[:, 0], rest, inverse @ unit * rest / size, rounding)


def widened(item: Estimate, error: float) -> Estimate:
    """Estimate whose standard error holds another one too."""
    total = math.hypot(item.standard_error, error)
    half = t_quantile(item.level, item.df) * total
    return replace(item, low=item.value - half, high=item.value + half, standard_error=total)


def at_least(item: Estimate, error: float) -> Estimate:
    """Estimate whose standard error is no less than this."""
    if not error > item.standard_error:
        return item
    half = t_quantile(item.level, item.df) * error
    return replace(item, low=item.value - half, high=item.value + half, standard_error=error)


def mixed(rows: FloatArray, k: int, rest: FloatArray) -> float:
    """Largest part of the coefficient of a row of power that the error itself may make, by being half of it.

    The power is the mean of both, so that an error of one of them alone is in it by half. With s^2 the mean square of
    what is left of the error, and V that of what the other rows leave of the power, it is s^2 / (2 V): little in a ride
    with changes, all of a scale where power rises evenly and a drift is beside it.
    """
    others = np.delete(rows, k, axis=0)
    own = rows[k] if not others.size else solve(others, rows[k], 0.0).rest
    square = float(np.mean(own * own))
    return float(np.mean(rest * rest)) / (2 * square) if square > 0 else math.inf


def coefficients(made: Solved) -> list[Estimate]:
    """Coefficients with serial intervals that rounding cannot make narrow."""
    return [widened(estimate(float(value), row, level=0.95, sampling="serial"), float(rounding))
            for value, row, rounding in zip(made.beta, made.phi, made.rounding, strict=True)]


def regress(rows: FloatArray, error: FloatArray, floor: float) -> list[Estimate]:
    """Coefficients of rows (k, n) with serial intervals."""
    return coefficients(solve(rows, error, floor))


def level_off(item: Estimate) -> float:
    """Level of the symmetric t interval that just reaches 0."""
    if not item.standard_error > 0:
        return float(item.value != 0)
    return float(2 * special.stdtr(item.df, abs(item.value) / item.standard_error) - 1)


def effective_windows(residual: FloatArray, session: NDArray[np.intp]) -> float:
    """Return n (1 - r)/(1 + r), with r the correlation of neighbouring windows, 0 to 0.9."""
    same = session[1:] == session[:-1]
    square = float(residual @ residual)
    r = float(residual[1:][same] @ residual[:-1][same]) / square if square > 0 else 0.0
    r = min(max(r, 0.0), 0.9)
    return residual.size * (1 - r) / (1 + r)
