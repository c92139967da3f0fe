"""Blocks of the page in words: the four questions, doubt and warnings, cause, enter and record, provenance."""

from __future__ import annotations

from agree.assessment.claim_check import ClaimCheck
from agree.report.drawing.fonts import width_of
from agree.report.figures.look import CAPTION, INK, SMALL, mark
from agree.report.figures.questions import draw_questions
from agree.report.page.head import caption_of_questions
from agree.report.page.paper import LEADING, Paper, clean, clipped, wrap
from agree.report.story.language.names import upper_first
from agree.report.story.language.vocabulary import LONG_CAUTION
from agree.report.story.provenance import Provenance, provenance_rows
from agree.report.story.tell import Story

ROW = 20.0                  # height of a question
ASKED, ANSWER, PICTURE = 106.0, 84.0, 156.0  # widths of its columns, pt
MOST_CAVEATS = 3
LINE = LEADING * SMALL
LABEL = 102.0


def title(paper: Paper, left: float, top: float, right: float, heading: str, caption: str, most: int = 2) -> float:
    """Write a heading with a rule above and a caption below."""
    paper.rule(top, left, right)
    top = paper.line(left, top + 4, heading, 9, "bold")
    return paper.lines(left, top, clipped(wrap(caption, SMALL, right - left), most), color=CAPTION) + 1


def draw_questions_block(paper: Paper, check: ClaimCheck, story: Story, left: float, top: float) -> float:
    """Draw the four questions and return where the next block starts."""
    right = paper.width - left
    top = title(paper, left, top, right, "How far off?", caption_of_questions(check)) + 2
    ax = paper.axes(left + ASKED + ANSWER, top, PICTURE, ROW * len(story.questions))
    draw_questions(ax, check)
    marks = paper.axes(left + ASKED - 2, top, 8, ROW * len(story.questions))
    marks.set_axis_off()
    marks.set_xlim(0, 1)
    marks.set_ylim(len(story.questions), 0)
    for k, row in enumerate(story.questions):
        at = top + ROW * k + (ROW - SMALL) / 2 - 1
        weight = "bold" if row.asked else "normal"
        if row.asked:
            paper.line(left, at, "▸")
        paper.line(left + 10, at, row.words, weight=weight)
        mark(marks, 0.5, k + 0.5, row.verdict, 5)
        paper.line(left + ASKED + 9, at, row.verdict, weight="bold")
        beside = left + ASKED + ANSWER + PICTURE + 12
        paper.line(beside, at, clipped_line(row.figures, right - beside, weight), weight=weight)
    return top + ROW * len(story.questions) + 27


def clipped_line(text: str, room: float, weight: str = "normal") -> str:
    """Cut a line to its room."""
    line = clean(text)
    if width_of(line, SMALL, weight) <= room:
        return line
    return next((f"{line[:k].rstrip()}…" for k in range(len(line) - 1, 0, -1)
                 if width_of(f"{line[:k].rstrip()}…", SMALL, weight) <= room), "")


def _run_in(paper: Paper, left: float, top: float, right: float, label: str, text: str, most: int = 2) -> float:
    """One paragraph with its label in bold at its beginning."""
    indent = width_of(label, SMALL, "bold") + 7
    first = wrap(text, SMALL, right - left - indent)
    head = first[0] if first else ""
    rest = wrap(clean(text)[len(head):].strip(), SMALL, right - left) if len(first) > 1 else []
    paper.line(left, top, label, weight="bold")
    paper.line(left + indent, top, head)
    return paper.lines(left, top + LINE, clipped(rest, most - 1) if rest else [])


def draw_doubt(paper: Paper, story: Story, left: float, top: float) -> float:
    """Draw the main doubt and the warnings."""
    right = paper.width - left
    paper.rule(top, left, right)
    top = _run_in(paper, left, top + 5, right, "Main doubt", " ".join(story.doubt))
    shown = story.caveats[:MOST_CAVEATS]
    for k, item in enumerate(shown):
        more = len(story.caveats) - len(shown)
        text = upper_first(item.text)
        text += f" {more} more in the HTML." if more and k == len(shown) - 1 else ""
        top = _run_in(paper, left, top, right, "Warning", text)
    return top + 3


def draw_advice(paper: Paper, story: Story, left: float, top: float) -> float:
    """Draw what is likely wrong, what to enter and what to record, in three columns."""
    room = (paper.width - 2 * left - 24) / 3
    causes = [f"{k}. {upper_first(text)}." for k, text in enumerate(story.causes[:2], 1)]
    more = len(story.causes) - 2
    causes += [f"{more} more in the details."] if more > 0 else []
    if len(story.causes) == 1:
        causes = [causes[0][3:]]
    columns = (("Likely cause", causes or [f"{upper_first(story.no_cause)}."]),
               ("What to enter in the device", [upper_first(" ".join(story.enter))]),
               ("What to record next", [upper_first(" ".join(story.record))]))
    lows = []
    for k, (heading, texts) in enumerate(columns):
        x = left + k * (room + 12)
        low = paper.line(x, top, heading, weight="bold")
        lines = [line for text in texts for line in wrap(text, SMALL, room)]
        lows.append(paper.lines(x, low, clipped(lines, 5)))
    return max(lows) + 5


def foot_height(paper: Paper, check: ClaimCheck, provenance: Provenance, left: float) -> float:
    """Height of the foot, pt."""
    return sum(LINE * len(lines) for _, lines in _foot(paper, check, provenance, left)) + 8 + _caution(paper, left)


def _caution(paper: Paper, left: float) -> float:
    return LINE * len(wrap(LONG_CAUTION, SMALL, paper.width - 2 * left)) + 3


def _foot(paper: Paper, check: ClaimCheck, provenance: Provenance, left: float) -> list[tuple[str, list[str]]]:
    room = paper.width - 2 * left - LABEL
    rows = []
    for label, text in provenance_rows(check, provenance):
        lines = wrap(text, SMALL, room)
        if len(lines) > 2:
            lines = [lines[0], clipped_line(lines[1], room - 90) + " … (whole in the JSON)"]
        rows.append((label, lines))
    return rows


def draw_foot(paper: Paper, check: ClaimCheck, provenance: Provenance, left: float, top: float) -> None:
    """Draw where the page comes from, and what it is not."""
    right = paper.width - left
    paper.rule(top, left, right, INK, 0.8)
    top += 5
    for label, lines in _foot(paper, check, provenance, left):
        paper.line(left, top, label, weight="bold", color=CAPTION)
        top = paper.lines(left + LABEL, top, lines)
    paper.lines(left, top + 3, wrap(LONG_CAUTION, SMALL, right - left), color=CAPTION)
