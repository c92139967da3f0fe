"""One A4 page of a trail: the answer, the error of each session in its state, each change, and a table of states."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import agree
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.words import number, percent
from agree.files.writing import json_text
from agree.report.answer_file import write_paper
from agree.report.figures.look import CAPTION, INK, SMALL
from agree.report.figures.trail_panels import draw_changes, draw_errors
from agree.report.html.parts import paragraph, region, table
from agree.report.html.shell import drawn
from agree.report.notes.sentence import note_text
from agree.report.page.head import draw_badge
from agree.report.page.paper import Paper, clipped, shortened, wrap
from agree.trail.trail import Trail

LEFT, TOP, BOTTOM = 34.0, 30.0, 30.0
ROW = 20.0            # height of one change, pt
CAUTION = ("It speaks of this device against this reference. An adjustment tried because readings were low by chance "
           "looks as if it had helped. A device that fails does not show that its model fails.")


def _span(item: Estimate, unit: str) -> str:
    value, low, high = (number(x, item.low, item.high, sign=True) for x in (item.value, item.low, item.high))
    return (f"{value} ({low} to {high}) {unit}" if math.isfinite(item.low) else f"{value} {unit}").rstrip()


def table_rows(trail: Trail) -> list[tuple[str, ...]]:
    """State, sessions, mean error, change from the state before with its answer, and what was foretold."""
    first, count = ("Part", "") if trail.notes else ("State", "Sessions")
    rows: list[tuple[str, ...]] = [(first, count, "Mean error", "Change", "Answer", "Foretold")]
    for k, item in enumerate(trail.states):
        single = item.sessions == 1 and not trail.notes  # its interval speaks of that session alone
        mean = f"{item.bias_percent.value:+.2f} %" if single else _span(item.bias_percent, "%")
        change = trail.changes[k - 1] if k else None
        told = ""
        if change is not None and math.isfinite(change.expected_percent):
            met = {True: "met", False: "not met", None: "not settled"}[change.as_expected]
            told = f"{change.expected_percent:+.2f}: {met}"
        ridden = "" if trail.notes else str(item.sessions)
        rows.append((item.state, ridden, mean, "" if change is None else _span(change.change_percent, ""),
                     "" if change is None else change.answer, told))
    return rows


def declared_texts(trail: Trail) -> list[str]:
    """Say what each change at a place chosen after looking would be, had the place been declared beforehand."""
    return [f"To {item.after}, had the place been declared beforehand: {item.answer_if_declared}, "
            f"{_span(item.if_declared, 'points')}; shown is the change for a place chosen after looking."
            for item in trail.changes if item.if_declared is not None]


def headline(trail: Trail) -> str:
    """What the badge is about, in one sentence."""
    judged = next(item for item in reversed(trail.states) if item.state == trail.judged)
    where = (f"this recording {trail.judged}" if trail.notes else
             f"{judged.sessions} session{'s' * (judged.sessions != 1)} in the state '{trail.judged}'")
    return f"Claim {trail.check.claim.text}, judged on {where}: {_span(judged.bias_percent, '%')} on average."


def compose(trail: Trail, remarks: Sequence[str] = ()) -> Paper:
    """Lay out the page."""
    paper = Paper()
    right = paper.width - LEFT
    end = draw_badge(paper, LEFT, TOP, trail.verdict)
    paper.line(end + 12, TOP + 2, "The trail of a device", 13, weight="bold")
    top = paper.lines(LEFT, TOP + 34, wrap(headline(trail), 11, right - LEFT), 11) + 8
    what = "Error of each part of the recording" if trail.notes else "Error of each session in its state"
    top = paper.line(LEFT, top, what, 9, weight="bold")
    caption = (f"Marks: {'parts' if trail.notes else 'sessions'}, with {percent(trail.check.level)} intervals from "
               "within each; disc inside the claim, diamond outside. Blue lines and shade: mean of a state with its "
               "interval between sessions. Pale band: the claim.")
    top = paper.lines(LEFT, top, wrap(caption, SMALL, right - LEFT), color=CAPTION) + 16
    low = top + 250
    draw_errors(paper.axes(LEFT + 32, top, right - LEFT - 36, low - top), trail)
    top = low + 36
    if trail.changes:
        top = _changes(paper, trail, top)
    top = _table(paper, trail, top + 8)
    for text in (*declared_texts(trail), *(note_text(note) for note in trail.notes),
                 *(note_text(note) for note in trail.check.notes
                   if isinstance(note, Note) and note.kind == "declared_otherwise"), *remarks):
        top = paper.lines(LEFT, top + 4, clipped(wrap(text, 8.5, right - LEFT), 3), 8.5)
    foot = wrap(f"{CAUTION} Made by agree {agree.__version__}.", SMALL, right - LEFT)
    paper.lines(LEFT, paper.height - BOTTOM - 10 * len(foot), foot, color=CAPTION)
    return paper


def _changes(paper: Paper, trail: Trail, top: float) -> float:
    right, names = paper.width - LEFT, 176.0
    top = paper.line(LEFT, top, "Change from state to state", 9, weight="bold")
    caption = ("Diamond: changed; disc: not changed; circle: not settled. Grey upright: what was foretold. Pale band: "
               "what counts as no change.")
    top = paper.lines(LEFT, top, wrap(caption, SMALL, right - LEFT), color=CAPTION) + 6
    shown = trail.changes[-8:]
    height = ROW * len(shown)
    draw_changes(paper.axes(LEFT + names, top, right - LEFT - names - 6, height), shown)
    for k, item in enumerate(shown):
        paper.line(LEFT, top + ROW * k + ROW / 2 - 5, shortened(f"to {item.after}", 34), SMALL)
    return top + height + 34


def _table(paper: Paper, trail: Trail, top: float) -> float:
    places = (LEFT, LEFT + 124, LEFT + 166, LEFT + 290, LEFT + 398, LEFT + 450)
    for k, row in enumerate(table_rows(trail)[:1] + table_rows(trail)[1:][-8:]):
        for x, cell, most in zip(places, row, (26, 8, 30, 26, 12, 20), strict=True):
            paper.line(x, top, shortened(cell, most), SMALL, weight="bold" if k == 0 else "normal",
                       color=INK if k else CAPTION)
        top += 12
        paper.rule(top - 1.5, LEFT, paper.width - LEFT)
    return top + 2


def _title(trail: Trail) -> str:
    return f"{trail.verdict.upper()}: {headline(trail)}"


def _html(trail: Trail, remarks: Sequence[str]) -> str:
    rows = table_rows(trail)
    head, *body = [[cell for cell, name in zip(row, rows[0], strict=True) if name] for row in rows]
    return drawn(_title(trail), compose(trail, remarks).figure,
                 [table("Each state", head, body), region("The same in words", trail.summary()),
                  *map(paragraph, remarks), paragraph(CAUTION)], json_text(trail))


def write_trail_page(trail: Trail, path: str | Path, *, remarks: Sequence[str] = ()) -> None:
    """Write the page of a trail, whole or not at all.

    Parameters
    ----------
    trail : Trail
        Of sessions in states, or of a recording that was split.
    path : str or Path
        Where to; the suffix says the form: .pdf, .svg, .png or .html. An existing file is replaced.
    remarks : sequence of str
        Further sentences for the page.

    Raises
    ------
    InputError
        Another suffix, or a place that cannot be written.
    """
    write_paper(lambda: compose(trail, remarks), _title(trail), path, lambda: _html(trail, remarks))
