"""The record sheet: one A4 page to print, tick and fill in beside the bike."""

from __future__ import annotations

from pathlib import Path

import agree
from agree.files.writing import write_bytes, write_text
from agree.planning.plan import Plan
from agree.report.drawing.fonts import width_of
from agree.report.drawing.pdf import pdf_of
from agree.report.figures.look import CAPTION, INK
from agree.report.html.shell import sheet as html_sheet
from agree.report.page.paper import Paper, clipped, wrap
from agree.report.suffix import suffix_of
from agree.report.texts import plan_text as words

SUFFIXES = (".pdf", ".html", ".txt")
LEFT, TOP, BOTTOM = 34.0, 28.0, 26.0  # margins, pt
SIZE, BOX = 7.5, 6.5                  # of type and of boxes to tick, pt
LOG_WIDTHS = (22.0, 72.0, 62.0, 84.0, 84.0, 40.0)  # of the columns of the log but the last, pt
ROW = 26.0                            # greatest height of a line of the log, pt
FOOTNOTE = ("° common practice, not measured here. Write down what differs from the plan; leave a session out only for "
            "a reason noted before its result is known.")


def _heading(sheet: Paper, x: float, top: float, text: str) -> float:
    return sheet.line(x, top, text, 8.5, weight="bold") + 2


def _blank(sheet: Paper, left: float, right: float, top: float) -> None:
    sheet.rule(top + SIZE + 1.5, left, right, CAPTION)


def _table(sheet: Paper, x: float, top: float, room: float, plan: Plan) -> float:
    """How many sessions, for each true error."""
    table = words.rows(plan)
    widths = [max(width_of(row[k], 7.5) for row in table) for k in range(len(table[0]))]
    gap = max((room - sum(widths)) / (len(widths) - 1), 4.0)
    for k, row in enumerate(table):
        at = x
        for width, cell in zip(widths, row, strict=True):
            sheet.line(at, top, cell, 7.5, color=INK if k else CAPTION)
            at += width + gap
        top += 10
        sheet.rule(top - 1, x, x + room)
    return top + 2


def _decided(sheet: Paper, plan: Plan) -> float:
    right = sheet.width - LEFT
    top = sheet.line(LEFT, TOP, f"Record sheet: claim {plan.claim.text} {words.MEANING_WORDS[plan.meaning]}", 13,
                     weight="bold") + 4
    half = (right - LEFT - 16) * 0.5
    lows = []
    for text in words.decided(plan):
        top = sheet.lines(LEFT, top, clipped(wrap(text, SIZE, half), 4), SIZE) + 2
    for label in ("Fixed before the first ride by", "Date"):
        _blank(sheet, LEFT + width_of(label, SIZE) + 4, LEFT + half, top)
        top = sheet.line(LEFT, top, label, SIZE) + 5
    lows.append(top)
    beside = LEFT + half + 16
    low = _table(sheet, beside, TOP + 21, right - beside, plan)
    notes = [*words.obstacles(plan), f"Rests on: {'; '.join(plan.assumptions)}."]
    for note in notes:
        low = sheet.lines(beside, low, clipped(wrap(note, 7.5, right - beside), 3), 7.5, color=CAPTION)
    return max(top, low) + 6


def _equipment(sheet: Paper, top: float) -> float:
    right = sheet.width - LEFT
    names, gap = 190.0, 8.0
    each = (right - LEFT - names - gap) / 2
    _heading(sheet, LEFT, top, "Equipment")
    for k, name in enumerate(("Reference", "Device under test")):
        sheet.line(LEFT + names + k * (each + gap), top + 1, name, SIZE, color=CAPTION)
    top += 15
    for name in words.EQUIPMENT:
        sheet.line(LEFT, top, name, SIZE)
        for k in range(2):
            _blank(sheet, LEFT + names + k * (each + gap), LEFT + names + k * (each + gap) + each, top)
        top += 15
    return top + 5


def _steps(sheet: Paper, plan: Plan, top: float) -> float:
    """Two columns of steps, each with a box to tick."""
    right = sheet.width - LEFT
    room = (right - LEFT - 18) / 2
    top = _heading(sheet, LEFT, top, "Every session")
    lows = [top, top]
    for number, (heading, items) in enumerate(words.steps(plan), 1):
        column = int(number > 2)
        x = LEFT + column * (room + 18)
        low = sheet.lines(x, lows[column], wrap(f"{number}  {heading}", SIZE, room, "bold"), SIZE, weight="bold") + 1
        for item in items:
            sheet.box(x, low + SIZE + 0.5 - BOX, BOX, BOX, line=0.6)
            text = f"{item.text}{'°' if item.common else ''}"
            low = sheet.lines(x + BOX + 5, low, wrap(text, SIZE, room - BOX - 5), SIZE) + 1.5
        lows[column] = low + 3
    return max(lows) + 4


def _log(sheet: Paper, plan: Plan, top: float) -> None:
    """Session lines down to the foot of the page."""
    right, foot = sheet.width - LEFT, sheet.height - BOTTOM
    note = wrap(FOOTNOTE, 7.5, right - LEFT)
    sheet.lines(LEFT, foot - 10 * len(note), note, 7.5, color=CAPTION)
    foot -= 10 * (len(note) - 1)
    wanted = words.sessions_shown(plan)
    shown = min(wanted, words.MOST_ROWS)
    part = f" 1 to {shown} of {wanted}: copy this page" if wanted > shown else ""
    top = _heading(sheet, LEFT, top, f"Sessions{part}")
    places = [LEFT]
    for width in LOG_WIDTHS:
        places.append(places[-1] + width)
    ends = [*places[1:], right]
    low = max(sheet.lines(x, top, wrap(name, 7.5, end - x - 4), 7.5, color=CAPTION)
              for x, end, name in zip(places, ends, words.LOG, strict=True)) + 2
    height = min((foot - 10 - low) / shown, ROW)
    for k in range(shown + 1):
        sheet.rule(low + k * height, LEFT, right, CAPTION)
        if k < shown:
            sheet.line(LEFT, low + k * height + height / 2 - 4, str(k + 1), SIZE)
    _notes(sheet, low + shown * height + 6, foot - 12)


def _notes(sheet: Paper, top: float, foot: float) -> None:
    """Ruled lines in what is left of the page."""
    lines = int((foot - top - 14) // 18)
    if lines < 1:
        return
    top = _heading(sheet, LEFT, top, "Notes")
    for k in range(1, lines + 1):
        sheet.rule(top + 18 * k, LEFT, sheet.width - LEFT)


def compose(plan: Plan) -> Paper:
    """Lay out the sheet."""
    sheet = Paper()
    _log(sheet, plan, _steps(sheet, plan, _equipment(sheet, _decided(sheet, plan))))
    return sheet


def _title(plan: Plan) -> str:
    return f"Record sheet: claim {plan.claim.text}"


def write_sheet(plan: Plan, path: str | Path) -> None:
    """Write the record sheet of a plan, whole or not at all.

    Parameters
    ----------
    plan : Plan
        The plan; the sheet has lines for the sessions of its first case.
    path : str or Path
        Where to; the suffix says the format: .pdf (A4), .html or .txt. An existing file is replaced.

    Raises
    ------
    InputError
        Another suffix, a folder that does not exist, or a place that cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from agree import plan
    >>> from agree.report.sheet import write_sheet
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_sheet(plan("1.5 %"), Path(folder) / "sheet.txt")
    ...     (Path(folder) / "sheet.txt").read_text(encoding="utf-8").splitlines()[0]
    'RECORD SHEET'
    """
    suffix = suffix_of(path, "sheet", SUFFIXES)
    if suffix == ".pdf":
        made = {"Title": _title(plan), "Creator": f"agree {agree.__version__}"}
        write_bytes(path, pdf_of(compose(plan).figure, metadata=made))
        return
    text = words.sheet_text(plan)
    write_text(path, html_sheet(_title(plan), compose(plan).figure, text) if suffix == ".html" else text)
