"""The record sheet of a static check: one A4 page that says which masses to hang, with a line for each hang."""

from __future__ import annotations

from pathlib import Path

import agree
from agree.files.writing import write_bytes, write_text
from agree.physics.static_plan import StaticPlan
from agree.report.drawing.pdf import pdf_of
from agree.report.figures.look import CAPTION, INK
from agree.report.html.shell import sheet as html_sheet
from agree.report.page.paper import Paper, wrap
from agree.report.suffix import suffix_of
from agree.report.texts import static_plan_text as words

SUFFIXES = (".pdf", ".html", ".txt")
LEFT, TOP, BOTTOM, SIZE, BOX = 40.0, 34.0, 40.0, 8.5, 7.0
HEADS = ("No.", "Mass, kg", "Way", "Torque, N m", "Within the claim", "Read, left", "Read, right", "Remarks")
WIDTHS = (24.0, 52.0, 36.0, 62.0, 92.0, 80.0, 80.0)  # of the columns but the last, pt
TALLEST = 26.0                                         # of a line of the table, pt


def compose(plan: StaticPlan) -> Paper:
    """Lay out the sheet."""
    sheet = Paper()
    right = sheet.width - LEFT
    top = sheet.line(LEFT, TOP, f"Record sheet: hung masses for the claim {plan.claim.text}", 13, weight="bold") + 3
    hang = plan.hang
    facts = (f"Crank {hang.crank_length_mm:g} mm (±{hang.u_length_mm:g}), g = {hang.gravity:.4f} m/s². Hang "
             f"{words.advice(plan)}")
    top = sheet.lines(LEFT, top, wrap(facts, SIZE, right - LEFT), SIZE) + 6
    for name in words.EQUIPMENT:
        sheet.line(LEFT, top, name, SIZE)
        sheet.rule(top + SIZE + 2, LEFT + 190, right, CAPTION)
        top += 16
    top += 4
    for text in words.STEPS:
        sheet.box(LEFT, top + 1.5, BOX, BOX, line=0.6)
        top = sheet.lines(LEFT + BOX + 6, top, wrap(text, SIZE, right - LEFT - BOX - 6), SIZE) + 2
    _table(sheet, plan, top + 6)
    return sheet


def _table(sheet: Paper, plan: StaticPlan, top: float) -> None:
    right, foot = sheet.width - LEFT, sheet.height - BOTTOM
    places = [LEFT]
    for width in WIDTHS:
        places.append(places[-1] + width)
    for x, name in zip(places, HEADS, strict=True):
        sheet.line(x, top, name, SIZE, color=CAPTION)
    top += SIZE + 6
    rows = words.order(plan)
    note = [line for text in (words.NEXT, words.CAUTION) for line in wrap(text, SIZE, right - LEFT)]
    height = min((foot - 12 * len(note) - top) / len(rows), TALLEST)
    for k, (mass, way, torque, low, high) in enumerate(rows):
        sheet.rule(top + k * height, LEFT, right, CAPTION)
        cells = (str(k + 1), f"{mass:g}", way, f"{torque:.2f}", f"{low:.2f} to {high:.2f}" if mass else "zero")
        for x, cell in zip(places, cells, strict=False):
            sheet.line(x, top + k * height + height / 2 - SIZE / 2 - 1, cell, min(SIZE, height - 1), color=INK)
    end = top + len(rows) * height
    sheet.rule(end, LEFT, right, CAPTION)
    for x in (*places[5:], right):
        sheet.upright(x - 4 if x != right else x, top, end, CAPTION, 0.5)
    sheet.lines(LEFT, end + 6, note, SIZE, color=CAPTION)


def write_static_sheet(plan: StaticPlan, path: str | Path) -> None:
    """Write the record sheet of hung masses, whole or not at all.

    Parameters
    ----------
    plan : StaticPlan
        Which masses to hang.
    path : str or Path
        Where to; the suffix says the format: .pdf (A4), .html or .txt. An existing file is replaced.

    Raises
    ------
    InputError
        Another suffix, or a place that cannot be written.
    """
    suffix = suffix_of(path, "sheet", SUFFIXES)
    title = f"Record sheet: hung masses for the claim {plan.claim.text}"
    if suffix == ".pdf":
        made = {"Title": title, "Creator": f"agree {agree.__version__}"}
        write_bytes(path, pdf_of(compose(plan).figure, metadata=made))
    elif suffix == ".txt":
        write_text(path, words.sheet_text(plan))
    else:
        write_text(path, html_sheet(title, compose(plan).figure, words.sheet_text(plan)))
