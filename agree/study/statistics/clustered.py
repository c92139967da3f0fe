"""Contrasts of cell means whose readings come in clusters: athletes, or single efforts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from agree.core.checks import FloatArray
from agree.core.errors import SampleSizeError
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate

METHOD = "clusters, Satterthwaite"
MOST_RATIO = 1e4  # of cluster to residual variance: beyond, only changes within clusters count


@dataclass(frozen=True, slots=True)
class CellMeans:
    """Generalised least squares of cell means.

    means : (p,) array; inverse : (p, p) array, their covariance over the residual variance; ratio : float, variance
    between clusters over that within; rows : row numbers of each cluster; design : (n, p) array; left : (n,) residuals.
    """

    means: FloatArray
    inverse: FloatArray
    ratio: float
    rows: tuple[NDArray[np.intp], ...]
    design: FloatArray
    left: FloatArray


def cell_means(y: FloatArray, cell: NDArray[np.intp], cluster: NDArray[np.intp]) -> CellMeans:
    r"""Fit y = mean of its cell + effect of its cluster + residual, the ratio of variances by REML.

    With :math:`V_i = I + \rho 11'` in each cluster, :math:`V_i^{-1} = I - \rho/(1 + \rho n_i) 11'`. The ratio is a
    working one: contrasts are right without it, and their intervals do not rest on it (`contrast`).
    """
    design = np.eye(int(cell.max()) + 1)[cell]
    order = np.argsort(cluster, kind="stable")
    rows = tuple(np.split(order, np.flatnonzero(np.diff(cluster[order])) + 1))
    sizes = np.array([own.size for own in rows], float)
    sums = np.array([design[own].sum(axis=0) for own in rows])
    totals = np.array([y[own].sum() for own in rows])
    free = y.size - design.shape[1]

    def fit(ratio: float) -> tuple[FloatArray, FloatArray, float]:
        shrink = ratio / (1 + ratio * sizes)
        cross = design.T @ design - (sums.T * shrink) @ sums
        inverse = np.linalg.pinv(cross, rcond=1e-12)
        means = inverse @ (design.T @ y - sums.T @ (shrink * totals))
        left = y - design @ means
        inside = np.array([left[own].sum() for own in rows])
        square = float(left @ left - shrink @ inside**2)
        loss = (float(np.log1p(ratio * sizes).sum()) + float(np.linalg.slogdet(cross)[1])
                + free * math.log(max(square, 1e-300)))
        return means, inverse, loss

    ratio = 0.0
    if free > 1 and (sizes > 1).any():
        grid = np.concatenate([[0.0], np.geomspace(1e-3, MOST_RATIO, 29)])
        losses = [fit(float(value))[2] for value in grid]
        best = int(np.argmin(losses))
        ratio = float(grid[best])
        if best:
            found = optimize.minimize_scalar(lambda x: fit(float(x))[2], method="bounded", bounds=(
                float(grid[best - 1]), float(grid[min(best + 1, grid.size - 1)])))
            ratio = float(found.x)
    means, inverse, _ = fit(ratio)
    return CellMeans(means=means, inverse=inverse, ratio=ratio, rows=rows, design=design, left=y - design @ means)


def contrast(fitted: CellMeans, weights: Sequence[float] | FloatArray, level: float) -> Estimate:
    r"""Interval of a weighted sum of cell means, by what clusters say of it.

    Parameters
    ----------
    fitted : CellMeans
    weights : (p,) sequence of float
        One for each cell.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    Estimate

    Raises
    ------
    SampleSizeError
        Fewer than 2 clusters bear on the sum.

    Notes
    -----
    The variance is :math:`\sum_i (a_i' e_i)^2`, the residuals of each cluster turned so that it is unbiased if the
    working model holds, and consistent if not: :math:`a_i = D_i' B_i^{+1/2} D_i V_i^{-1} X_i M c` with
    :math:`D_i' D_i = V_i` and :math:`B_i = D_i (V_i - X_i M X_i') D_i'`. Degrees of freedom are those of a scaled chi
    square with its first two moments under the working model. A cluster that alone carries a cell leaves no residual
    there: the variance is raised by the part of the working variance that residuals cannot show (without it, 3 athletes
    of whom each had some devices only were covered in 76-87 %, with it in 93-98 %). Where every athlete has
    every cell alike, this is the t interval over athletes' own contrasts. Coverage: benchmarks/study_contrasts.py.

    References
    ----------
    Bell RM, McCaffrey DF (2002) Survey Methodology 28:169; Pustejovsky JE, Tipton E (2018) J Bus Econ Stat 36:672
    (citations from memory).

    Examples
    --------
    >>> import numpy as np
    >>> from agree.study.statistics.clustered import cell_means, contrast
    >>> error = np.array([1.0, 2.1, 0.4, 1.2, 0.9, 2.3])   # three athletes, two conditions each
    >>> fitted = cell_means(error, np.array([0, 1, 0, 1, 0, 1]), np.array([0, 0, 1, 1, 2, 2]))
    >>> found = contrast(fitted, [-1, 1], 0.95)
    >>> round(found.value, 3), round(found.low, 3), round(found.high, 3), round(found.df, 6)
    (1.1, 0.355, 1.845, 2.0)
    """
    c = np.asarray(weights, float)
    along = fitted.inverse @ c
    squares, own, through = [], [], []
    for rows in fitted.rows:
        x = fitted.design[rows]
        cover = np.eye(rows.size) + fitted.ratio
        root = np.linalg.cholesky(cover).T
        a = root.T @ _root_inverse(root @ (cover - x @ fitted.inverse @ x.T) @ root.T) @ root @ np.linalg.solve(
            cover, x @ along)
        squares.append(float(a @ fitted.left[rows]) ** 2)
        own.append(float(a @ cover @ a))
        through.append(x.T @ a)
    g, b = np.array(own), np.array(through)
    mean = g - np.einsum("ij,jk,ik->i", b, fitted.inverse, b)
    total = float(mean.sum())
    both = float((g**2).sum() - 2 * (g * (g - mean)).sum() + np.trace(np.linalg.matrix_power(
        fitted.inverse @ (b.T @ b), 2)))
    if (mean > 1e-9 * max(total, 1e-300)).sum() < 2 or not both > 0:
        raise SampleSizeError("fewer than 2 athletes or efforts bear on this contrast; expected more with both sides")
    df = total**2 / both
    se = math.sqrt(sum(squares) / min(total / float(c @ along), 1.0))
    value = float(c @ fitted.means)
    half = t_quantile(level, df) * se
    return Estimate(value=value, low=value - half, high=value + half, level=level, standard_error=se, df=df,
                    method=METHOD)


def _root_inverse(matrix: FloatArray) -> FloatArray:
    """Square root of the pseudo-inverse of a symmetric matrix."""
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    kept = values > 1e-10 * max(float(values.max()), 1e-300)
    result: FloatArray = (vectors[:, kept] / np.sqrt(values[kept])) @ vectors[:, kept].T
    return result
