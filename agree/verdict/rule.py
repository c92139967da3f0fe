"""Three answers, never two: holds, does not hold, not settled."""

from __future__ import annotations

import math
from dataclasses import replace

from scipy import special

from agree.interval import Estimate, t_quantile

HOLDS, FAILS, OPEN = "holds", "does not hold", "not settled"


def widen(item: Estimate, u: float) -> Estimate:
    """Add a standard uncertainty that does not shrink with data.

    Combined in squares, with effective degrees of freedom by Welch & Satterthwaite (JCGM 100:2008, G.4.1), the
    added part having infinitely many.

    Examples
    --------
    >>> from agree import Estimate
    >>> from agree.verdict.rule import widen
    >>> item = Estimate(value=0.6, low=-0.3, high=1.5, level=0.95, method="t", standard_error=0.4, df=8)
    >>> wide = widen(item, 0.5)
    >>> round(wide.standard_error, 3), round(wide.df)
    (0.64, 53)
    """
    if u == 0 or not math.isfinite(item.low):
        return item
    total = math.hypot(item.standard_error, u)
    # A ratio first: fourth powers of small standard errors underflow.
    share = item.standard_error / total
    df = item.df / share**4 if share > 1e-3 else math.inf
    half = t_quantile(item.level, df) * total
    return replace(item, low=item.value - half, high=item.value + half, standard_error=total, df=df,
                   method=item.method + ", with the reference's uncertainty")


def three_way(low: float, high: float, limit: float) -> str:
    """Whether an interval lies inside -+limit, wholly outside, or across it."""
    if -limit <= low and high <= limit:
        return HOLDS
    return FAILS if low > limit or high < -limit else OPEN


def conformance_probability(value: float, u: float, limit: float) -> float:
    """Phi((T - y)/u) - Phi((-T - y)/u), after JCGM 106:2012.

    Examples
    --------
    >>> from agree.verdict.rule import conformance_probability
    >>> [round(conformance_probability(y, u, 1.5), 4) for y, u in ((0.6, 0.4), (1.2, 0.3), (0.6, 0.7))]
    [0.9878, 0.8413, 0.8994]
    """
    if not u > 0:
        return math.nan if math.isnan(u) else float(abs(value) <= limit)
    return float(special.ndtr((limit - value) / u) - special.ndtr((-limit - value) / u))


def sessions_to_settle(margin: float, session_sd: float, u_reference: float, level: float, most: int = 50) -> int | None:
    """Smallest number of sessions whose interval is narrower than the margin; None if more than `most` or never."""
    for count in range(2, most + 1):
        se = session_sd / math.sqrt(count)
        total = math.hypot(se, u_reference)
        if total == 0:
            return count
        df = (count - 1) * (total / se) ** 4 if se > 1e-6 * total else math.inf
        if t_quantile(level, df) * total <= margin:
            return count
    return None
