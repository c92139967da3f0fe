"""The lowest point of a function of a few variables, found by a simplex that walks downhill."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from agree.core.checks import FloatArray


def lowest(function: Callable[[FloatArray], float], corners: FloatArray, *, xtol: float, ftol: float,
           most: int) -> FloatArray:
    """Return where a function is lowest near a simplex.

    Parameters
    ----------
    function : callable
        From (k,) to float; infinite where it is not allowed.
    corners : (k + 1, k)
        The simplex to begin with.
    xtol, ftol : float
        It stops when all corners are as near to the best one, in every variable and in value.
    most : int
        Largest number of steps.

    Notes
    -----
    Reflection 1, expansion 2, contraction 1/2, shrinkage 1/2 (Nelder & Mead 1965, Comput J 7:308; the two kinds of
    contraction as in Lagarias et al. 1998, SIAM J Optim 9:112; both from memory).

    Examples
    --------
    >>> import numpy as np
    >>> from agree.estimators.response.simplex import lowest
    >>> found = lowest(lambda x: (x[0] - 1) ** 2 + (x[1] + 2) ** 2, np.array([[0, 0], [1, 0], [0, 1.0]]),
    ...                xtol=1e-6, ftol=1e-12, most=300)
    >>> (found.round(4) + 0.0).tolist()
    [1.0, -2.0]
    """
    points = np.array(corners, float)
    values = np.array([function(point) for point in points])
    for _ in range(most):
        order = np.argsort(values, kind="stable")
        points, values = points[order], values[order]
        if np.abs(points[1:] - points[0]).max() <= xtol and np.abs(values[0] - values[1:]).max() <= ftol:
            break
        middle, worst = points[:-1].mean(axis=0), points[-1]
        mirrored = 2 * middle - worst
        value = function(mirrored)
        if value < values[0]:
            further = 3 * middle - 2 * worst
            beyond = function(further)
            points[-1], values[-1] = (further, beyond) if beyond < value else (mirrored, value)
        elif value < values[-2]:
            points[-1], values[-1] = mirrored, value
        else:
            outside = value < values[-1]
            nearer = 1.5 * middle - 0.5 * worst if outside else 0.5 * (middle + worst)
            between = function(nearer)
            if between <= value if outside else between < values[-1]:
                points[-1], values[-1] = nearer, between
            else:
                points[1:] = points[0] + 0.5 * (points[1:] - points[0])
                values[1:] = [function(point) for point in points[1:]]
    best: FloatArray = points[int(np.argmin(values))]
    return best
