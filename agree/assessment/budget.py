"""Uncertainty budget of the mean error: which term is worth working on."""

from __future__ import annotations

import math
from dataclasses import dataclass

from agree.core.results.result import Result
from agree.verdict.error_distribution import interval_half_width
from agree.verdict.meanings import Reading
from agree.verdict.reference import ReferenceUncertainty


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BudgetTerm(Result):
    """One term: standard uncertainty in the verdict's unit and its share of the combined variance (JCGM 100, 5.1)."""

    name: str
    u: float
    unit: str
    share: float


def budget(reading: Reading, reference: ReferenceUncertainty, sessions: int) -> tuple[BudgetTerm, ...]:
    """Terms of the mean error's uncertainty, largest first."""
    if reading.estimate is None:
        return ()
    level = reading.details["mean_w"]
    terms = {("spread between sessions" if sessions > 1 else "noise within the recording"): reading.details["own_u"]}
    for number, term in enumerate(reference.terms, 1):
        name = term.name if term.name not in terms else f"{term.name} ({number})"
        terms[name] = term.at(level, reading.unit)
    total = sum(u * u for u in terms.values())
    found = (BudgetTerm(name=name, u=u, unit=reading.unit, share=u * u / total if total > 0 else math.nan)
             for name, u in terms.items())
    return tuple(sorted(found, key=lambda item: -item.u))


def reference_forbids(reading: Reading, level: float) -> bool:
    """Whether the reference alone keeps the claim from ever holding, even with an error of 0 and endless data."""
    return float(interval_half_width(0.0, math.inf, reading.known, level)) > reading.limit
