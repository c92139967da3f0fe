"""Names in scripts that run from right to left, within lines that run from left to right."""

from __future__ import annotations

import unicodedata
from functools import cache

MARK = "\N{LEFT-TO-RIGHT MARK}"
LAM = "\N{ARABIC LETTER LAM}"
JOINED_FORMS = (*range(0xFB50, 0xFBFF + 1), *range(0xFE80, 0xFEFC + 1))  # blocks of Unicode that hold letters as joined
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


@cache
def _forms() -> dict[str, dict[str, str]]:
    """Return the forms of each letter, or of lam with alef, by their name: isolated, initial, medial, final."""
    found: dict[str, dict[str, str]] = {}
    for code in JOINED_FORMS:
        name, *letters = unicodedata.decomposition(chr(code)).split() or [""]
        letter = "".join(chr(int(one, 16)) for one in letters)
        if len(letter) == 1 or (len(letter) == 2 and letter[0] == LAM):
            found.setdefault(letter, {})[name.strip("<>")] = chr(code)
    return found


def joined(text: str) -> str:
    """Return a text with each letter of Arabic script in the form that its neighbours ask for (Unicode, chapter 9.2).

    Examples
    --------
    >>> from agree.report.drawing.writing_direction import joined
    >>> joined("\u0628\u0628\u0628") == "\ufe91\ufe92\ufe90"  # beh: initial, medial, final
    True
    """
    forms, letters = _forms(), list[str]()
    for letter in text:
        if letters and letters[-1] + letter in forms:
            letters[-1] += letter
        else:
            letters.append(letter)
    shown = []
    for k, letter in enumerate(letters):
        own = forms.get(letter, {})
        before = "final" in own and k > 0 and "initial" in forms.get(letters[k - 1], {})
        after = "initial" in own and k + 1 < len(letters) and "final" in forms.get(letters[k + 1], {})
        name = ("medial" if before else "initial") if after else "final" if before else "isolated"
        shown.append(own.get(name, letter))
    return "".join(shown)


def as_seen(text: str) -> str:
    """Return the letters in the order in which they stand on paper, for a renderer that sets them one by one.

    Stretches that run from right to left are reversed, with the letters of Arabic script joined.

    Examples
    --------
    >>> from agree.report.drawing.writing_direction import as_seen
    >>> as_seen("reads \u05d0\u05d1 \u05d2 low") == "reads \u05d2 \u05d1\u05d0 low"
    True
    """
    line = joined(text.replace(MARK, ""))
    for first, last in _stretches(line):
        line = line[:first] + line[first:last + 1][::-1] + line[last + 1:]
    return line
