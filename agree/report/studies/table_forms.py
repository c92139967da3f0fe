"""The table of a study as CSV, Markdown, LaTeX or HTML."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.plain import cell_text, plain_name
from agree.core.results.words import estimate_text
from agree.files.writing import write_text
from agree.report.html.parts import paragraph
from agree.report.html.parts import table as html_table
from agree.report.html.shell import whole
from agree.report.studies.methods import methods_paragraph, missing_line
from agree.report.suffix import suffix_of
from agree.study.statistics.cells import Cell
from agree.study.statistics.table import Contrast, StudyTable

SUFFIXES = (".csv", ".md", ".tex", ".html")
FIGURES = ("bias", "sd", "lower", "upper", "typical")
HEADS = {"bias": "mean error", "sd": "SD", "lower": "lower limit", "upper": "upper limit", "typical": "typical error"}
_LATEX = {"&": r"\&", "%": r"\%", "_": r"\_", "#": r"\#", "$": r"\$", "{": r"\{", "}": r"\}", "~": r"\textasciitilde{}",
          "^": r"\textasciicircum{}", "\\": r"\textbackslash{}", "±": r"$\pm$", "–": "--", "<": r"\textless{}",
          ">": r"\textgreater{}", "|": r"\textbar{}", "−": "$-$", "…": r"\ldots{}"}
_MARKDOWN = {"&": "&amp;", "<": "&lt;", ">": "&gt;"} | {letter: "\\" + letter for letter in "\\`*_{}[]#|$~"}


def _number_texts(item: Cell) -> list[str]:
    return [estimate_text(getattr(item, name), sign=name in ("bias", "lower", "upper")) for name in FIGURES]


def cell_rows(table: StudyTable) -> tuple[list[str], list[list[str]]]:
    """Return head and rows of the cells, numbers to the digits that their intervals deserve."""
    unit = table.cells[0].unit
    level = f"{100 * table.level:g} %"
    labels = [table.device, *([table.condition] if table.condition else [])]
    head = [*labels, "pairs", *([f"{table.athlete}s"] if table.athlete else []),
            *(f"{HEADS[name]} [{level}], {unit}" for name in FIGURES), "claim, mean error"]
    rows = [[item.device, *([item.condition] if table.condition else []), str(item.pairs),
             *([str(item.groups) if item.counted == "athletes" else "1"] if table.athlete else []),
             *_number_texts(item), item.verdict or "-"] for item in table.cells]
    return head, rows


def contrast_rows(table: StudyTable) -> tuple[list[str], list[list[str]]]:
    """Return head and rows of the differences."""
    unit = table.cells[0].unit
    rows = [[f"{item.first} minus {item.second}", item.within or "mean of all in common",
             "not known: too few have both" if item.difference is None else estimate_text(item.difference, sign=True)]
            for item in table.contrasts]
    return ["difference", "in", f"mean error [{100 * table.level:g} %], {unit}"], rows


def _figures(item: Estimate | None) -> list[str]:
    return ["", "", ""] if item is None else [repr(item.value), repr(item.low), repr(item.high)]


def _csv(table: StudyTable) -> str:
    """Cells, then differences, with all digits; what does not apply is empty."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["kind", "device", "condition", "pairs", "groups", "counted", "unit",
                     *(f"{name}{end}" for name in FIGURES for end in ("", "_low", "_high")), "verdict"])
    for cell in table.cells:
        figures = [text for name in FIGURES for text in _figures(getattr(cell, name))]
        writer.writerow(["cell", cell_text(cell.device), cell_text(cell.condition), cell.pairs, cell.groups,
                         cell.counted, cell.unit, *figures, cell.verdict])
    for item in table.contrasts:
        both, within = cell_text(f"{item.first} minus {item.second}"), cell_text(item.within)
        where = (both, within) if item.factor == "device" else (within, both)
        writer.writerow([f"difference of {item.factor}s", *where, "", "", table.clusters, item.unit,
                         *_figures(item.difference), *[""] * 12, ""])
    return out.getvalue()


def _markdown_table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = ["| " + " | ".join(row) + " |" for row in (head, *rows)]
    return "\n".join([lines[0], "|" + "---|" * len(head), *lines[1:]])


def _markdown_name(text: str) -> str:
    """Return a name in which nothing is markup."""
    return "".join(_MARKDOWN.get(letter, letter) for letter in plain_name(text))


def _named(table: StudyTable, made: Callable[[str], str]) -> StudyTable:
    """Return the table with the names that stand in the list made ready for a form."""
    cells = tuple(replace(item, device=made(item.device), condition=made(item.condition)) for item in table.cells)
    contrasts = tuple(replace(item, first=made(item.first), second=made(item.second), within=made(item.within))
                      for item in table.contrasts)
    return replace(table, cells=cells, contrasts=contrasts, claim=made(table.claim), reference=made(table.reference),
                   device=made(table.device), condition=made(table.condition), athlete=made(table.athlete))


def _markdown(table: StudyTable) -> str:
    table = _named(table, _markdown_name)
    parts = [_markdown_table(*cell_rows(table)), missing_line(table)]
    if table.contrasts:
        parts.append(_markdown_table(*contrast_rows(table)))
    return "\n\n".join(part for part in [*parts, methods_paragraph(table)] if part) + "\n"


def _latex_text(text: str) -> str:
    found = "".join(_LATEX.get(letter, letter) for letter in text)
    words = [f"${word}$" if word[:1] in "+-" and word[1:2].isdigit() else word
             for word in found.replace("[", "[ ").replace("]", " ]").replace(",", " ,").split(" ")]
    return " ".join(words).replace("[ ", "[").replace(" ]", "]").replace(" ,", ",")


def _latex_table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    # A row that began with [ or * would be read as what belongs to the end of the row before.
    lines = ["{}" * (row[0][:1] in ("[", "*")) + " & ".join(_latex_text(plain_name(text)) for text in row) + r" \\"
             for row in (head, *rows)]
    begin = r"\begin{tabular}{" + "l" * len(head) + "}"
    return "\n".join([begin, r"\hline", lines[0], r"\hline", *lines[1:], r"\hline", r"\end{tabular}"])


def _latex(table: StudyTable) -> str:
    parts = ["% needs no package; names in other scripts than Latin need XeLaTeX or LuaLaTeX and a font",
             _latex_table(*cell_rows(table)), _latex_text(missing_line(table))]
    if table.contrasts:
        parts.append(_latex_table(*contrast_rows(table)))
    return "\n\n".join(part for part in [*parts, _latex_text(methods_paragraph(table))] if part) + "\n"


def _html(summed: StudyTable) -> str:
    parts = ["<h1>Table of a study</h1>", html_table("Devices by conditions", *cell_rows(summed))]
    if missing_line(summed):
        parts.append(paragraph(missing_line(summed)))
    if summed.contrasts:
        parts.append(html_table("Differences of devices and conditions", *contrast_rows(summed)))
    return whole("Table of a study", [*parts, paragraph(methods_paragraph(summed))])


_FORMS: dict[str, Callable[[StudyTable], str]] = {".csv": _csv, ".md": _markdown, ".tex": _latex, ".html": _html}


def table_text(table: StudyTable, suffix: str) -> str:
    """Return the table in the form of a suffix, .csv, .md, .tex or .html; but for CSV with its methods paragraph.

    Raises
    ------
    InputError
        Another suffix.
    """
    if suffix not in _FORMS:
        raise InputError(f"a table must end in {', '.join(SUFFIXES)}; got {suffix or 'no suffix'}")
    return _FORMS[suffix](table)


def write_table(table: StudyTable, path: str | Path) -> None:
    """Write the table, whole or not at all; the suffix says the form.

    Raises
    ------
    InputError
        Another suffix than .csv, .md, .tex or .html, or a place that cannot be written.
    """
    write_text(path, table_text(table, suffix_of(path, "table", SUFFIXES)))


def contrast_name(item: Contrast) -> str:
    """Return what a contrast is of, in one line."""
    return f"{item.first} minus {item.second}" + (f", {item.within}" if item.within else "")
