"""The lowest point of a function of a few variables, found by a simplex that walks downhill."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from agree.core.checks import FloatArray


def lowest(function: Callable[[Sequence[float]], float], corners: FloatArray, *, xtol: float, ftol: float,
           most: int) -> FloatArray:
    """Return where a function is lowest near a simplex.

    Parameters
    ----------
    function : callable
        From k floats to one; infinite where it is not allowed.
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
    points: list[list[float]] = np.asarray(corners, float).tolist()  # few and short: lists are faster than arrays
    values = [function(point) for point in points]
    count = len(points) - 1
    for _ in range(most):
        order = sorted(range(count + 1), key=values.__getitem__)
        points, values = [points[k] for k in order], [values[k] for k in order]
        best, worst = points[0], points[-1]
        if values[-1] - values[0] <= ftol and all(abs(a - b) <= xtol for point in points[1:]
                                                  for a, b in zip(point, best, strict=True)):
            break
        middle = [sum(column) / count for column in zip(*points[:-1], strict=True)]
        mirrored = [2 * a - b for a, b in zip(middle, worst, strict=True)]
        value = function(mirrored)
        if value < values[0]:
            further = [3 * a - 2 * b for a, b in zip(middle, worst, strict=True)]
            beyond = function(further)
            points[-1], values[-1] = (further, beyond) if beyond < value else (mirrored, value)
        elif value < values[-2]:
            points[-1], values[-1] = mirrored, value
        else:
            outside = value < values[-1]
            nearer = [1.5 * a - 0.5 * b if outside else 0.5 * (a + b) for a, b in zip(middle, worst, strict=True)]
            between = function(nearer)
            if between <= value if outside else between < values[-1]:
                points[-1], values[-1] = nearer, between
            else:
                points[1:] = [[a + 0.5 * (b - a) for a, b in zip(best, point, strict=True)] for point in points[1:]]
                values[1:] = [function(point) for point in points[1:]]
    return np.array(points[values.index(min(values))])
