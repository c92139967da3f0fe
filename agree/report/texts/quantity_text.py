"""Checks of a quantity as text: both answers side by side, the one that counts first."""

from __future__ import annotations

import math
import textwrap

import numpy as np

from agree.core.results.note import Note
from agree.core.results.words import clock_of, estimate_text, pace_text, summary
from agree.quantities.check import QuantityCheck
from agree.quantities.doubts.what_next import NEXT
from agree.report.notes.sentence import note_text
from agree.report.story.language.names import upper_first
from agree.report.texts.trials_text import INDENT, WIDTH, lines_of, share_text
from agree.verdict.meanings import Reading

KINDS = {"cadence_lock": "locked to the cadence", "half_or_double": "half or double counts",
         "lost_contact": "contact lost or one value held", "dropout": "dropouts", "spike": "jumps",
         "cough": "coughs or other jumps",
         "side_lost": "a side lost", "sides_exchanged": "sides exchanged"}


def figure(item: Reading) -> str:
    """Return what was found for a meaning."""
    if item.estimate is None:
        return "-"
    return share_text(item.estimate) if item.unit == "share" else estimate_text(
        item.estimate, sign=item.meaning != "mean_absolute")


def _cells(name: str, first: Reading, second: Reading | None) -> tuple[list[str], list[str]]:
    """Return both lines of a meaning: its answers, and its figures below them."""
    answers = [item.verdict if item else "-" for item in (first, second)]
    figures = [figure(item) if item else "" for item in (first, second)]
    return [name, *answers], ["", *figures]


def _table(rows: list[list[str]], width: int) -> list[str]:
    """Set columns as wide as what they hold, two blanks apart; one beneath the other where that is too wide."""
    wide = [max(len(row[k]) for row in rows) for k in (0, 1)]
    beside = [f"{a:<{wide[0]}}  {b:<{wide[1]}}  {c}".rstrip() for a, b, c in rows]
    if max(map(len, beside)) <= width:
        return beside
    beneath = []
    for (name, *answers), (_, *figures) in zip(rows[1::2], rows[2::2], strict=True):
        beneath += textwrap.wrap(name.strip() if name.startswith(" ") else name, width, subsequent_indent=INDENT)
        for head, answer, found in zip(rows[0][1:], answers, figures, strict=True):
            beneath += textwrap.wrap(f"{head}: {answer} {found}".rstrip(), width, initial_indent=INDENT,
                                     subsequent_indent=2 * INDENT)
    return beneath


def headline(check: QuantityCheck) -> str:
    """Return the answer in one sentence."""
    how = {"device": "as worn", "clock": "clocks lined up", "unknown": "delay or clocks: unknown"}[check.belongs_to]
    return f"{check.verdict.upper()} ({how}): {answer_words(check)}"


def answer_words(check: QuantityCheck) -> str:
    """Return what was asked of which device, and whether it is so."""
    what = {"average": "the mean error", "readings": f"{check.window_s}-s means",
            "next_session": "the next session", "mean_absolute": "the mean absolute error"}[check.meaning]
    device = check.overlays[0].device_name
    limit, shares = check.claim.text, check.meaning == "readings"
    said = {"holds": "are within" if shares else "is within", "does not hold": "are within" if shares else
            "is not within", "not settled": "may or may not be within"}[check.verdict]
    end = {"holds": " in at least 95 %", "does not hold": " in fewer than 95 %",
           "not settled": " in 95 %"}[check.verdict] if shares else ""
    why = [upper_first(note_text(note)) for note in check.notes if note.severity == "answer"]
    return " ".join([f"{device}: {what} {said} {limit}{end}.", *why])


def _seconds(value: float) -> str:
    return f"{round(value, 1) + 0.0:.1f}"  # + 0.0: no "-0.0"


def _delay(check: QuantityCheck) -> str:
    if math.isnan(check.lag_s):
        return "cannot be told; the traces change too differently."
    se = max(delay.se_s for delay in check.delays)
    stated = check.delays[0].stated
    owner = {"device": "the device's, as stated: it counts" if stated else
             "the device's: its clock and the reference's are absolute, so it counts",
             "clock": "a difference of the clocks, as stated" if stated else "taken for a difference of the clocks",
             "unknown": "the device's or the clocks': not known" + (
                 "" if stated or check.as_recorded.verdict == check.verdict else "; state --delay device or clock")}
    size = f"{_seconds(check.lag_s)} s" if se == 0 else f"{_seconds(check.lag_s)} ± {1.96 * se:.1f} s"
    return f"{size}, {owner[check.belongs_to]}."


def _times(count: int) -> str:
    return "once," if count == 1 else f"{count} times, first"


def _faults(check: QuantityCheck) -> str:
    every = [fault for session in check.faults for fault in session]
    by_kind = {words: [fault for fault in every if fault.kind == kind] for kind, words in KINDS.items()}
    found = [f"{words} {sum(fault.seconds for fault in own)} s ({_times(len(own))} at {clock_of(own[0].start_s)})"
             for words, own in by_kind.items() if own]
    return ("; ".join(found) if found else "none found") + "." + _counted(check)


def _counted(check: QuantityCheck) -> str:
    """Return which faulty seconds are in the figures: those in which both have a reading."""
    inside = outside = 0
    for item, faults in zip(check.overlays, check.faults, strict=True):
        faulty = np.zeros(item.device.size, bool)
        for fault in faults:
            faulty[fault.start_s:fault.start_s + fault.seconds] = True
        read = np.isfinite(item.device) & np.isfinite(item.reference)
        inside, outside = inside + int((faulty & read).sum()), outside + int((faulty & ~read).sum())
    if inside and outside:
        return f" {inside} s of these are in all figures; {outside} s have no reading and are in none."
    if outside:
        return " These seconds have no reading and are in no figure."
    return " These seconds are in all figures." if inside else ""


def asked(check: QuantityCheck) -> list[tuple[str, str]]:
    """Return the meanings that are shown, with their words."""
    unit = check.claim.unit
    names = {"readings": f"{check.window_s}-s means within", "average": f"mean error, {unit}",
             "next_session": f"next session, {unit}", "mean_absolute": f"mean absolute error, {unit}"}
    return [(name, words) for name, words in names.items() if name in ("readings", "average", check.meaning)
            or (name == "next_session" and len(check.overlays) > 1)]


def told(check: QuantityCheck, *, limits: bool = True) -> list[tuple[str, str]]:
    """Return what the answer rests on, label by label; limits of agreement may be left out."""
    found = check.decides.limits if limits else None
    pace = check.decides.pace if limits else None
    spread = ""
    if pace is not None:
        spread = (f" Limits of agreement of {check.window_s}-s means, at {pace_text(pace.at, pace.unit)}: "
                  f"{estimate_text(pace.lower, sign=True)} to {estimate_text(pace.upper, sign=True)} "
                  f"{pace.difference_unit} (minus: faster).")
    elif found is not None:
        spread = (f" Limits of agreement of {check.window_s}-s means: {estimate_text(found.lower, sign=True)} to "
                  f"{estimate_text(found.upper, sign=True)} {check.quantity.difference_unit}.")
    sessions = len(check.overlays)
    many = "s" if sessions > 1 else ""
    data = f"{sessions} session{many}, {clock_of(check.decides.seconds)}."
    label = check.quantity.label
    return [("Delay", _delay(check)), ("Faults", _faults(check)),
            (label[0].upper() + label[1:], data + spread)]


def label_of(note: Note) -> str:
    """Return what a note's line begins with."""
    return "Next" if note.kind.startswith(NEXT) else "Mind"


def minded_of(check: QuantityCheck) -> list[Note]:
    """Return the notes that the answer's own sentence does not say."""
    return [note for note in check.notes if note.severity != "answer"]


@summary.register
def quantity_text(check: QuantityCheck, width: int = WIDTH) -> str:
    """Return a check of a quantity as text of at most 16 lines, or as much in narrower ones."""
    most = lines_of(width)
    first, second = check.as_recorded, check.taken_out
    lines = textwrap.wrap(headline(check), width)
    lag = "" if math.isnan(check.lag_s) else f" of {_seconds(check.lag_s)} s"
    rows = [["", "as recorded", f"delay{lag} taken out"]]
    for meaning, name in asked(check):
        rows += _cells(("> " if meaning == check.meaning else "  ") + name, first.of(meaning),
                       second.of(meaning) if second else None)
    lines += ["", *_table(rows, width), ""]
    minded = sorted(minded_of(check), key=lambda note: (not note.kind.startswith(NEXT), note.severity != "trust"))
    notes = [(note, _wrapped([(label_of(note), note_text(note))], width)) for note in minded]
    first_of_all = sum(len(wrapped) for note, wrapped in notes if note.kind.startswith(NEXT))
    weighty = sum(len(wrapped) for note, wrapped in notes if note.severity == "trust")
    facts = _wrapped(told(check), width)
    if len(lines) + len(facts) + weighty > most:  # what changes trust comes before a figure that JSON has too
        short = told(check, limits=False)
        facts = _wrapped(short, width)
        while len(lines) + len(facts) + first_of_all > most and short:  # why nothing "holds" took the room
            facts = _wrapped(short := short[:-1], width)
    lines += facts
    for _, wrapped in notes:
        if len(lines) + len(wrapped) <= most:
            lines += wrapped
    return "\n".join(lines)


def _wrapped(texts: list[tuple[str, str]], width: int) -> list[str]:
    return [line for label, text in texts
            for line in textwrap.wrap(f"{label}: {text}", width, subsequent_indent="  ")]
