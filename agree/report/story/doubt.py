"""The main doubt: what a reader should distrust first, and why."""

from __future__ import annotations

import math

import numpy as np

from agree.assessment.budget import reference_forbids
from agree.assessment.claim_check import ClaimCheck
from agree.core.results.note import Note
from agree.core.thresholds import MOSTLY_WITHIN
from agree.report.notes.checking import SUSPICIONS
from agree.report.notes.sentence import note_text
from agree.report.story.language.digits import first_places, plain
from agree.report.story.language.vocabulary import counted
from agree.verdict.reference import LOSS, UNTOLD, Term
from agree.verdict.rule import FAILS, HOLDS, OPEN

FEW = 5           # sessions below which an open answer is said to rest on few
MOST_OF_IT = 0.5  # share of the squared uncertainty from which a term is "most of the uncertainty"
WOULD = {HOLDS: "hold", FAILS: "not hold", OPEN: "not be settled"}
SESSIONS, WITHIN = "spread between sessions", "noise within the recording"


def stated(check: ClaimCheck) -> str:
    """Say what was stated of the reference, as "±0.5 %; drivetrain loss ±1 %"; empty if nothing was."""
    return "; ".join(f"drivetrain loss {_term(item)}" if item.name == LOSS else _term(item)
                     for item in check.reference_uncertainty.terms)


def _stated_of(check: ClaimCheck, loss: bool) -> str:
    """Say what was stated of the loss, or of the reference alone."""
    return "; ".join(_term(item) for item in check.reference_uncertainty.terms if (item.name == LOSS) == loss)


def _term(item: Term) -> str:
    rectangle = getattr(item, "shape", "rectangle") == "rectangle"
    factor = math.sqrt(3) if rectangle else 2.0
    size, unit = (item.percent, "%") if item.percent else (item.watts, "W")
    return f"±{float(f'{factor * size:.3g}'):g} {unit}" + ("" if rectangle else " (k = 2)")


def main_doubt(check: ClaimCheck) -> tuple[str, ...]:
    """Return the first doubt that applies, in order of weight, in sentences; the first one says it."""
    several = len(check.pairs) > 1
    average = next(item for item in check.readings if item.meaning == "average")
    effects = check.effects
    alike = next((note for note in check.notes if isinstance(note, Note) and note.kind == "sessions_alike"), None)
    if alike is not None:
        return (f"sessions {alike.values['sessions']} look like one ride, so they do not show how days differ.",)
    if effects is not None and effects.odd:
        return _odd(check)
    if check.budget and check.budget[0].name == UNTOLD:
        return (_source(check, UNTOLD) + ".", *_exact(check))
    if check.reference_uncertainty.terms and reference_forbids(average, check.level):
        loss = check.reference_uncertainty.main_term(average.details["mean_w"]) == LOSS
        who = "drivetrain loss" if loss else "reference"
        return (f"the {who}: at {_stated_of(check, loss)} it is too uncertain to confirm a claim of "
                f"{check.claim.text}, however long you ride.",)
    if not several:
        return ("one session says nothing about other days.", *_within(check))
    if effects is not None and effects.ageing and (not check.budget or check.budget[0].name == SESSIONS):
        return tuple(f"{note_text(note).rstrip('.')}." for note in effects.notes if note.kind == "sessions_trend")
    if _one_day(check):
        return (f"all {len(check.pairs)} sessions are of one day, so they say nothing about other days.",
                *_exact(check))
    if check.budget and check.budget[0].name == SESSIONS and check.budget[0].share > MOST_OF_IT:
        if _differ(check):
            return _sessions(check)
        if len(check.pairs) < FEW and check.reading.verdict == OPEN:
            return (f"there are only {len(check.pairs)} sessions.",)
    return _largest(check)


def _odd(check: ClaimCheck) -> tuple[str, ...]:
    odd = check.effects.odd if check.effects is not None else ()
    values = [item.value for item in check.session_bias]
    rest = [value for k, value in enumerate(values) if k not in odd]
    places = first_places((max(rest) - min(rest)) / 2)
    unit = check.claim.unit
    which = " and ".join(f"session {k + 1} ({plain(round(values[k], 2), places, sign=True)} {unit})" for k in odd)
    low, high = (plain(value, places, sign=True) for value in (min(rest), max(rest)))
    it = "it" if len(odd) == 1 else "them"
    suspicions = [item.suspicion for item in check.effects.odd_sessions] if check.effects is not None else []
    if len(odd) == 1 and suspicions == ["files exchanged"]:
        return (f"the files of session {odd[0] + 1} look exchanged: it reads {which.split('(')[1].rstrip(')')}, the "
                f"others {low} to {high} {unit}.", *_without(check, it), "Check that before you leave it out.")
    return (f"{which} {'is' if len(odd) == 1 else 'are'} far from the others ({low} to {high} {unit}).",
            *_suspected(check), *_without(check, it), f"Leave {it} out only if you find the reason, and say so.")


def _suspected(check: ClaimCheck) -> tuple[str, ...]:
    """Say what would explain an odd session, as its two files exchanged."""
    odd = check.effects.odd_sessions if check.effects is not None else ()
    words = [(item.number, SUSPICIONS[item.suspicion].removeprefix("; ")) for item in odd if item.suspicion]
    if len(odd) == 1:
        return tuple(f"{text[0].upper()}{text[1:]}." for _, text in words)
    return tuple(f"In session {number} {text}." for number, text in words)


def _without(check: ClaimCheck, it: str) -> tuple[str, ...]:
    """Say what the answer would be without the odd sessions."""
    told = next((note for note in check.notes if isinstance(note, Note) and note.kind == "without_odd"), None)
    if told is None:
        return ()
    verdict = str(told.values["verdict"])
    if verdict == check.verdict:
        return (f"Without {it} the answer is the same.",)
    return (f"Without {it} the claim would {WOULD[verdict]}.",)


def _one_day(check: ClaimCheck) -> bool:
    """Whether all sessions show one date."""
    return any(note.kind == "sessions_of_one_day" and note.values["most"] == note.values["sessions"]
               for note in check.notes if isinstance(note, Note))


def _differ(check: ClaimCheck) -> bool:
    """Whether sessions differ by more than chance within them: a spread of 0 is no doubt."""
    return check.effects is None or check.effects.between_sd > 0


def _exact(check: ClaimCheck) -> tuple[str, ...]:
    return () if check.reference_uncertainty.terms else ("The reference is taken as exact: no ± was stated for it.",)


def _within(check: ClaimCheck) -> tuple[str, ...]:
    if not check.reference_uncertainty.terms:
        return _exact(check)
    if not check.budget or not check.budget[0].share > MOST_OF_IT:
        return ()
    return (f"Within it, most of the uncertainty is {_source(check, check.budget[0].name)}.",)


def _source(check: ClaimCheck, name: str) -> str:
    if name == UNTOLD:
        return "one of the two averages over so long that it does not tell which seconds of the other are faulty"
    if name == WITHIN:
        return "the scatter within the ride"
    if name == SESSIONS:
        return "how far the sessions differ"
    if name.startswith(LOSS):
        return f"the drivetrain loss ({_stated_of(check, loss=True)})"
    return f"how exact the reference is ({_stated_of(check, loss=False)})"


def _sessions(check: ClaimCheck) -> tuple[str, ...]:
    effects, count = check.effects, len(check.pairs)
    sd = effects.between_sd if effects is not None else math.nan
    size = f" (SD {plain(sd, first_places(sd))} {check.claim.unit})" if math.isfinite(sd) else ""
    shown = [item.value for item in check.session_bias]
    if len(shown) > 1 and sd < MOSTLY_WITHIN * float(np.std(shown, ddof=1)):
        # A spread far below that of the errors shown beside it would look like a slip.
        size = (f" ({plain(min(shown), 1, sign=True)} to {plain(max(shown), 1, sign=True)} {check.claim.unit}), mostly "
                "by what changes within each of them")
    few = f", and there are only {count}" if count < FEW and check.reading.verdict == OPEN else ""
    return (f"the sessions differ from one another{size}{few}.",)


def _largest(check: ClaimCheck) -> tuple[str, ...]:
    if not check.reference_uncertainty.terms:
        return ("the reference is taken as exact: no ± was stated for it.",
                "The answer is only as good as the reference.")
    terms = [item for item in check.budget if item.name != SESSIONS or _differ(check)]
    if not terms or terms[0].name == SESSIONS:
        return _sessions(check) if _differ(check) else ("nothing stands out; the sessions agree within chance.",)
    who = _source(check, terms[0].name)
    more = f"more of the uncertainty comes from it than from the {counted(len(check.pairs), 'session')}"
    return (f"{who}: {more}." if terms[0].share > MOST_OF_IT else f"{who}.",)
