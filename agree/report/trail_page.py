"""The page of a trail: the answer, its doubt, the states, the error of each session, and what each adjustment did."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from agree.core.results.words import percent
from agree.report.answer_file import write_sheet
from agree.report.figures.trail_panels import draw_changes, draw_errors
from agree.report.notes.sentence import note_text
from agree.report.page.answer_sheet import Panel, QuestionAsked, Sheet
from agree.report.story.language.digits import plain
from agree.report.story.language.names import short, upper_first
from agree.report.story.language.vocabulary import counted
from agree.report.story.provenance import Provenance, provenance_rows
from agree.report.story.tell import tell
from agree.report.texts import trail_text as told
from agree.trail.states import Change
from agree.trail.trail import Trail

MOST = 8               # states in the table and changes in the picture
NAME, NAMES = 30, 150.0  # characters of a state's name, and their room, pt
MET = {True: "as foretold", False: "not as foretold", None: "as foretold or not: not settled"}
SIGNS = {"changed": "does not hold", "not changed": "holds"}  # marks of a change: diamond, disc, else open
CAUTION = ("It speaks of this device against this reference. An adjustment tried because readings were low by chance "
           "looks as if it had helped. A device that fails does not show that its model fails.")


def sheet_of_trail(trail: Trail, remarks: Sequence[str] = (), provenance: Provenance | None = None) -> Sheet:
    """Return what the page says and shows."""
    story = tell(trail.check)
    parts = bool(trail.notes)
    texts = [("Main doubt", upper_first(" ".join(story.doubt)))]
    warnings = [*(note_text(note) for note in trail.order), *(item.text for item in story.caveats)]
    texts += [(" " if k else "Warning", upper_first(text)) for k, text in enumerate(warnings)]
    texts += [("Slow", f"State '{short(item.state, NAME)}': {', '.join(map(told.slow_text, item.slow))}.")
              for item in trail.states if item.slow]
    texts += [("Place", upper_first(note_text(note))) for note in trail.notes]
    texts += [(" ", text) for text in declared_texts(trail)]
    texts += [("To record", upper_first(told.to_record(trail))), *(("Remark", text) for text in remarks)]
    texts += provenance_rows(trail.check, provenance or Provenance())[:-1]  # the foot says what it was made with
    what = "part of the recording" if parts else "session in its state"
    level = percent(trail.check.level)
    panels = [Panel(f"Error of each {what}", f"Marks: {'parts' if parts else 'sessions'}, with {level} intervals from "
                    "within each; disc inside the claim, diamond outside. Blue lines and shade: mean of a state with "
                    "its interval between sessions, without the reference's own uncertainty. Pale band: the claim.",
                    partial(draw_errors, trail=trail), wide=True)]
    if trail.changes:
        shown = trail.changes[-MOST:]
        panels.append(Panel("Change from state to state", "Diamond: changed; disc: not changed; circle: not settled. "
                            "Grey upright: what was foretold. Pale band: what counts as no change.",
                            partial(draw_changes, changes=shown), wide=True, beside=NAMES))
    count = counted(len(trail.states), "part" if parts else "state")
    ridden = "" if parts else f"{counted(sum(item.sessions for item in trail.states), 'session')} in "
    return Sheet(trail.verdict, f"The trail of a device: {told.judged_on(trail)}", f"{ridden}{count}",
                 story.sentence, state_rows(trail), texts, panels, CAUTION,
                 "The parts and what changed" if parts else "The states and what changed")


def state_rows(trail: Trail) -> list[QuestionAsked]:
    """Each state, the newest of many: its mean error, the change from the state before, and what was foretold."""
    first = max(len(trail.states) - MOST, 0)
    judged = max(k for k, item in enumerate(trail.states) if item.state == trail.judged)
    rows = []
    for k, item in enumerate(trail.states[first:], first):
        figures = told.state_text(item, whole=False, parts=bool(trail.notes)).partition(";")[0]
        change = trail.changes[k - 1] if k else None
        if change is not None:
            figures += f"; {told.points(change.change_percent)}{_foretold(change)}"
        answer = "" if change is None else change.answer
        rows.append(QuestionAsked(short(item.state, NAME), answer, figures, k == judged,
                                  SIGNS.get(answer, "not settled") if answer else ""))
    return rows


def _foretold(change: Change) -> str:
    if not math.isfinite(change.expected_percent):
        return ""
    return f"; {MET[change.as_expected]} ({plain(change.expected_percent, 2, sign=True)})"


def declared_texts(trail: Trail) -> list[str]:
    """Say what each change at a place chosen after looking would be, had the place been declared beforehand."""
    return [f"To {item.after}, had the place been declared beforehand: {item.answer_if_declared}, "
            f"{told.points(item.if_declared)}; shown is the change for a place chosen after looking."
            for item in trail.changes if item.if_declared is not None]


def write_trail_page(trail: Trail, path: str | Path, *, remarks: Sequence[str] = (),
                     provenance: Provenance | None = None) -> None:
    """Write the page of a trail, whole or not at all.

    Parameters
    ----------
    trail : Trail
        Of sessions in states, or of a recording that was split.
    path : str or Path
        Where to; the suffix says the form: .pdf, .svg, .png or .html. An existing file is replaced.
    remarks : sequence of str
        Further sentences for the page.
    provenance : Provenance, optional
        What the tester states, and the command.

    Raises
    ------
    InputError
        Another suffix, or a place that cannot be written.
    """
    write_sheet(sheet_of_trail(trail, remarks, provenance), path, trail.to_dict())
