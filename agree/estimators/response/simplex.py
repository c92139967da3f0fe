"""The lowest point of a function of a few variables, found by a simplex that walks downhill."""

from __future__ import annotations

from bisect import bisect_right
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
    points, values = _in_order(points, values)
    count = len(points) - 1
    for _ in range(most):
        if values[-1] - values[0] <= ftol and all(abs(a - b) <= xtol for point in points[1:]
                                                  for a, b in zip(point, points[0], strict=True)):
            break
        worst, last = points.pop(), values.pop()
        middle = [sum(column) / count for column in zip(*points, strict=True)]
        new = [2 * a - b for a, b in zip(middle, worst, strict=True)]
        value = function(new)
        if value < values[0]:
            further = [3 * a - 2 * b for a, b in zip(middle, worst, strict=True)]
            beyond = function(further)
            if beyond < value:
                new, value = further, beyond
        elif value >= values[-1]:
            outside = value < last
            nearer = [1.5 * a - 0.5 * b if outside else 0.5 * (a + b) for a, b in zip(middle, worst, strict=True)]
            between = function(nearer)
            if not (between <= value if outside else between < last):
                best = points[0]
                points = [best, *([a + 0.5 * (b - a) for a, b in zip(best, point, strict=True)]
                                  for point in (*points[1:], worst))]
                points, values = _in_order(points, [values[0], *(function(point) for point in points[1:])])
                continue
            new, value = nearer, between
        place = bisect_right(values, value)
        points.insert(place, new)
        values.insert(place, value)
    return np.array(points[0])


def _in_order(points: list[list[float]], values: list[float]) -> tuple[list[list[float]], list[float]]:
    """Points by their values, the lowest first."""
    order = sorted(range(len(values)), key=values.__getitem__)
    return [points[k] for k in order], [values[k] for k in order]
