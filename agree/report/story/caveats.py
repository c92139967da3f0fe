"""Warnings: only what changes the answer or how far it is to be trusted; those that change the answer come first."""

from __future__ import annotations

from typing import NamedTuple

from agree.assessment.claim_check import ClaimCheck
from agree.core.data.fault import NO_FAULT
from agree.core.results.note import Note
from agree.core.results.words import numbered
from agree.report.notes.pairing import merged_delay
from agree.report.notes.sentence import note_text
from agree.report.story.doubt import main_doubt
from agree.report.story.language.digits import plain
from agree.report.story.language.vocabulary import counted
from agree.verdict.rule import OPEN

WEIGHT = {"answer": 0, "trust": 1, "detail": 2}
# Why an answer "holds" was not given: the reader who sees an interval inside the claim needs this before all else.
WITHHELD = ("used_not_followed", "used_programme_untold", "used_minutes_unlike", "used_faults_untold",
            "copy_of_its_own_ride", "copy_by_hand", "faults_too_many", "faults_or_gaps_too_many", "used_too_short",
            "used_hardly_any", "used_slower", "sessions_alike")
# How the notes begin that are said as warnings.
KINDS = ("bands_not_ridden", "copy_", "declared_", "faults_", "looks_", "range_", "sessions_alike",
         "sessions_of_", "sessions_undated", "used_")


class Caveat(NamedTuple):
    """One warning, with how much it weighs: "answer", "trust" or "detail"."""

    severity: str
    text: str


def faulty_seconds(check: ClaimCheck) -> int:
    """Seconds set aside as faulty or next to a faulty second."""
    aside = check.seconds()["set_aside"]
    return sum(count for reason, count in aside.items() if reason not in NO_FAULT or reason == "beside_fault")


def caveats(check: ClaimCheck) -> tuple[Caveat, ...]:
    """Return every warning, those that change the answer first; details are not among them."""
    found = [*_withheld(check), *_faults(check), *_sessions(check), *_manner(check), *_noted(check)]
    return tuple(sorted((item for item in found if item.severity != "detail"), key=lambda item: WEIGHT[item.severity]))


def _faults(check: ClaimCheck) -> list[Caveat]:
    count = faulty_seconds(check)
    if not count:
        return []
    seconds = check.seconds()
    share = 100 * count / max(seconds["overlap"], 1)
    with_them = check.bias_with_faults.value
    part = f"{share:.0f} %" if share >= 0.5 else "under 1 %"
    told = f"{counted(count, 'faulty second')} ({part}) {'was' if count == 1 else 'were'} set aside"
    notes = (note for note in check.notes if isinstance(note, Note))
    changed = next((note for note in notes if note.kind == "verdict_with_faults"), None)
    if changed is None:
        return [Caveat("trust", f"{told}; counted in, the mean error is {plain(with_them, 1, sign=True)} %.")]
    return [Caveat("answer", f"{told}. Counted in, the mean error is {plain(with_them, 1, sign=True)} % and the "
                             f"answer is '{changed.values['verdict']}': it depends on leaving them out.")]


def _withheld(check: ClaimCheck) -> list[Caveat]:
    """Why the answer asked for is not "holds"; where it fails anyway these come later."""
    if check.verdict != OPEN:
        return []
    return [Caveat(note.severity, _sentence(note)) for note in check.notes
            if isinstance(note, Note) and note.kind in WITHHELD]


def _sessions(check: ClaimCheck) -> list[Caveat]:
    effects = check.effects
    if effects is None:
        return []
    later = effects.notes[len(effects.odd):]  # the odd sessions are the main doubt
    doubt = main_doubt(check)
    return [Caveat("trust", _sentence(note)) for note in later if _sentence(note).lower() not in map(str.lower, doubt)]


def drifts(check: ClaimCheck) -> bool:
    """Whether several sessions drift, so that longer or shorter ones would have another mean error."""
    return len(check.pairs) > 1 and any(item.cause == "drift" for item in check.findings)


def _manner(check: ClaimCheck) -> list[Caveat]:
    found = []
    if check.bias.drift:
        found.append(Caveat("trust", "the error moves within the session: how the next day reads is uncertain."))
    elif drifts(check):
        found.append(Caveat("trust", "the error drifts within each session: the mean error, and what is said of the "
                                     "next session, are true of rides as long as these."))
    if check.decision_rule != "interval":
        found.append(Caveat("trust", f"decided by the rule '{check.decision_rule}', not by the interval."))
    return found


def _noted(check: ClaimCheck) -> list[Caveat]:
    """Notes that came with the recordings; the same note on several sessions is said once."""
    found: dict[str, Caveat] = {}
    for note in check.notes:
        if isinstance(note, Note) and note.kind.startswith(KINDS) and not (
                check.verdict == OPEN and note.kind in WITHHELD):  # said first
            found.setdefault(_sentence(note), Caveat(note.severity, _sentence(note)))
    return [*found.values(), *_of_pairs(check)]


def _of_pairs(check: ClaimCheck) -> list[Caveat]:
    """Notes of the recordings of each session: one sentence for a note that several have, with their numbers."""
    found: dict[str, tuple[str, list[int]]] = {}
    late: dict[tuple[str, bool], list[tuple[int, Note]]] = {}
    for number, item in enumerate(check.pairs, 1):
        for note in item.notes:
            if not isinstance(note, Note) or note.severity == "detail":
                continue
            if note.kind == "pair_delay":
                kind = str(note.values["cause"]), float(note.values["rest_s"]) > 0
                late.setdefault(kind, []).append((number, note))
            else:
                text = (f"{note.role}: " if note.role else "") + _sentence(note)
                found.setdefault(text, (note.severity, []))[1].append(number)
    several = len(check.pairs) > 1
    for notes in late.values():
        number, first = notes[0]
        if len(notes) > 1:
            first = merged_delay([note for _, note in notes])
        found[_sentence(first)] = (first.severity, [number for number, _ in notes])
    return [Caveat(severity, f"{_which(numbers, len(check.pairs))}{text}" if several else text)
            for text, (severity, numbers) in found.items()]


def _which(numbers: list[int], count: int) -> str:
    """Say of which sessions a warning is; nothing where it is of all."""
    own = sorted(set(numbers))
    return "" if len(own) == count else f"session{'s' * (len(own) > 1)} {numbered(own)}: "


def _sentence(note: Note | str) -> str:
    text = note_text(note)
    return text if text.endswith((".", "!", "?")) else f"{text}."
