"""One A4 page of a study by devices and conditions, and one of a fleet of units; the same as an HTML report."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path

import agree
from agree.core.results.words import estimate_text
from agree.report.answer_file import write_paper
from agree.report.drawing.fonts import width_of
from agree.report.figures.look import CAPTION, SMALL
from agree.report.html.parts import paragraph, section, shown, table
from agree.report.html.shell import drawn
from agree.report.page.paper import Paper, clean, clipped, shortened, wrap
from agree.report.studies.methods import methods_paragraph, missing_line
from agree.report.studies.pictures import (
    draw_cells,
    draw_differences,
    draw_spread,
    draw_units,
    limit_of,
)
from agree.report.studies.table_forms import cell_rows, contrast_name, contrast_rows
from agree.report.texts.study_text import CAUTION, headline, study_rows
from agree.study.running import Study
from agree.study.statistics.many_units import ManyUnits
from agree.study.statistics.table import StudyTable, study_table

LEFT, TOP, BOTTOM = 34.0, 28.0, 24.0   # margins, pt
LABEL = 78.0                           # of what stands before a text, pt
FLEET_FROM = 13                        # units from which single ones are sorted, not named row by row
MOST_CELLS, MOST_DIFFERENCES, FURTHEST = 24, 18, 10
NAMES = 182.0                          # greatest width of a name, pt
ROW, MOST_ROW = 17.0, 34.0             # least and greatest height of a cell or a difference, pt
CELLS = ("Shaded: allowed by the claim. Bar: interval of the mean error; disc: holds, diamond: does not hold, circle: "
         "not settled. Rings: single pairs.")
UNITS = ("Each unit's error, drawn towards the mean as far as its own uncertainty asks, with its interval; shaded: "
         "allowed by the claim; diamonds: flagged.")
SPREAD = ("Bars: units as measured, their own uncertainty included. Line: true errors, if they are normal with the "
          "mean and SD found; it is narrower for that reason.")


def is_fleet(study: Study) -> bool:
    """Whether a study is shown as sorted units: 13 or more of them."""
    return study.fleet is not None and len(study.units) >= FLEET_FROM


def _head(paper: Paper, title: str, rows: Sequence[tuple[str, str]]) -> float:
    right = paper.width - LEFT
    top = paper.lines(LEFT, TOP, clipped(wrap(title, 12, right - LEFT, "bold"), 3), 12, "bold") + 4
    for label, text in rows:
        paper.line(LEFT, top, label, 8, color=CAPTION)
        top = paper.lines(LEFT + LABEL, top, clipped(wrap(text, 8, right - LEFT - LABEL), 3), 8) + 1
    paper.rule(top + 3, LEFT, right)
    return top + 10


def _foot(paper: Paper, text: str) -> float:
    """Write the smallest text at the foot; return where it begins."""
    lines = wrap(text, SMALL, paper.width - 2 * LEFT)
    top = paper.height - BOTTOM - 10 * len(lines)
    paper.lines(LEFT, top, lines, SMALL, color=CAPTION)
    return top - 6


def _heading(paper: Paper, top: float, text: str, caption: str, left: float = LEFT, right: float = 0.0) -> float:
    right = right or paper.width - LEFT
    top = paper.line(left, top, text, 9, "bold")
    return paper.lines(left, top, wrap(caption, SMALL, right - left), SMALL, color=CAPTION) + 3


def fitting(name: str) -> str:
    """Shorten a name until it is no wider than its column: letters of some scripts are twice as wide as others."""
    return next(text for text in (shortened(name, count) for count in range(60, 1, -1))
                if width_of(text, SMALL) <= NAMES)


def _rows_with(paper: Paper, top: float, names: Sequence[str], numbers: Sequence[str],
               height: float) -> tuple[float, float]:
    """Write names and numbers of rows; return where axes between them begin and end."""
    names = [fitting(name) for name in names]
    first = max(width_of(name, SMALL) for name in names) + 8
    numbers = [clean(text) for text in numbers]
    last = max(width_of(text, SMALL) for text in numbers) + 10
    for k, (name, text) in enumerate(zip(names, numbers, strict=True)):
        at = top + height * (k + 0.5) - 6
        paper.line(LEFT, at, name, SMALL)
        paper.line(paper.width - LEFT - last + 10, at, text, SMALL)
    return LEFT + first, paper.width - LEFT - last


def study_page(study: Study, table: StudyTable) -> Paper:
    """Lay out devices by conditions: mean errors in rows, differences, and how it was done."""
    paper = Paper()
    foot = _foot(paper, methods_paragraph(table))
    told = ("Pairs", "Answers", "Not checked", "Counted once", "Caution")
    rows = [row for row in study_rows(study) if row[0] in told]
    left_out = [("Left out", missing_line(table))] if table.notes else []
    cells, unit = table.cells[:MOST_CELLS], table.cells[0].unit
    more = f" The first {MOST_CELLS} of {len(table.cells)} are shown." if len(table.cells) > MOST_CELLS else ""
    top = _heading(paper, _head(paper, headline(study), [*rows, *left_out]), "Mean error of each device", CELLS + more)
    names = [", ".join(part for part in (item.device, item.condition) if part) for item in cells]
    numbers = [f"{estimate_text(item.bias, sign=True)} {unit}" + (f", {item.verdict}" if item.verdict else "")
               for item in cells]
    room = foot - top - 34 - 62
    fits = int((room - ROW * len(cells)) // ROW)
    shown = table.contrasts[:min(MOST_DIFFERENCES, max(fits, 0))]
    height = min(max(room / (len(cells) + len(shown)), ROW), MOST_ROW)
    begin, end = _rows_with(paper, top, names, numbers, height)
    draw_cells(paper.axes(begin, top, end - begin, height * len(cells)), cells, limit_of(table.claim, unit))
    top += height * len(cells) + 34
    if shown:
        more = f" The first {len(shown)} of {len(table.contrasts)}." if len(shown) < len(table.contrasts) else ""
        top = _heading(paper, top, "Differences of mean errors",
                       f"Each with its {100 * table.level:g} % interval, by itself; a shared error of the reference is "
                       f"in both sides.{more}")
        names = [contrast_name(item) for item in shown]
        numbers = ["not known" if item.difference is None else f"{estimate_text(item.difference, sign=True)} {unit}"
                   for item in shown]
        begin, end = _rows_with(paper, top, names, numbers, height)
        draw_differences(paper.axes(begin, top, end - begin, height * len(shown)), shown)
    return paper


def _furthest(fleet: ManyUnits) -> list[list[str]]:
    order = sorted(range(len(fleet.errors)), key=lambda k: -abs(fleet.errors[k]))[:FURTHEST]
    return [[shortened(fleet.names[k] if fleet.names else str(k + 1), 16), f"{fleet.errors[k]:+.2f}",
             estimate_text(fleet.shrunken[k], sign=True), "flagged" if k in fleet.flagged else ""] for k in order]


def fleet_page(study: Study, fleet: ManyUnits) -> Paper:
    """Lay out sorted units in the corridor, their spread, and the furthest."""
    paper = Paper()
    foot = _foot(paper, "Statistics over units: mean by Paule and Mandel with Hartung and Knapp's interval; flags by "
                        f"Benjamini and Hochberg. {CAUTION[0].upper()}{CAUTION[1:]} Software: agree "
                        f"{agree.__version__}.")
    rows = [row for row in study_rows(study) if row[0] not in ("Furthest", "Caution")]
    top = _heading(paper, _head(paper, headline(study), rows), "Units, sorted", UNITS)
    high = 0.52 * (foot - top)
    draw_units(paper.axes(LEFT + 34, top, paper.width - 2 * LEFT - 34, high - 34), fleet)
    top += high
    middle = paper.width / 2 - 10
    begin = _heading(paper, top, "Spread of the units", SPREAD, right=middle)
    draw_spread(paper.axes(LEFT + 34, begin, middle - LEFT - 34, foot - begin - 34), fleet)
    beside = middle + 24
    at = _heading(paper, top, "Furthest units", f"As measured, and drawn towards the mean, {fleet.unit}.", left=beside)
    furthest = _furthest(fleet)
    places = [beside]
    for k in range(3):
        places.append(places[-1] + max(width_of(clean(row[k]), SMALL) for row in furthest) + 8)
    for row in furthest:
        for place, text in zip(places, row, strict=True):
            paper.line(place, at, clean(text), SMALL)
        at += 13
    return paper


def _html(study: Study, summed: StudyTable, paper: Paper) -> str:
    told = [f"<h3>{shown(label)}</h3>{paragraph(text)}" for label, text in study_rows(study)]
    units = [[line.labels["unit"], str(line.sessions), line.over, "" if line.bias is None else f"{line.bias:+.3f}",
              "" if line.low is None or line.high is None else f"{line.low:+.3f} to {line.high:+.3f}", line.bias_unit,
              line.verdict or line.error] for line in study.units]
    parts = [section("The answer", *told)]
    if not is_fleet(study):
        parts.append(section("Devices and conditions", table("Devices by conditions", *cell_rows(summed))))
        if summed.contrasts:
            parts.append(section("Differences", table("Differences of devices and conditions", *contrast_rows(summed))))
        parts.append(paragraph(methods_paragraph(summed)))
    head = ["unit", "sessions", "over", "mean error", "interval", "unit of error", "answer"]
    parts.append(section("Units", table("Each unit", head, units)))
    return drawn(headline(study), paper.figure, parts)


def write_study_page(study: Study, path: str | Path, *, table: StudyTable | None = None) -> None:
    """Write the page of a study, whole or not at all: units sorted from 13 units on, else devices by conditions.

    Parameters
    ----------
    study : Study
    path : str or Path
        .pdf, .svg or .png (one A4 page), or .html.
    table : StudyTable, optional
        Of `study_table`, where its columns were chosen.

    Raises
    ------
    InputError
        Another suffix, no pair that was checked, or a place that cannot be written.
    """
    summed = study_table(study) if table is None else table
    paper = fleet_page(study, study.fleet) if study.fleet is not None and is_fleet(study) else study_page(study, summed)
    write_paper(lambda: paper, textwrap.shorten(headline(study), 200), path, lambda: _html(study, summed, paper))
