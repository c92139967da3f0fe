"""The HTML report of any answer: the same words and pictures as its page, with a table and all numbers."""

from __future__ import annotations

import json
from typing import Any

from agree.report.html.parts import numbers, paragraph, picture, section, shown, table
from agree.report.html.shell import whole
from agree.report.page.answer_sheet import Sheet
from agree.report.page.paper import Paper
from agree.verdict.rule import FAILS, HOLDS

WIDTH, HEIGHT, LEFT = 640.0, 250.0, 48.0  # of pictures and their labels, in the units of their type
CLASSES = {HOLDS: "holds", FAILS: "fails"}


def sheet_html(sheet: Sheet, data: dict[str, Any]) -> str:
    """Return the whole document; it needs no script and nothing from elsewhere."""
    title = f"{sheet.title}: {sheet.verdict}" if sheet.verdict else sheet.title
    parts = []
    if sheet.questions:
        parts.append(section(sheet.table_title, table(
            "Bold: the one that was asked", ["question", "answer", "figures"],
            [[row.words, row.verdict, row.figures] for row in sheet.questions],
            marked=["asked" if row.asked else "" for row in sheet.questions])))
    if sheet.texts:
        parts.append(section("What it rests on", *(f"<h3>{shown(label)}</h3>{paragraph(text)}"
                                                   for label, text in sheet.texts)))
    for panel in sheet.panels:
        paper = Paper(WIDTH, HEIGHT)
        left = max(LEFT, panel.beside)
        panel.draw(paper.axes(left, 10, WIDTH - left - 14, HEIGHT - 48))
        parts.append(section(panel.heading, picture(paper.figure, panel.heading, panel.caption)))
    stored = json.dumps(data, indent=1, ensure_ascii=False)
    parts.append(numbers(stored))
    badge = (f'<p><span class="badge {CLASSES.get(sheet.verdict, "open")}">{shown(sheet.verdict.upper())}</span>'
             f"<strong>{shown(sheet.title)}</strong></p>" if sheet.verdict else
             f"<p><strong>{shown(sheet.title)}</strong></p>")
    return whole(title, [f"<h1>{shown(sheet.sentence)}</h1>", *parts],
                 header=f'{badge}\n<p class="caption">{shown(sheet.subtitle)}</p>',
                 footer=f"<p>{shown(sheet.caution)}</p>")
