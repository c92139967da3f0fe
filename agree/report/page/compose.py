"""The page put together: what is in words first, the pictures in what is left of the height."""

from __future__ import annotations

import io
from typing import Any

import agree
from agree.assessment.claim_check import ClaimCheck
from agree.assessment.single_readings import Readings, readings_of
from agree.report.drawing.pdf import pdf_of
from agree.report.drawing.svg import svg_of
from agree.report.figures.bands import draw_averaging, draw_bands
from agree.report.figures.look import CAPTION
from agree.report.figures.over_time import draw_time
from agree.report.figures.questions import chosen_sessions, draw_sessions
from agree.report.page.blocks import (
    LINE,
    clipped_line,
    draw_advice,
    draw_doubt,
    draw_foot,
    draw_questions_block,
    foot_height,
    title,
)
from agree.report.page.head import draw_head
from agree.report.page.paper import Paper
from agree.report.story.answer import claim_in_range
from agree.report.story.language.vocabulary import counted, duration
from agree.report.story.provenance import Provenance
from agree.report.story.rows import SessionRow
from agree.report.story.tell import Story, tell

LEFT, TOP, BOTTOM = 34.0, 30.0, 26.0   # margins, pt
GAP = 26.0                             # between the two pictures of a row
WIDE = 318.0                           # width of the left one
RANGE_SHARE = 0.56                     # of the height left to pictures, for the row of the range
MOST_SESSIONS = 10                     # rows of sessions; beyond, the furthest six
FURTHEST = 6
PNG_DPI = 150


def draw_page(check: ClaimCheck, provenance: Provenance) -> Paper:
    """Lay out the page."""
    paper, story = Paper(), tell(check)
    readings = readings_of(check)
    top = draw_head(paper, check, story, LEFT, TOP)
    top = draw_questions_block(paper, check, story, LEFT, top)
    top = draw_advice(paper, story, LEFT, draw_doubt(paper, story, LEFT, top))
    bottom = paper.height - BOTTOM - foot_height(paper, check, provenance, LEFT)
    draw_foot(paper, check, provenance, LEFT, bottom)
    bottom -= 4
    if len(check.pairs) > 1:
        rows = chosen_sessions(check, MOST_SESSIONS if len(check.pairs) <= MOST_SESSIONS else FURTHEST)
        bottom -= _sessions_height(rows, len(check.pairs))
        _draw_sessions(paper, check, story, rows, bottom)
    middle = top + RANGE_SHARE * (bottom - top)
    _draw_range(paper, check, readings, top, middle)
    _draw_time(paper, check, readings, middle, bottom)
    return paper


def _draw_range(paper: Paper, check: ClaimCheck, readings: Readings, top: float, bottom: float) -> None:
    right = paper.width - LEFT
    beside = LEFT + WIDE + GAP
    ax = paper.axes(LEFT + 26, top + 44, WIDE - 28, bottom - top - 44 - 26)
    beyond = draw_bands(ax, check, readings)
    told = (f" {beyond} of {counted(readings.percent.size, 'reading')} {'lies' if beyond == 1 else 'lie'} beyond the "
            "frame." if beyond else "")
    title(paper, LEFT, top, LEFT + WIDE, "Where in the range?",
          f"Small: {check.window_s}-s readings. Large: mean error of each power band, with the interval that decides."
          + told)
    title(paper, beside, top, right, "Over how long an average?",
          "Share of readings inside the claim. Blue: the "
          f"95 % needed. Upright: the {check.window_s} s asked.")
    draw_averaging(paper.axes(beside + 28, top + 44, right - beside - 32, bottom - top - 44 - 26), check)


def _draw_time(paper: Paper, check: ClaimCheck, readings: Readings, top: float, bottom: float) -> None:
    right = paper.width - LEFT
    start, end = top + 42, bottom - 26
    strip_height = 0.2 * (end - start)
    strip = paper.axes(LEFT + 26, start, right - LEFT - 30, strip_height)
    ax = paper.axes(LEFT + 26, start + strip_height + 6, right - LEFT - 30, end - start - strip_height - 6)
    beyond = draw_time(ax, strip, check, readings)
    faulty = any(item.faults for item in check.pairs)
    parts = [f"{check.window_s}-s readings; 1 = the limit of the claim. Upper strip: power of the reference, W."]
    if faulty:
        parts.append("Marks at the foot: faulty seconds, not used (hatched if 20 s or longer).")
    if beyond:
        parts.append(f"Triangles: {beyond} of {readings.claims.size:,} beyond the frame.")
    title(paper, LEFT, top, right, "Over time?", " ".join(parts))


def _row_height(count: int) -> float:
    return 11.5 if count < 6 else 10.4


def _sessions_height(rows: list[SessionRow], total: int) -> float:
    return 4 + 12 + LINE + _row_height(len(rows)) * (len(rows) + 2) + 26 + (LINE if len(rows) < total else 0)


def _draw_sessions(paper: Paper, check: ClaimCheck, story: Story, rows: list[SessionRow], top: float) -> None:
    """Draw the table of sessions and their picture beside it, row by row."""
    right, table = paper.width - LEFT, 330.0
    paper.rule(top, LEFT, right)
    top = paper.line(LEFT, top + 4, "By session?", 9, "bold")
    places = (LEFT, LEFT + 15, LEFT + 78)
    ends = (LEFT + 256, LEFT + 288, LEFT + table - 2)
    for x, text in zip(places[1:], ("date", "file of the device"), strict=True):
        paper.line(x, top, text, color=CAPTION)
    for x, text in zip(ends, ("used", "faulty", f"error, {check.claim.unit}"), strict=True):
        paper.line(x, top, text, ha="right", color=CAPTION)
    paper.line(LEFT + table + 8, top, "dot and thin line: one session by itself", color=CAPTION)
    top += LINE + 1
    height = _row_height(len(rows))
    ax = paper.axes(LEFT + table + 8, top, right - LEFT - table - 12, height * (len(rows) + 2))
    draw_sessions(ax, check, rows)
    for k, row in enumerate(rows):
        at = top + height * k + (height - 7.5) / 2 - 1
        weight = "bold" if row.odd else "normal"
        paper.line(places[0], at, str(row.number), weight=weight)
        paper.line(places[1], at, clipped_line(row.date, 60, weight), weight=weight)
        paper.line(places[2], at, clipped_line(row.device, ends[0] - places[2] - 38, weight), weight=weight)
        cells = (duration(row.used_s), f"{row.faulty_s} s", row.error.split(" ")[0])
        for x, text in zip(ends, cells, strict=True):
            paper.line(x, at, text, weight=weight, ha="right")
    mean, following = (next(row for row in story.questions if row.meaning == name)
                       for name in ("average", "next_session"))
    at = top + height * len(rows) + (height - 7.5) / 2 - 1
    paper.line(LEFT, at, clipped_line(f"all {len(check.pairs)} sessions: {mean.figures}, {mean.verdict}", table,
                                      "bold"), weight="bold")
    paper.line(LEFT, at + height, clipped_line(f"the next one: {following.figures}, {following.verdict}", table))
    if len(rows) < len(check.pairs):
        paper.line(LEFT, at + 2 * height + 2, f"The {len(rows)} furthest from the mean are shown; "
                   f"{len(check.pairs) - len(rows)} more lie nearer.", color=CAPTION)


def metadata(check: ClaimCheck) -> dict[str, str]:
    """Return what a PDF says of itself."""
    return {"Title": f"Accuracy claim {claim_in_range(check)}: {check.verdict}", "Subject": tell(check).sentence,
            "Keywords": "accuracy claim, agreement of two measuring devices", "Creator": f"agree {agree.__version__}",
            "Producer": f"agree {agree.__version__}"}


def png_of(paper: Paper, dpi: float = PNG_DPI) -> bytes:
    """Return a picture in dots."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    paper.figure.set_dpi(dpi)
    buffer = io.BytesIO()
    canvas: Any = FigureCanvasAgg(paper.figure)
    canvas.print_png(buffer, metadata={"Software": f"agree {agree.__version__}"})
    return buffer.getvalue()


def as_form(paper: Paper, form: str, told: dict[str, str]) -> bytes:
    """Return a drawn paper in one form: pdf, svg or png."""
    if form == "pdf":
        return pdf_of(paper.figure, metadata=told)
    if form == "svg":
        return svg_of(paper.figure, label=told["Title"]).encode("utf-8", "replace")
    return png_of(paper)


def render(check: ClaimCheck, form: str, provenance: Provenance) -> bytes:
    """Return the page as pdf, svg or png."""
    return as_form(draw_page(check, provenance), form, metadata(check))
