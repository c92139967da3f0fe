"""How far sizes of causes rest on the course in time beside them, which may be another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.diagnosis.windows.in_time.time_courses import Form
from agree.diagnosis.windows.least_squares import level_off
from agree.diagnosis.windows.long_windows import sizes_of
from agree.diagnosis.windows.order import Choice, Search, alike

MOST_COURSES = 12  # that are tried in place of the best, those that fit best first


class Doubt(NamedTuple):
    """Sizes and strengths of a set, whichever course is the true one; forms of the same cause that fit as well."""

    sizes: list[Estimate]
    strengths: list[float]
    forms: frozenset[Form]


def by_course(choice: Choice, sizes: Sequence[Estimate], strengths: Sequence[float], search: Search) -> Doubt:
    """Widen sizes to what they are with each course that may be the true one; strengths are the least of all.

    Limits are those of a profile likelihood: a course that fits worse by chi-squared g adds to the interval what lies
    within sqrt(t^2 - g) of its own standard errors, t being the quantile of the interval; and a size that is k of its
    standard errors with it is as far from none as sqrt(k^2 + g) are. A size of the other sign has no strength if its
    course fits within t^2. Where no course in time is among the set there is nothing to widen. The size of a drift,
    which is a mean rate whatever its form, is widened by drifts alone, that of a warm-up by warm-ups.
    """
    made, chosen = choice
    wide, least = list(sizes), list(strengths)
    if made.timed not in chosen:
        return Doubt(wide, least, frozenset())
    at, mean = chosen.index(made.timed), float(search.data.power.mean())
    forms = {made.course.form}
    for number, worse in alike(made, chosen, search.tried, search.n_eff)[:MOST_COURSES]:
        other = made.with_course(search.tried, number)
        found = sizes_of(other.free[list(chosen)], other.error, search.data, other.floor)
        if found is None:
            continue
        for j, item in enumerate(found):
            if j != at:
                wide[j] = _hull(wide[j], item, worse)
                turned = item.value * sizes[j].value <= 0 and worse < _quantile(item) ** 2
                least[j] = 0.0 if turned else min(least[j], level_off(_further(item, worse)))
        if other.course.cause == made.course.cause:
            factor = mean ** (other.course.share - made.course.share)
            wide[at] = _hull(wide[at], found[at].scaled(factor), worse)
            forms |= {other.course.form} if worse < _quantile(found[at]) ** 2 else set()
    return Doubt(wide, least, frozenset(forms))


def _quantile(item: Estimate) -> float:
    return t_quantile(item.level, item.df)


def _further(item: Estimate, worse: float) -> Estimate:
    """Estimate as far from none as it is with a course that fits worse by so much of chi-squared."""
    error = item.standard_error
    return replace(item, value=math.sqrt(item.value**2 + worse * error**2)) if error > 0 else item


def _hull(one: Estimate, other: Estimate, worse: float) -> Estimate:
    """Estimate whose interval takes in what is left of another's, of a course that fits worse."""
    left = _quantile(other) ** 2 - worse
    if not left > 0:
        return one
    half = math.sqrt(left) * other.standard_error
    return replace(one, low=min(one.low, other.value - half), high=max(one.high, other.value + half),
                   standard_error=max(one.standard_error, other.standard_error))
