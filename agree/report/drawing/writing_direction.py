"""Names in scripts that run from right to left, within lines that run from left to right."""

from __future__ import annotations

import unicodedata

MARK = "\N{LEFT-TO-RIGHT MARK}"
FROM_RIGHT = ("R", "AL")


def _stretches(line: str) -> list[tuple[int, int]]:
    """Return first and last place of each stretch that runs from right to left, blanks within it included."""
    turned = [k for k, c in enumerate(line) if unicodedata.bidirectional(c) in FROM_RIGHT]
    found: list[tuple[int, int]] = []
    for k in turned:
        if found and not any(unicodedata.bidirectional(c) in ("L", "EN") for c in line[found[-1][1] + 1:k]):
            found[-1] = (found[-1][0], k)
        else:
            found.append((k, k))
    return found


def left_to_right(text: str) -> str:
    """Return a line with marks of its direction where a name in it runs the other way.

    Without them a line that begins with such a name is set from right to left as a whole, and numbers behind a name
    are set before it.
    """
    stretches = _stretches(text)
    for _, last in reversed(stretches):
        text = text[:last + 1] + MARK + text[last + 1:]
    return MARK + text if stretches else text


def as_seen(text: str) -> str:
    """Return the letters in the order in which they stand on paper, for a renderer that sets them one by one.

    Stretches that run from right to left are reversed; letters are not joined, as Arabic ones should be.

    Examples
    --------
    >>> from agree.report.drawing.writing_direction import as_seen
    >>> as_seen("reads \u05d0\u05d1 \u05d2 low") == "reads \u05d2 \u05d1\u05d0 low"
    True
    """
    line = text.replace(MARK, "")
    for first, last in _stretches(line):
        line = line[:first] + line[first:last + 1][::-1] + line[last + 1:]
    return line
