"""Slope of two traces with one response, whoever has the noise."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.bracketed_root import bracketed_root
from agree.core.interval.engine import estimate, t_quantile
from agree.core.interval.estimate import Estimate
from agree.estimators.lines.deming import deming
from agree.estimators.response.choice import Choice, line_errors
from agree.estimators.response.kernels import kernel, smoothed


def matched_slope(x: FloatArray, y: FloatArray, level: float) -> Estimate:
    r"""Deming's slope for equal errors, with limits for any share of the errors in either trace.

    Parameters
    ----------
    x, y : (n,) array
        Reference and device on an unbroken grid, both known.
    level : float
        Confidence level.

    Notes
    -----
    Errors of x alone lower the slope of y on x, :math:`S_{xy}/S_{xx}`, and leave :math:`S_{yy}/S_{xy}`, one over that
    of x on y, as it is; errors of y alone the other way round; so the true slope is between the two, whatever the
    errors' sizes and however they grow with power, if they are not those of the other trace (Frisch 1934). The limits
    are c standard errors (serial engine, slow errors allowed for) below the lower and above the higher of the two, R
    apart, with F(c + R/se) - F(-c) = level, F of Student's t: the interval covers wherever
    between them the slope is, and is no wider than that where they are far apart (Imbens & Manski 2004). No limit is
    within that of equal errors. Standard error and degrees of freedom are those of chance alone, at equal errors.

    References
    ----------
    Frisch R (1934) Statistical Confluence Analysis; Fuller WA (1987) Measurement Error Models, section 1.1.3; Imbens
    GW, Manski CF (2004) Econometrica 72:1845 (all from memory).
    """
    middle = deming(x, y, level=level, sampling="serial").slope
    dx, dy = x - x.mean(), y - y.mean()
    xx, yy, xy = float(dx @ dx), float(dy @ dy), float(dx @ dy)
    ends = [estimate(value, x.size * (dy - value * dx) * along / moment, level=level, sampling="serial", cautious=True)
            for value, along, moment in ((xy / xx, dx, xx), (yy / xy, dy, xy))]
    first, last = sorted(ends, key=lambda item: item.value)
    worst = max(first.standard_error, last.standard_error)
    c = quantile_beside((last.value - first.value) / worst if worst > 0 else 0.0, level, middle.df)
    return replace(middle, low=min(first.value - c * first.standard_error, middle.low),
                   high=max(last.value + c * last.standard_error, middle.high),
                   method=f"{middle.method}; any share of the errors in either")


def allowing_between(slope: Estimate, chosen: Choice, sharp: FloatArray, other: FloatArray, riding: FloatArray,
                     ) -> Estimate:
    """Limits that take in the slopes with all filters that fit, as with readings between those of the other trace.

    Parameters
    ----------
    slope : Estimate
        Slope with the filter on whole seconds.
    chosen : Choice
        The filter; its `ways` are those that fit as well.
    sharp, other : (n,) array
        The trace that is filtered, and the smoother one, NaN where unknown.
    riding : (n,) array
        1 where the line is fitted, else NaN.

    Notes
    -----
    A reading between two seconds mixes them, (1 - f, f), which the filter on whole seconds does not: what is left of it
    lowers the slope as noise does. The line is fitted with each f that fits, and the limits are moved by as much as the
    slope with it is further out.
    """
    if not chosen.ways or chosen.size is None:
        return slope
    lowest = highest = slope.value
    for one in chosen.ways:
        size, late, second = (replace(chosen.size, value=value, low=value, high=value, standard_error=math.nan)
                              for value in (one.size, one.delay + one.part, one.second))
        by = kernel(one.kind, size, late, second if one.second else None, one.part)
        filtered, seen = smoothed(sharp, by) * riding, other * riding
        if not (np.isfinite(filtered) & np.isfinite(seen)).any():
            continue
        found = line_errors(seen, filtered)[0] if chosen.smoother == "reference" else line_errors(filtered, seen)[0]
        if math.isfinite(found):
            lowest, highest = min(lowest, found), max(highest, found)
    return replace(slope, low=slope.low - (slope.value - lowest), high=slope.high + (highest - slope.value),
                   method=f"{slope.method}, readings between seconds allowed for")


def quantile_beside(apart: float, level: float, df: float) -> float:
    """Return c with F(c + apart) - F(-c) = level, F of Student's t: two-sided at 0, one-sided far apart.

    Examples
    --------
    >>> [round(quantile_beside(apart, 0.95, 8), 3) for apart in (0, 1, 10)]
    [2.306, 1.984, 1.86]
    """
    most = t_quantile(level, df)
    if not apart > 0:
        return most
    return bracketed_root(lambda c: float(special.stdtr(df, c + apart) - special.stdtr(df, -c)) - level, 0.0, most + 1,
                          xtol=1e-9)
