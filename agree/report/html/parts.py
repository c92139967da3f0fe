"""Pieces of HTML: escaped text, tables with headers that have a scope, pictures with captions."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from matplotlib.figure import Figure

from agree.report.drawing.svg import svg_of
from agree.report.figures.look import ALLOWED, CAPTION, INK, INSIDE, LIMIT, OUTSIDE, RULE, WHITE
from agree.report.figures.marks import Marks
from agree.report.page.paper import clean

NAMES = {INK: "var(--ink)", CAPTION: "var(--caption)", RULE: "var(--rule)", ALLOWED: "var(--allowed)",
         LIMIT: "var(--limit)", INSIDE: "var(--inside)", OUTSIDE: "var(--outside)", WHITE: "var(--paper)"}


def shown(text: str) -> str:
    """Escape one line of text; what is not printable becomes a blank."""
    return escape(clean(text.encode("utf-8", "replace").decode("utf-8")))


def table(caption: str, head: Sequence[str], rows: Sequence[Sequence[str]], *, numbers: Sequence[int] = (),
          marked: Sequence[str] = (), label: str = "") -> str:
    """Return a table; the first cell of each row is its header, `marked` gives each row a class."""
    def kind(k: int) -> str:
        return ' class="number"' if k in numbers else ""

    top = "".join(f'<th scope="col"{kind(k)}>{shown(cell)}</th>' for k, cell in enumerate(head))
    body = []
    for j, row in enumerate(rows):
        cells = f'<th scope="row"{kind(0)}>{shown(row[0])}</th>' + "".join(
            f"<td{kind(k)}>{shown(cell)}</td>" for k, cell in enumerate(row[1:], 1))
        css = f' class="{marked[j]}"' if j < len(marked) and marked[j] else ""
        body.append(f"<tr{css}>{cells}</tr>")
    name = escape(label or caption)
    return (f'<div class="wide" role="region" tabindex="0" aria-label="{name}"><table>'
            f"<caption>{shown(caption)}</caption><thead><tr>{top}</tr></thead>\n<tbody>{chr(10).join(body)}</tbody></table></div>")


def picture(figure: Figure, label: str, caption: str, marks: Marks | None = None) -> str:
    """Return a figure with its caption."""
    drawn = svg_of(figure, label=label, titles={} if marks is None else marks.rows, names=NAMES, inline=True)
    return f"<figure>{drawn}<figcaption>{shown(caption)}</figcaption></figure>"


def section(heading: str, *parts: str) -> str:
    """Return a section with its heading."""
    return f"<section>\n<h2>{shown(heading)}</h2>\n" + "\n".join(part for part in parts if part) + "\n</section>"


def paragraph(text: str, css: str = "") -> str:
    """Return a paragraph."""
    return f"<p{f' class={chr(34)}{css}{chr(34)}' if css else ''}>{shown(text)}</p>"


def numbers(stored: str) -> str:
    """Return all numbers as JSON, folded away."""
    return f"<details><summary>All numbers (JSON)</summary>{region('JSON', stored)}</details>"


def region(label: str, text: str) -> str:
    """Return text of several lines as it stands; it can be reached and scrolled by the keyboard."""
    return f'<pre tabindex="0" role="region" aria-label="{escape(label)}">{block(text)}</pre>'


def block(text: str) -> str:
    """Escape text of several lines."""
    lines = text.encode("utf-8", "replace").decode("utf-8").split("\n")
    return escape("\n".join("".join(c if c.isprintable() or c == " " else " " for c in line) for line in lines))
