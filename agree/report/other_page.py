"""One A4 page of a check of trials, or of a quantity other than power: the answer in words, panels, the caution."""

from __future__ import annotations

import io
from html import escape
from pathlib import Path

from matplotlib.figure import Figure

from agree.core.errors import InputError
from agree.files.writing import json_text, write_text, write_whole
from agree.quantities.check import QuantityCheck
from agree.report.figures import quantity_panels, trials_panels
from agree.report.texts.trials_text import check_text
from agree.trials.check import TrialsCheck

SUFFIXES = (".pdf", ".png", ".svg", ".html")
A4_IN = (8.27, 11.69)
LEFT, TOP, LINE = 0.07, 0.955, 0.0115
CAUTION = ("It speaks of this device against this reference and of subjects like these; it does not show that a model "
           "of device fails, and is no basis for medical decisions.")


def _panels(figure: Figure, check: TrialsCheck | QuantityCheck, low: float) -> None:
    if isinstance(check, QuantityCheck):
        half = (low - 0.10) / 2
        for k, draw in enumerate((quantity_panels.traces, quantity_panels.errors_both_ways)):
            draw(figure.add_axes((0.10, low - half * (k + 1) + 0.055, 0.84, half - 0.085)), check)
        return
    half = (low - 0.08) / 2
    panels = (trials_panels.errors_against_level, trials_panels.subjects_sorted, trials_panels.share_against_limit,
              trials_panels.typical_errors)
    for k, draw_one in enumerate(panels):
        draw_one(figure.add_axes((0.10 + 0.46 * (k % 2), low - half * (k // 2 + 1) + 0.055, 0.36, half - 0.095)), check)


def compose(check: TrialsCheck | QuantityCheck) -> Figure:
    """Lay out the page."""
    figure = Figure(figsize=A4_IN, facecolor="white")
    lines = (check_text(check) if isinstance(check, TrialsCheck) else check.summary()).splitlines()
    blank = lines.index("")
    figure.text(LEFT, TOP, " ".join(lines[:blank]), fontsize=8.5, fontweight="bold", va="top", parse_math=False)
    top = TOP - 2 * LINE
    for line in lines[blank:]:
        figure.text(LEFT, top, line, fontsize=7, va="top", family="DejaVu Sans Mono", parse_math=False)
        top -= LINE
    _panels(figure, check, top - 0.02)
    figure.text(LEFT, 0.03, CAUTION, fontsize=6.5, color=trials_panels.GREY, parse_math=False)
    return figure


def _render(check: TrialsCheck | QuantityCheck, suffix: str) -> bytes:
    buffer = io.BytesIO()
    metadata = {".pdf": {"CreationDate": None}, ".svg": {"Date": None}}.get(suffix)
    compose(check).savefig(buffer, format=suffix[1:], dpi=150, metadata=metadata)
    return buffer.getvalue()


def _html(check: TrialsCheck | QuantityCheck) -> str:
    svg = _render(check, ".svg").decode("utf-8")
    text = check.summary()
    title = escape(" ".join(text.split("\n\n")[0].splitlines()))
    drawing = svg[svg.index("<svg"):].replace("<svg", f'<svg role="img" aria-label="{title}"', 1)
    return ('<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n' + f'<title>{title}</title>\n</head>\n'
            f"<body>\n<h1>{title}</h1>\n<pre>{escape(text)}</pre>\n<figure>\n{drawing}</figure>\n<details>\n"
            f"<summary>All numbers (JSON)</summary>\n<pre>{escape(json_text(check))}</pre>\n</details>\n"
            "</body>\n</html>\n")


def write_other_page(check: TrialsCheck | QuantityCheck, path: str | Path) -> None:
    """Write the page, whole or not at all; the suffix tells the format.

    Raises
    ------
    InputError
        Another suffix than .pdf, .png, .svg or .html, or a place that cannot be written.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in SUFFIXES:
        raise InputError(f"page {str(path)!r} must end in .pdf, .png, .svg or .html; got {suffix or 'no suffix'}")
    if suffix == ".html":
        write_text(path, _html(check))
        return
    page = _render(check, suffix)
    write_whole(path, lambda temporary: _put(temporary, page))


def _put(path: Path, page: bytes) -> None:
    path.write_bytes(page)
