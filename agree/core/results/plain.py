"""Names as they may stand in a terminal, a page or a table: nothing in them that acts on what shows them."""

from __future__ import annotations

import unicodedata


def plain_name(text: object) -> str:
    r"""Return a name on one line, each character that is not printable replaced by "?".

    These are control characters (terminal escapes begin with one), marks that turn the direction of text, zero-width
    and private characters, and bytes of a file name that are no text. Any white space becomes a blank.

    Examples
    --------
    >>> from agree.core.results.plain import plain_name
    >>> plain_name("ride\x1b[2J\u202e.csv"), plain_name("a\nb")
    ('ride?[2J?.csv', 'a b')
    """
    return "".join(c if c.isprintable() else " " if c in "\t\n\r\v\f" or unicodedata.category(c) == "Zs" else "?"
                   for c in str(text))


def cell_text(text: object) -> str:
    r"""Return text for a cell of a CSV file: a plain name, and none that a spreadsheet takes for a formula.

    One that begins with =, +, - or @, and is no number, gets an apostrophe before it, as spreadsheets mark text.

    Examples
    --------
    >>> from agree.core.results.plain import cell_text
    >>> cell_text("=1+1"), cell_text("-2.5"), cell_text("a\x1b[2J"), cell_text("unit 7")
    ("'=1+1", '-2.5', 'a?[2J', 'unit 7')
    """
    plain = plain_name(text)
    if not plain.lstrip().startswith(("=", "+", "-", "@")):
        return plain
    try:
        float(plain)
    except ValueError:
        return f"'{plain}"
    return plain
