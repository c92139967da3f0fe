"""Checks with stated figures: the story is told from fields, so that a golden text rests on no computation."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from agree import ClaimCheck, Estimate
from agree.assessment.budget import BudgetTerm
from tests.report.cases import check, ride


def item(value: float, half: float, **more: float) -> Estimate:
    """An estimate with a symmetric interval."""
    return Estimate(value=value, low=value - half, high=value + half, level=0.95, method="t", standard_error=half / 2.3,
                    df=8, **more)


@cache
def base(sessions: int) -> ClaimCheck:
    """A computed check, whose figures are then replaced."""
    rides = [ride(60 + k, 900, faults=False, session=str(k + 1), device_name=f"pedals-{k + 1}",
                  reference_name=f"crank-{k + 1}", start=f"2026-03-{2 + 2 * k:02d}T09:30:00Z") for k in range(sessions)]
    return check(rides if sessions > 1 else rides[0], "1.5 %", reference_uncertainty="±0.5 %")


def verdict_of(low: float, high: float, limit: float) -> str:
    """The three answers, spelt out."""
    if low >= -limit and high <= limit:
        return "holds"
    return "does not hold" if low > limit or high < -limit else "not settled"


def made(value: float, half: float, *, sessions: int = 1, meaning: str = "average", errors: tuple[float, ...] = (),
         **fields: object) -> ClaimCheck:
    """A check whose mean error, answer and sessions are those stated."""
    source = base(sessions)
    found = item(value, half)
    average = replace(source.readings[0], estimate=found, limit=1.5, verdict=verdict_of(found.low, found.high, 1.5),
                      details=source.readings[0].details | {"mean_w": 200.0})
    share = Estimate(value=0.83, low=0.61, high=0.94, level=0.95, method="binomial")
    single = replace(source.readings[2], estimate=share, limit=0.95, verdict="does not hold")
    readings = (average, source.readings[1], single, source.readings[3])
    own = tuple(item(error, 0.2) for error in errors) or source.session_bias
    reading = next(one for one in readings if one.meaning == meaning)
    effects = None if source.effects is None else replace(source.effects, odd=(), notes=(), between_sd=0.6)
    budget = tuple(BudgetTerm(name=name, u=u, unit="%", share=share) for name, u, share in (
        ("reference", 0.29, 0.9),
        ("spread between sessions" if sessions > 1 else "noise within the recording", 0.1, 0.1)))
    fields = {"effects": effects, "budget": budget} | fields
    return replace(source, readings=readings, meaning=meaning, verdict=reading.verdict, session_bias=own, **fields)
