"""How far sizes of causes rest on the course in time beside them, which may be another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

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
    """Widen sizes to what they are with each course that fits about as well; strengths are the least of all.

    Where no course in time is among the set there is nothing to widen. A size that changes sign has no strength. The
    size of a drift, which is a mean rate whatever its form, is widened by drifts alone, that of a warm-up by warm-ups.
    """
    made, chosen = choice
    wide, least = list(sizes), list(strengths)
    if made.timed not in chosen:
        return Doubt(wide, least, frozenset())
    at, mean = chosen.index(made.timed), float(search.data.power.mean())
    fitting = alike(made, chosen, search.tried, search.n_eff)
    forms = {made.course.form}
    for number in fitting[:MOST_COURSES]:
        other = made.with_course(search.tried, number)
        found = sizes_of(other.free[list(chosen)], other.error, search.data, other.floor)
        if found is None:
            continue
        for j, item in enumerate(found):
            if j != at:
                wide[j] = _hull(wide[j], item)
                least[j] = min(least[j], level_off(item)) if item.value * sizes[j].value > 0 else 0.0
        if other.course.cause == made.course.cause:
            factor = mean ** (other.course.share - made.course.share)
            wide[at] = _hull(wide[at], found[at].scaled(factor))
            forms.add(other.course.form)
    return Doubt(wide, least, frozenset(forms))


def _hull(one: Estimate, other: Estimate) -> Estimate:
    """Estimate whose interval holds that of another too."""
    return replace(one, low=min(one.low, other.low), high=max(one.high, other.high),
                   standard_error=max(one.standard_error, other.standard_error))
