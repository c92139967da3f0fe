"""Write the page or the HTML report of any answer into a file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import agree
from agree.files.writing import write_bytes
from agree.report.html.sheet_document import sheet_html
from agree.report.page.answer_sheet import Sheet, draw_sheet
from agree.report.page.compose import as_form
from agree.report.page.paper import Paper
from agree.report.suffix import suffix_of

SUFFIXES = (".pdf", ".png", ".svg", ".html")


def write_sheet(sheet: Sheet, path: str | Path, data: dict[str, Any]) -> None:
    """Write an answer as one A4 page or as HTML, whole or not at all.

    Parameters
    ----------
    sheet : Sheet
        What it says and shows.
    path : str or Path
        Where to; the suffix says the form: .pdf, .png, .svg or .html.
    data : dict
        All numbers, for the HTML: what the JSON holds.

    Raises
    ------
    InputError
        Another suffix, or a place that cannot be written.
    """
    title = f"{sheet.title}: {sheet.verdict}" if sheet.verdict else sheet.title
    write_paper(lambda: draw_sheet(sheet), title, path, lambda: sheet_html(sheet, data), subject=sheet.sentence)


def write_paper(draw: Callable[[], Paper], title: str, path: str | Path, html: Callable[[], str], *,
                subject: str = "agreement of devices") -> None:
    """Write what is drawn on one A4 page, or its HTML, whole or not at all; the suffix says the form.

    Raises
    ------
    InputError
        Another suffix, or a place that cannot be written.
    """
    suffix = suffix_of(path, "page", SUFFIXES)
    if suffix == ".html":
        write_bytes(path, html().encode("utf-8", "replace"))
        return
    made_by = f"agree {agree.__version__}"
    told = {"Title": title, "Subject": subject, "Keywords": "accuracy claim, agreement of measuring devices",
            "Creator": made_by, "Producer": made_by}
    write_bytes(path, as_form(draw(), suffix[1:], told))
