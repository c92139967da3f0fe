"""The HTML report of any answer: the same words and pictures as its page, with a table and all numbers."""

from __future__ import annotations

import json
from html import escape
from typing import Any

import agree
from agree.report.html.assets import STYLE, digest
from agree.report.html.parts import block, paragraph, picture, section, shown, table
from agree.report.page.answer_sheet import Sheet
from agree.report.page.paper import Paper
from agree.verdict.rule import FAILS, HOLDS

WIDTH, HEIGHT, LEFT = 640.0, 250.0, 48.0  # of pictures and their labels, in the units of their type
CLASSES = {HOLDS: "holds", FAILS: "fails"}
POLICY = f"default-src 'none'; style-src {digest(STYLE)}; base-uri 'none'; form-action 'none'"


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
    parts.append('<details><summary>All numbers (JSON)</summary><pre tabindex="0" role="region" aria-label="JSON">'
                 f"{block(stored)}</pre></details>")
    badge = (f'<p><span class="badge {CLASSES.get(sheet.verdict, "open")}">{shown(sheet.verdict.upper())}</span>'
             f"<strong>{shown(sheet.title)}</strong></p>" if sheet.verdict else
             f"<p><strong>{shown(sheet.title)}</strong></p>")
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{POLICY}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="generator" content="agree {escape(agree.__version__)}">
<title>{shown(title)}</title>
<style>{STYLE}</style>
</head>
<body>
<header>
<a class="skip" href="#answer">To the answer</a>
{badge}
<p class="caption">{shown(sheet.subtitle)}</p>
</header>
<main id="answer">
<h1>{shown(sheet.sentence)}</h1>
{chr(10).join(parts)}
</main>
<footer><p>{shown(sheet.caution)}</p></footer>
</body>
</html>
"""
