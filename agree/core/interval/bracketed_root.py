"""Where a function of one variable changes its sign, without a library of optimizers that takes long to load."""

from __future__ import annotations

import math
from collections.abc import Callable

MOST_STEPS = 200


def bracketed_root(function: Callable[[float], float], low: float, high: float, *, xtol: float = 0.0,
                   rtol: float = 1e-13) -> float:
    """Return a place between two ends where a continuous function is 0.

    Parameters
    ----------
    function : callable
        From float to float; its signs at the two ends differ, or it is 0 at one of them.
    low, high : float
        The ends, in either order.
    xtol, rtol : float
        The place is right within xtol + rtol times its size.

    Raises
    ------
    ValueError
        The signs at the ends do not differ.

    Notes
    -----
    Inverse quadratic interpolation where the last three points show it is safe, bisection elsewhere (Chandrupatla 1997,
    Adv Eng Softw 28:145, from memory).

    Examples
    --------
    >>> from agree.core.interval.bracketed_root import bracketed_root
    >>> round(bracketed_root(lambda x: x**2 - 2, 0.0, 2.0), 12)
    1.414213562373
    """
    a, b = float(low), float(high)
    fa, fb = function(a), function(b)
    if fa == 0 or fb == 0:
        return a if fa == 0 else b
    if not (fa > 0) != (fb > 0) or math.isnan(fa + fb):
        raise ValueError(f"the function must change its sign between {low:g} and {high:g}; got {fa:g} and {fb:g}")
    share = 0.5
    for _ in range(MOST_STEPS):
        at = a + share * (b - a)
        found = function(at)
        if (found > 0) == (fa > 0):
            c, fc = a, fa
        else:
            c, fc, b, fb = b, fb, a, fa
        a, fa = at, found
        best, smallest = (a, fa) if abs(fa) < abs(fb) else (b, fb)
        least = (xtol + rtol * abs(best)) / (2 * abs(b - a)) if a != b else 1.0
        if smallest == 0 or least > 0.5:
            return best
        xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
        share = 0.5
        if phi**2 < xi and (1 - phi)**2 < 1 - xi:
            share = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
        share = min(max(share, least), 1 - least)
    return best
