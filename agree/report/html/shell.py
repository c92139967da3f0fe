"""The shell of every HTML file: head with its policy, one main part, nothing from elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from matplotlib.figure import Figure

import agree
from agree.report.drawing.svg import svg_of
from agree.report.html.assets import SHEET_STYLE, STYLE, digest
from agree.report.html.parts import numbers, picture, region, shown


def whole(title: str, main: Sequence[str], *, header: str = "", footer: str = "", style: str = STYLE,
          script: str = "") -> str:
    """Return a whole document; what it allows itself are this style and this script, by their hashes."""
    allowed = f" script-src {digest(script)};" if script else ""
    policy = f"default-src 'none'; style-src {digest(style)};{allowed} base-uri 'none'; form-action 'none'"
    parts = [f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="generator" content="agree {escape(agree.__version__)}">
<title>{shown(title)}</title>
<style>{style}</style>
</head>
<body>"""]
    if header:
        parts.append(f'<header>\n<a class="skip" href="#answer">To the answer</a>\n{header}\n</header>')
    parts += ['<main id="answer">', *(part for part in main if part), "</main>"]
    if footer:
        parts.append(f"<footer>{footer}</footer>")
    if script:
        parts.append(f"<script>{script}</script>")
    return "\n".join([*parts, "</body>", "</html>", ""])


def drawn(title: str, figure: Figure, parts: Sequence[str], stored: str = "") -> str:
    """Return a document around one drawn page: its title, the drawing, tables and texts, and all numbers."""
    return whole(title, [f"<h1>{shown(title)}</h1>", picture(figure, title, "The printed page."), *parts,
                         numbers(stored) if stored else ""])


def sheet(title: str, figure: Figure, text: str) -> str:
    """Return a sheet to print, dark on light as paper is; on a screen its words stand below the drawing."""
    drawing = svg_of(figure, label=title, inline=True)
    return whole(title, [f'<h1 class="unseen">{shown(title)}</h1>', drawing, region("The same in words", text)],
                 style=SHEET_STYLE)
