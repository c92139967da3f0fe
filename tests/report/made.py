"""Checks with stated figures: the story is told from fields, so that a golden text rests on no computation."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from agree import ClaimCheck, Estimate, Pairs
from agree.assessment.budget import BudgetTerm
from agree.core.results.note import Note
from agree.correction.after import After
from agree.correction.entered import Entered
from agree.correction.find import Correction
from agree.diagnosis.finding import Finding
from agree.verdict.bands import BandCheck
from tests.report.cases import check, ride


def item(value: float, half: float, **more: float) -> Estimate:
    """An estimate with a symmetric interval."""
    return Estimate(value=value, low=value - half, high=value + half, level=0.95, method="t", standard_error=half / 2.3,
                    df=8, **more)


def named(k: int, device: str = "", reference: str = "") -> dict[str, str]:
    """Names and day of session k (from 0)."""
    return {"session": str(k + 1), "device_name": device or f"pedals-{k + 1}",
            "reference_name": reference or f"crank-{k + 1}", "start": f"2026-03-{2 + 2 * k % 27:02d}T09:30:00Z"}


@cache
def base(several: bool) -> ClaimCheck:
    """A computed check of one or two sessions, whose figures are then replaced."""
    rides = [ride(60 + k, 900, faults=False, **named(k)) for k in range(2)]
    return check(rides if several else rides[0], "1.5 %", reference_uncertainty="±0.5 %")


@cache
def recordings(sessions: int, device: str, reference: str) -> tuple[Pairs, ...]:
    """One short ride, under the names and days of so many sessions."""
    one = ride(60, 900, faults=False)
    return tuple(replace(one, **named(k, device, reference)) for k in range(sessions))


def verdict_of(low: float, high: float, limit: float) -> str:
    """The three answers, spelt out."""
    if low >= -limit and high <= limit:
        return "holds"
    return "does not hold" if low > limit or high < -limit else "not settled"


def band(low: float, high: float, found: Estimate) -> BandCheck:
    """A power band with its stated error."""
    return BandCheck(low=low, high=high, seconds=280, bias=found, plain=found, joint=found, deciding=found,
                     limit_percent=1.5, verdict=verdict_of(found.low, found.high, 1.5))


def correction_of(value: float, half: float, sessions: int = 1) -> Correction:
    """A stated correction: a factor where the error is worth it."""
    scale = item(100 / (100 + value), half / 100)
    ground = (Note(kind="correction_one_session" if sessions == 1 else "correction_few_sessions", values={"least": 3}),)
    if abs(value) < 1:
        return Correction(scale=scale, kind="none", stable=None, because=ground, offset=None, action="none",
                          reason=Note(kind="correction_small", values={"percent": 0.3}))
    after = After(left_out="blocks", count=8, before_percent=abs(value), after_percent=0.2, bias=item(0.0, half))
    return Correction(scale=scale, kind="scale", stable=None, because=ground, offset=None, action="scale", factor=scale,
                      entered=Entered(scale=round(scale.value, 4), offset_w=0.0, step_percent=0.01, left_percent=0.0),
                      after=after)


def made(value: float, half: float, *, sessions: int = 1, meaning: str = "average", errors: tuple[float, ...] = (),
         odd: tuple[int, ...] = (), device: str = "", reference: str = "", withheld: str = "",
         **fields: object) -> ClaimCheck:
    """A check whose figures are those stated: mean error, bands, sessions, causes, correction and next step.

    `withheld`: the kind of ground for which each "holds" is withheld.
    """
    source = base(sessions > 1)
    found = item(value, half)
    average = replace(source.readings[0], estimate=found, decides=None, limit=1.5,
                      verdict=verdict_of(found.low, found.high, 1.5),
                      details=source.readings[0].details | {"mean_w": 200.0})
    bands = tuple(band(low, low + 80, item(value + more, 1.4 * half)) for low, more in
                  ((110.0, -0.4), (190.0, 0.0), (270.0, 0.3)))
    answers = [one.verdict for one in bands]
    whole = ("does not hold" if "does not hold" in answers else "not settled" if "not settled" in answers else "holds")
    second = replace(source.readings[1], verdict=whole, estimate=bands[0].deciding, decides=None)
    share = Estimate(value=0.83, low=0.61, high=0.94, level=0.95, method="binomial")
    single = replace(source.readings[2], estimate=share, decides=None, limit=0.95, verdict="does not hold")
    ahead = item(value, 2 * half) if sessions > 1 else None
    last = replace(source.readings[3], estimate=ahead, decides=None, limit=1.5,
                   verdict="not settled" if ahead is None else verdict_of(ahead.low, ahead.high, 1.5))
    readings = tuple(
        replace(one, verdict="not settled", because=Note(kind=withheld)) if withheld and one.verdict == "holds" else one
        for one in (average, second, single, last))
    own = tuple(item(error, 0.2) for error in errors) or tuple(item(value, 0.2) for _ in range(sessions))
    reading = next(one for one in readings if one.meaning == meaning)
    effects = None if source.effects is None else replace(
        source.effects, odd=odd, notes=tuple(Note(kind="session_odd", values={}) for _ in odd), between_sd=0.6)
    budget = tuple(BudgetTerm(name=name, u=u, unit="%", share=share) for name, u, share in (
        ("reference", 0.29, 0.9),
        ("spread between sessions" if sessions > 1 else "noise within the recording", 0.1, 0.1)))
    scale = Finding(cause="scale", role="device", size=item(value, half / 2), unit="%", percent=abs(value))
    fields = {"pairs": recordings(sessions, device, reference), "verdict": reading.verdict, "effects": effects,
              "budget": budget, "bands": bands, "limits": None, "bias": found, "response": (),
              "bias_with_faults": found, "correction": correction_of(value, half, sessions),
              "findings": (scale,) if abs(value) >= 1 else (), "notes": (),
              "next_step": Note(kind="next_other_days", values={"sessions": 2})} | fields
    return replace(source, readings=readings, meaning=meaning, session_bias=own, **fields)
