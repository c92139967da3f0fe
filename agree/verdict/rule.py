"""Three answers, never two: holds, does not hold, not settled."""

from __future__ import annotations

import math
from dataclasses import replace

from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.verdict.error_distribution import KnownError, interval_half_width, probability_within

HOLDS, FAILS, OPEN = "holds", "does not hold", "not settled"
RULES = ("interval", "guard 2u", "guard 1.645u", "plain")
GUARDS = {"guard 2u": 2.0, "guard 1.645u": 1.645, "plain": 0.0}  # standard uncertainties that each rule keeps clear


def widen(item: Estimate, known: KnownError) -> Estimate:
    """Add an error that does not shrink with data, by its own shape.

    The half-width h solves P(|X| <= h) = level for X = se T + the known error (`error_distribution`). Standard error
    and degrees of freedom, for guard bands and budgets, are the combined ones of JCGM 100:2008, 5.1.2 and G.4.1; they
    are not used for the interval: effective degrees of freedom would let a small u narrow that of few sessions.

    Examples
    --------
    >>> from agree import Estimate
    >>> from agree.verdict.error_distribution import KnownError
    >>> from agree.verdict.rule import widen
    >>> item = Estimate(value=0.6, low=-0.3224, high=1.5224, level=0.95, method="t", standard_error=0.4, df=8)
    >>> wide = widen(item, KnownError(rectangles=(1.0,)))
    >>> round(wide.standard_error, 3), round(wide.high - wide.value, 3)
    (0.702, 1.387)
    """
    if not known.u > 0 or not math.isfinite(item.low):
        return item
    total = math.hypot(item.standard_error, known.u)
    # A ratio first: fourth powers of small standard errors underflow.
    share = item.standard_error / total
    df = item.df / share**4 if share > 1e-3 else math.inf
    half = float(interval_half_width(item.standard_error, item.df, known, item.level))
    return replace(item, low=item.value - half, high=item.value + half, standard_error=total, df=df,
                   method=item.method + ", with the reference's uncertainty")


def three_way(low: float, high: float, limit: float) -> str:
    """Whether an interval lies inside -+limit, wholly outside, or across it."""
    if -limit <= low and high <= limit:
        return HOLDS
    return FAILS if low > limit or high < -limit else OPEN


def decide(item: Estimate, limit: float, rule: str = "interval") -> tuple[str, Note]:
    """Answer under a decision rule, and its ground.

    Parameters
    ----------
    item : Estimate
        The error with its interval, the reference's uncertainty included.
    limit : float
        The limit, positive.
    rule : {"interval", "guard 2u", "guard 1.645u", "plain"}
        ``interval``: the interval at its level lies inside or outside the limits. ``guard 2u``: the error is at least
        U = 2 u inside or outside (a wrong "holds" in at most 2.5 %; ILAC-G8:09/2019). ``guard 1.645u``: at least
        1.645 u (at most 5 %; as ISO 14253-1, from memory). ``plain``: inside or outside, whatever the uncertainty (a
        wrong "holds" in up to 50 % at the limit); it knows two answers only.

    Examples
    --------
    >>> from agree import Estimate
    >>> from agree.verdict.rule import decide
    >>> item = Estimate(value=0.9, low=0.1, high=1.7, level=0.95, method="t", standard_error=0.35, df=8)
    >>> [decide(item, 1.5, rule)[0] for rule in ("interval", "guard 2u", "guard 1.645u", "plain")]
    ['not settled', 'not settled', 'holds', 'holds']
    """
    item = deciding(item, rule)
    if not math.isfinite(item.high - item.low) and rule != "interval":
        return OPEN, Note(kind="because_no_uncertainty")
    verdict = three_way(item.low, item.high, limit)
    return verdict, Note(kind=f"because_{rule.split()[0]}", values={
        "verdict": verdict, "half": (item.high - item.low) / 2, "limit": limit})


def deciding(item: Estimate, rule: str) -> Estimate:
    """Return an estimate with the ends that decide: of its interval, or of the guard band that a rule asks for.

    Examples
    --------
    >>> from agree import Estimate
    >>> from agree.verdict.rule import deciding
    >>> item = Estimate(value=0.9, low=0.1, high=1.7, level=0.95, method="t", standard_error=0.35, df=8)
    >>> found = deciding(item, "guard 2u")
    >>> round(found.low, 3), round(found.high, 3)
    (0.2, 1.6)
    """
    if rule == "interval":
        return item
    half = GUARDS[rule] * item.standard_error if GUARDS[rule] else 0.0
    if not math.isfinite(half):
        return replace(item, low=-math.inf, high=math.inf)
    return replace(item, low=item.value - half, high=item.value + half)


def conformance_probability(value: float, u: float, limit: float) -> float:
    """Phi((T - y)/u) - Phi((-T - y)/u), after JCGM 106:2012: for a standard uncertainty that is all known and normal.

    Examples
    --------
    >>> from agree.verdict.rule import conformance_probability
    >>> [round(conformance_probability(y, u, 1.5), 4) for y, u in ((0.6, 0.4), (1.2, 0.3), (0.6, 0.7))]
    [0.9878, 0.8413, 0.8994]
    """
    return probability_within(value, limit, u, math.inf)


def sessions_to_settle(
    margin: float, session_sd: float, known: KnownError, level: float, most: int = 50
) -> int | None:
    """Smallest number of sessions whose interval is narrower than the margin; None if more than `most` or never."""
    for count in range(2, most + 1):
        if float(interval_half_width(session_sd / math.sqrt(count), count - 1, known, level)) <= margin:
            return count
    return None
