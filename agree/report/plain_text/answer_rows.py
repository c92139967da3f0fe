"""An answer as labelled rows of a terminal: at most 16 lines at 80 columns; what gives way there is in the details."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from agree.report.plain_text.lines import WIDEST, labelled, terminal, wrap
from agree.report.story.language.names import columns

MOST_LINES, WIDTH = 16, 80
MORE = "All of it: --details."


class Row(NamedTuple):
    """One paragraph with its label (a blank goes on with the row above, none is a sentence), or a line of a table.

    `yields`: 0 for what always stands; of the others the largest gives way first where room is short. `shorter` stands
    in for the text where that is enough. `plain`: a line of a table; where it does not fit, `shorter` says it in words.
    `stays`: the shorter text does not give way.
    """

    label: str
    text: str
    yields: int = 0
    shorter: str = ""
    plain: bool = False
    stays: bool = False


def _lines(rows: Sequence[Row], width: int) -> list[str]:
    lines = []
    for row in rows:
        if row.plain:
            lines += [row.text] if columns(row.text) <= width else wrap(row.shorter, width) if row.shorter else []
        elif row.label:
            lines += labelled(row.label.strip(), row.text, width)
        else:
            lines += wrap(row.text, min(width, WIDEST))
    return lines


def set_rows(rows: Sequence[Row], *, width: int = WIDTH, details: bool = False) -> str:
    """Return the rows as text of so many columns.

    Which rows stand is settled at 80 columns or more, so that a narrow terminal has the same words in more lines.
    With `details` every row stands whole.
    """
    shown = list(rows)
    wide = max(width, WIDTH)
    whole = len(_lines(shown, wide)) <= MOST_LINES
    while not (details or whole) and len(_lines([*shown, Row("More", MORE)], wide)) > MOST_LINES:
        most = max(row.yields for row in shown)
        if not most:
            break
        long = [row for row in shown if row.yields == most and row.shorter and not row.plain]
        if long:
            shown = [row._replace(text=row.shorter, shorter="", yields=0 if row.stays else most) if row in long else row
                     for row in shown]
        else:
            del shown[max(k for k, row in enumerate(shown) if row.yields == most)]
    if not (details or whole):
        shown.append(Row("More", MORE))
    return terminal(_lines(shown, width))
