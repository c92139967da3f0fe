"""One A4 page of several devices: who stands apart, how each two differ, own errors, factors."""

from __future__ import annotations

from pathlib import Path

import agree
from agree.core.results.words import number
from agree.devices.compare import Device, DeviceComparison
from agree.files.writing import json_text
from agree.report.answer_file import write_paper
from agree.report.figures.devices_panels import draw_differences, draw_own_errors
from agree.report.figures.look import CAPTION, INK, SMALL
from agree.report.html.parts import paragraph, table
from agree.report.html.shell import drawn
from agree.report.page.paper import Paper, clipped, shortened, wrap
from agree.report.texts.devices_text import headline, minded

LEFT, TOP, BOTTOM, ROW = 34.0, 32.0, 30.0, 19.0
MOST = 10  # pairs drawn
CAUTION = ("The first device is not right because it is first, and two that agree may err together. Factors hold for "
           "this effort; own errors are those of window means, without a wrong scale.")


def table_rows(result: DeviceComparison) -> list[tuple[str, ...]]:
    """Device, factor, own error, clock, response, and what is said of it."""
    rows: list[tuple[str, ...]] = [("Device", "Multiply by", "Own error, %", "Clock, s", "Response", "Remark")]
    for k, item in enumerate(result.devices):
        said = ("stands apart" if item.stands_apart else
                f"repeats {shortened(item.voice_of, 14)}" if item.voice_of else "")
        response = f"{item.response}, {item.response_s:.2g} s" if item.response else ""
        clock = f"{item.lag_s:+.1f}" if k else ""
        rows.append((item.name, _factor(item) if k else "1", _own(item), clock, response, said))
    return rows


def _factor(item: Device) -> str:
    value, low, high = (number(x, item.factor.low, item.factor.high) for x in (
        item.factor.value, item.factor.low, item.factor.high))
    return f"{value} ({low} to {high})"


def _own(item: Device) -> str:
    if item.error_sd is None:
        return "cannot be told"
    value, low, high = (number(x, item.error_sd.low, item.error_sd.high) for x in (
        item.error_sd.value, item.error_sd.low, item.error_sd.high))
    return f"{value} ({low} to {high})"


def compose(result: DeviceComparison) -> Paper:
    """Lay out the page."""
    paper = Paper()
    right = paper.width - LEFT
    top = paper.lines(LEFT, TOP, wrap(headline(result), 13, right - LEFT, "bold"), 13, weight="bold") + 8
    top = _table(paper, result, top) + 12
    shown = result.differences[:MOST]
    top = paper.line(LEFT, top, "How each two differ", 9, weight="bold")
    caption = (f"{100 * result.differences[0].percent.level:g} % intervals. Diamond: they differ, all comparisons at "
               "once; disc: no difference was found." + (f" The first {MOST} of {len(result.differences)}." * (
                   len(result.differences) > MOST)))
    top = paper.lines(LEFT, top, wrap(caption, SMALL, right - LEFT), color=CAPTION) + 6
    height = ROW * len(shown)
    draw_differences(paper.axes(LEFT + 190, top, right - LEFT - 196, height), shown)
    for k, item in enumerate(shown):
        text = f"{shortened(item.second, 16)} against {shortened(item.first, 16)}"
        paper.line(LEFT, top + ROW * k + ROW / 2 - 5, text, SMALL)
    top += height + 36
    if any(item.error_sd is not None for item in result.devices):
        top = paper.line(LEFT, top, "Own error of each", 9, weight="bold")
        split = "Split from the differences; right if no two devices share a source of error."
        top = paper.line(LEFT, top, split, SMALL, color=CAPTION) + 6
        height = ROW * len(result.devices)
        draw_own_errors(paper.axes(LEFT + 190, top, right - LEFT - 196, height), result)
        for k, device in enumerate(result.devices):
            paper.line(LEFT, top + ROW * k + ROW / 2 - 5, shortened(device.name, 34), SMALL)
        top += height + 38
    for note in result.notes[:4]:
        text = minded(note)
        top = paper.lines(LEFT, top, clipped(wrap(text[0].upper() + text[1:], 8.5, right - LEFT), 3), 8.5) + 3
    foot = wrap(f"{CAUTION} Made by agree {agree.__version__}.", SMALL, right - LEFT)
    paper.lines(LEFT, paper.height - BOTTOM - 10 * len(foot), foot, color=CAPTION)
    return paper


def _table(paper: Paper, result: DeviceComparison, top: float) -> float:
    places = (LEFT, LEFT + 130, LEFT + 246, LEFT + 334, LEFT + 382, LEFT + 456)
    for k, row in enumerate(table_rows(result)):
        for x, cell, most in zip(places, row, (26, 26, 20, 9, 16, 22), strict=True):
            paper.line(x, top, shortened(cell, most), SMALL, weight="bold" if k == 0 else "normal",
                       color=INK if k else CAPTION)
        top += 12
        paper.rule(top - 1.5, LEFT, paper.width - LEFT)
    return top


def _html(result: DeviceComparison) -> str:
    head, *body = table_rows(result)
    return drawn(headline(result), compose(result).figure, [table("Each device", head, body), paragraph(CAUTION)],
                 json_text(result))


def write_devices_page(result: DeviceComparison, path: str | Path) -> None:
    """Write the page of several devices, whole or not at all.

    Parameters
    ----------
    result : DeviceComparison
        Of one effort.
    path : str or Path
        Where to; the suffix says the form: .pdf, .svg, .png or .html. An existing file is replaced.

    Raises
    ------
    InputError
        Another suffix, or a place that cannot be written.
    """
    write_paper(lambda: compose(result), headline(result), path, lambda: _html(result))
