"""What a notebook shows of a result: its words and a small picture."""

from __future__ import annotations

from html import escape
from typing import Any

from agree.assessment.claim_check import ClaimCheck
from agree.core.results.drawn import Drawn


def notebook_html(result: Any, text: str) -> str:
    """Return the summary, and the picture of a result that has one; colours are fixed, for light and dark notebooks."""
    words = f"<pre>{escape(text)}</pre>"
    if not isinstance(result, Drawn):
        return words
    return f'<div style="background:#fff;color:#15202a;max-width:44em;padding:.4em">{words}{_drawn(result)}</div>'


def _drawn(result: Drawn) -> str:
    from agree.report.drawing.svg import svg_of
    from agree.report.figures.questions import draw_questions
    from agree.report.figures.results import plot
    from agree.report.page.paper import Paper
    from agree.report.story.rows import question_rows

    if not isinstance(result, ClaimCheck):
        figure: Any = plot(result).figure
        return svg_of(figure, label=type(result).__name__, inline=True)
    paper = Paper(460, 130)
    draw_questions(paper.axes(116, 4, 330, 96), result)
    for k, row in enumerate(question_rows(result)):
        paper.line(4, 4 + 24 * k + 7, row.words, 7.5, "bold" if row.asked else "normal")
    return svg_of(paper.figure, label="The four questions: intervals against the claim", inline=True)
