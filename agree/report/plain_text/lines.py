"""Text set into lines of a terminal: by columns, not by characters, and not between a number and its unit."""

from __future__ import annotations

import re

from agree.report.story.language.digits import MINUS
from agree.report.story.language.names import columns, cut

LABEL = 14    # columns of the labels on the left
WIDEST = 100  # prose is set no wider than this
SIGNS = str.maketrans({MINUS: "-", "–": "-", "…": "~", "\N{NO-BREAK SPACE}": " "})
_TOGETHER = re.compile(r"(?<=[\d.]) (?=(?:%|W|s|min|h|Nm|N m|mm|sessions?)(?!\w))|(?<=session) (?=\d)|(?<=±) (?=\d)")


def wrap(text: str, width: int) -> list[str]:
    """Break text into lines of so many columns; a word that is longer is cut."""
    lines = [""]
    words = _TOGETHER.sub("\N{NO-BREAK SPACE}", text).split(" ")
    while words:
        word = words.pop(0)
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if columns(joined) <= width:
            lines[-1] = joined
        elif lines[-1]:
            lines.append("")
            words.insert(0, word)
        else:
            head = cut(word, width) or word[:1]
            lines[-1] = head
            words.insert(0, word[len(head):])
            lines.append("")
    return [line for line in lines if line] or [""]


def labelled(label: str, text: str, width: int) -> list[str]:
    """One paragraph, indented under its label."""
    if width < 3 * LABEL:
        return wrap(f"{label}: {text}" if label else text, width)
    first, *rest = wrap(text, min(width, WIDEST) - LABEL)
    return [f"{label:<{LABEL}}{first}", *(" " * LABEL + line for line in rest)]


def terminal(lines: list[str]) -> str:
    """Join lines, with signs that every terminal has."""
    return "\n".join(line.translate(SIGNS).rstrip() for line in lines)


def padded(text: str, width: int) -> str:
    """Fill a text with blanks to so many columns."""
    return text + " " * max(width - columns(text), 0)
