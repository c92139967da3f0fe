"""An answer as labelled rows of a terminal: at most 16 lines at 80 columns; what gives way there is in the details."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from agree.report.plain_text.lines import WIDEST, labelled, terminal, wrap

MOST_LINES, WIDTH = 16, 80
MORE = "All of it: --details."


class Row(NamedTuple):
    """One paragraph with its label, or a line of a table as it is.

    `yields`: 0 for what always stands; of the others the largest gives way first where room is short. `shorter` stands
    in for the text where that is enough. `plain`: a line of a table, that is not wrapped while it fits.
    """

    label: str
    text: str
    yields: int = 0
    shorter: str = ""
    plain: bool = False


def _lines(rows: Sequence[Row], width: int) -> list[str]:
    lines = []
    for row in rows:
        if row.plain and len(row.text) <= width:
            lines.append(row.text)
        elif row.label:
            lines += labelled(row.label, row.text, width)
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
        if any(row.shorter for row in shown if row.yields == most):
            shown = [row._replace(text=row.shorter, shorter="") if row.yields == most and row.shorter else row
                     for row in shown]
        else:
            del shown[max(k for k, row in enumerate(shown) if row.yields == most)]
    if not (details or whole):
        shown.append(Row("More", MORE))
    return terminal(_lines(shown, width))
