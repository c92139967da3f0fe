"""One A4 page of any answer: badge, sentence, a table of questions, labelled texts, panels, a caution."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from matplotlib.axes import Axes

import agree
from agree.report.drawing.fonts import width_of
from agree.report.figures.look import CAPTION, SMALL, mark
from agree.report.page.blocks import LABEL, LINE, clipped_line
from agree.report.page.compose import BOTTOM, GAP, LEFT, TOP
from agree.report.page.head import BADGE, SIZES, draw_badge
from agree.report.page.paper import Paper, clipped, wrap

ROW = 14.0           # height of a row of the table, pt
ASKED = 190.0        # most room of the first column, pt
MOST_TEXT = 3        # lines of one text
MOST_CAPTION = 3     # lines of a caption
BELOW, BESIDE = 26.0, 32.0  # room of an axes for its labels, pt


class Panel(NamedTuple):
    """A picture with its heading and caption; a wide one takes the whole row.

    `beside`: room for the labels at its left, pt.
    """

    heading: str
    caption: str
    draw: Callable[[Axes], None]
    wide: bool = False
    beside: float = BESIDE


class QuestionAsked(NamedTuple):
    """A row of the table: words, answer, figures, and whether it is the one the answer was asked for.

    `sign`: the answer of a claim whose mark stands before another answer.
    """

    words: str
    verdict: str
    figures: str
    asked: bool = False
    sign: str = ""


class Sheet(NamedTuple):
    """What a page and an HTML report of one answer set."""

    verdict: str
    title: str
    subtitle: str
    sentence: str
    questions: Sequence[QuestionAsked]
    texts: Sequence[tuple[str, str]]
    panels: Sequence[Panel]
    caution: str
    table_title: str = "The answers"


def draw_sheet(sheet: Sheet) -> Paper:
    """Lay out the page: what is in words first, the pictures in what is left of the height."""
    paper = Paper()
    top = _questions(paper, sheet, _head(paper, sheet))
    top = _texts(paper, sheet.texts, top)
    foot = wrap(f"{sheet.caution} Made with agree {agree.__version__}.", SMALL, paper.width - 2 * LEFT)
    bottom = paper.height - BOTTOM - LINE * len(foot)
    paper.rule(bottom - 5, LEFT, paper.width - LEFT)
    paper.lines(LEFT, bottom, foot, color=CAPTION)
    _panels(paper, sheet.panels, top + 4, bottom - 9)
    return paper


def _head(paper: Paper, sheet: Sheet) -> float:
    right, beside = paper.width - LEFT, LEFT
    if sheet.verdict:
        beside = draw_badge(paper, LEFT, TOP, sheet.verdict) + 12
    below = paper.lines(beside, TOP + 1, clipped(wrap(sheet.title, 9, right - beside, "bold"), 2), 9, "bold")
    below = paper.lines(beside, below, clipped(wrap(sheet.subtitle, SMALL, right - beside), 2), color=CAPTION)
    top = max(TOP + BADGE * bool(sheet.verdict), below) + 8
    for size in SIZES:
        lines = wrap(sheet.sentence, size, right - LEFT, "bold")
        if len(lines) <= (2 if size > SIZES[-1] else 3):
            break
    return paper.lines(LEFT, top, clipped(lines, 3), size, "bold") + 4


def _questions(paper: Paper, sheet: Sheet, top: float) -> float:
    if not sheet.questions:
        return top
    right = paper.width - LEFT
    paper.rule(top, LEFT, right)
    top = paper.line(LEFT, top + 4, sheet.table_title, 9, "bold") + 3
    first = min(max(width_of(row.words, SMALL, "bold") for row in sheet.questions) + 22, ASKED)
    second = first + max(width_of(row.verdict, SMALL, "bold") for row in sheet.questions) + 24
    marks = paper.axes(LEFT + first - 2, top, 8, ROW * len(sheet.questions))
    marks.set_axis_off()
    marks.set_xlim(0, 1)
    marks.set_ylim(len(sheet.questions), 0)
    for k, row in enumerate(sheet.questions):
        at, weight = top + ROW * k + (ROW - SMALL) / 2 - 1, "bold" if row.asked else "normal"
        if row.asked:
            paper.line(LEFT, at, "▸")
        paper.line(LEFT + 10, at, clipped_line(row.words, first - 14, weight), weight=weight)
        if row.verdict:
            mark(marks, 0.5, k + 0.5, row.sign or row.verdict, 5)
        paper.line(LEFT + first + 9, at, row.verdict, weight="bold")
        paper.line(LEFT + second, at, clipped_line(row.figures, right - LEFT - second, weight), weight=weight)
    return top + ROW * len(sheet.questions) + 5


def _texts(paper: Paper, texts: Sequence[tuple[str, str]], top: float) -> float:
    if not texts:
        return top
    right = paper.width - LEFT
    paper.rule(top, LEFT, right)
    top += 5
    label_room = min(max(width_of(label, SMALL, "bold") for label, _ in texts) + 10, LABEL)
    for label, text in texts:
        paper.line(LEFT, top, clipped_line(label, label_room - 4, "bold"), weight="bold", color=CAPTION)
        top = paper.lines(LEFT + label_room, top, clipped(wrap(text, SMALL, right - LEFT - label_room), MOST_TEXT))
    return top


def _rows(panels: Sequence[Panel]) -> list[list[Panel]]:
    rows: list[list[Panel]] = []
    for panel in panels:
        if panel.wide or not rows or rows[-1][0].wide or len(rows[-1]) == 2:
            rows.append([])
        rows[-1].append(panel)
    return rows


def _panels(paper: Paper, panels: Sequence[Panel], top: float, bottom: float) -> None:
    rows = _rows(panels)
    height = (bottom - top) / max(len(rows), 1)
    room = (paper.width - 2 * LEFT - GAP) / 2
    for j, row in enumerate(rows):
        start = top + j * height
        captions = [clipped(wrap(panel.caption, SMALL, _width(paper, row, room)), MOST_CAPTION) for panel in row]
        below = max(len(lines) for lines in captions) * LINE + 20
        for k, (panel, lines) in enumerate(zip(row, captions, strict=True)):
            left, width = LEFT + k * (room + GAP), _width(paper, row, room)
            paper.rule(start, left, left + width)
            at = paper.line(left, start + 4, panel.heading, 9, "bold")
            paper.lines(left, at, lines, color=CAPTION)
            panel.draw(paper.axes(left + panel.beside, start + below, width - panel.beside - 6,
                                  height - below - BELOW - 8))


def _width(paper: Paper, row: Sequence[Panel], room: float) -> float:
    return paper.width - 2 * LEFT if row[0].wide or len(row) == 1 else room
