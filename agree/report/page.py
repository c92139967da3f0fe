"""One A4 page that a sceptical colleague can check: answer, grounds, pictures, cautions."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import agree
from agree.assessment.claim_check import SCHEMA, ClaimCheck
from agree.core.errors import InputError
from agree.core.thresholds import LEAST_BAND_S
from agree.core.words import percent
from agree.report import text
from agree.report.figures.clouds import draw_differences, draw_lines, draw_sessions, lines_text
from agree.report.figures.panels import band_rows, draw_bands
from agree.report.figures.style import ACCENT, GREY, INK, Sheet, clipped, look, shortened, width_of, wrap
from agree.report.figures.traces import draw_traces, shaded_text
from agree.report.notes.sentence import note_text
from agree.report.write import write_whole
from agree.verdict.columns import table
from agree.verdict.meanings import Reading

SUFFIXES = (".pdf", ".png", ".svg", ".html")
LEFT, TOP, BOTTOM = 34.0, 28.0, 24.0  # margins, pt
LEAST_PANELS = 395.0                  # height the pictures need, pt
LINE = 1.3 * 6.5                      # height of a line of small type, pt
NOTES_LINES = 12                      # the right column may be this long though the left one is shorter
CAUTION = ("Speaks of this unit against this reference; not a calibration. Have a publication that a device fails "
           "checked by an accredited laboratory.")
SIGN = "Error = device − reference; each figure with its interval in brackets."
# What may be left out of the date and the maker's fields: pages of the same check are equal byte for byte.
_METADATA: dict[str, dict[str, Any]] = {
    ".pdf": {"CreationDate": None}, ".svg": {"Date": None}, ".png": {}}


def _header(sheet: Sheet, check: ClaimCheck) -> float:
    right = sheet.width - LEFT
    room = right - LEFT
    name = f"Accuracy claim {check.claim.text}; meaning: {_meaning(check.meaning, check)}"
    word = check.verdict.upper()
    settled = check.verdict != "not settled"
    box = {"boxstyle": "square,pad=0.35", "facecolor": INK if settled else "white", "edgecolor": INK, "linewidth": 0.9}
    sheet.line(LEFT + 4, TOP, word, 8, weight="bold", color="white" if settled else INK, bbox=box)
    sheet.lines(LEFT + width_of(word, 8, "bold") + 16, TOP + 0.5,
                clipped(wrap(name, 7.5, room - width_of(word, 8, "bold") - 20), 1), 7.5, color=GREY)
    top = TOP + 19
    sentence = text.headline(check)
    tries = [(s / 2, most) for most, least in ((2, 27), (3, 22)) for s in range(30, least - 1, -1)]
    size = next((s for s, most in tries if len(wrap(sentence, s, room, "bold")) <= most), 10.0)
    top = sheet.lines(LEFT, top, clipped(wrap(sentence, size, room, "bold"), 5), size, weight="bold") + 2
    return sheet.lines(LEFT, top, clipped(wrap(_about(check), 7, room), 3), 7, color=GREY) + 5


def _about(check: ClaimCheck) -> str:
    first, seconds = check.pairs[0], check.seconds()
    reference = check.reference_uncertainty.text
    count = len(check.pairs)
    parts = [f"Device: {shortened(first.device_name, 60)}",
             f"reference: {shortened(first.reference_name, 60)}, "
             + (f"uncertainty {reference}" if reference else "taken as exact"),
             f"claim {check.claim.text}, level {percent(check.level)}",
             f"{count} session{'s' if count > 1 else ''}, {seconds['overlap'] / 60:.1f} min paired, "
             f"{seconds['used'] / 60:.1f} min used"]
    if first.start and count == 1:
        parts.append(f"from {first.start}")
    if count == 1:
        parts.append(text.alignment_text(first.alignment))
    return "; ".join(parts) + "."


def _meaning(meaning: str, check: ClaimCheck) -> str:
    return text.MEANING_WORDS[meaning].format(w=check.window_s)


def _figures(item: Reading) -> str:
    if item.estimate is None:
        return "–"
    p = item.conformance_probability
    chance = "" if p != p else f"; P {'> 99' if p > 0.99 else '< 1' if p < 0.01 else f'{100 * p:.0f}'} %"
    return text.figure(item) + chance


def _meanings(sheet: Sheet, check: ClaimCheck, top: float) -> float:
    columns = (LEFT + 9, LEFT + 105, LEFT + 172, LEFT + 362)
    ends = (*columns[1:], sheet.width - LEFT + 6)
    figures = f"Figures [{percent(check.level)} interval]; P: chance to lie within"
    heads = ("Four meanings, mild to strict", "Answer", figures, "Ground")
    for x, head in zip((LEFT, *columns[1:]), heads, strict=True):
        sheet.line(x, top, head, 6.5, color=GREY)
    top += 10
    for item in check.readings:
        asked = item.meaning == check.meaning
        sheet.rule(top - 1, LEFT, sheet.width - LEFT)
        cells = (_meaning(item.meaning, check), item.verdict, _figures(item), item.because)
        weights = ("bold" if asked else "normal", "bold", "normal", "normal")
        lows = [top]
        for x, end, cell, weight in zip(columns, ends, cells, weights, strict=True):
            lines = clipped(wrap(cell, 6.5, end - x - 6, weight), 3)
            lows.append(sheet.lines(x, top, lines, 6.5, weight=weight))
        if asked:
            sheet.line(LEFT, top, "▶", 6.5, color=ACCENT)
        top = max(lows) + 2
    sheet.rule(top - 1, LEFT, sheet.width - LEFT)
    return top + 4


def _columns(check: ClaimCheck) -> list[list[tuple[str, list[str]]]]:
    wrong = text.likely(check.findings).split("; ")
    fix = check.correction
    advice = [text.correction_text(fix)]
    if fix.stable is not None or "not known to last" not in advice[0].lower():
        stable = {True: "stable: yes", False: "stable: no", None: "stable: not known"}[fix.stable]
        advice.append(f"{stable} ({fix.because.rsplit('; ', 1)[-1]})")
    smoother = [text.response_text(item) for item in check.response if item is not None and item.kind != "none"]
    return [[("What is likely wrong", wrong),
             ("Correction", advice),
             ("Next step", [check.next_step])],
            [("Seconds", [text.set_aside(check), *smoother]), ("Notes", [*map(note_text, check.notes)] or ["none"])]]


def _fitted(blocks: list[tuple[str, list[str]]], width: float, most: int) -> list[tuple[str, list[str]]]:
    """Wrap each block; the longest list gives way until all fit, and says how much was left out."""
    kept = {title: [wrap(item, 6.5, width - 6) for item in items] for title, items in blocks}
    left_out = dict.fromkeys(kept, 0)

    def count() -> int:
        return sum(1 + sum(map(len, items)) for items in kept.values()) + sum(k > 0 for k in left_out.values())

    while count() > most and any(len(items) > 1 for items in kept.values()):
        longest = max((t for t in kept if len(kept[t]) > 1), key=lambda t: sum(map(len, kept[t])))
        kept[longest].pop()
        left_out[longest] += 1
    over = max(count() - most, 0)
    result = []
    for title, items in kept.items():
        dot = "• " if len(items) + left_out[title] > 1 else ""
        lines = [line for item in items for line in (dot + item[0], *item[1:])]
        if over and len(lines) > 2:
            take = min(over, len(lines) - 2)
            lines, over = clipped(lines, len(lines) - take), over - take
        result.append((title, lines + ([f"… and {left_out[title]} more in the JSON"] if left_out[title] else [])))
    return result


def _footer(sheet: Sheet, check: ClaimCheck, header: float) -> tuple[float, list[list[tuple[str, list[str]]]]]:
    """Fit the closing blocks and return where they start."""
    width = (sheet.width - 2 * LEFT - 16) / 2
    bottom = sheet.height - BOTTOM - 22
    most = int((bottom - header - LEAST_PANELS) / LINE) - 1
    left, right = _columns(check)
    first = _fitted(left, width, most)
    count = sum(1 + len(lines) for _, lines in first)
    columns = [first, _fitted(right, width, min(most, max(count, NOTES_LINES)))]
    tallest = max(sum((1 + len(lines)) * LINE + 2 for _, lines in column) for column in columns)
    return bottom - tallest, columns


def _draw_footer(sheet: Sheet, start: float, columns: list[list[tuple[str, list[str]]]]) -> None:
    middle = (sheet.width + 16) / 2
    for x, column in zip((LEFT, middle), columns, strict=True):
        top = start
        for title, lines in column:
            top = sheet.line(x, top, title, 6.5, weight="bold", color=ACCENT)
            top = sheet.lines(x, top, lines, 6.5) + 2
    end = sheet.height - BOTTOM - 2 * LINE
    sheet.rule(end - 2, LEFT, sheet.width - LEFT)
    sheet.line(LEFT, end, CAUTION, 6.5)
    sheet.line(LEFT, end + LINE, SIGN, 6.5, color=GREY)
    version = f"agree {agree.__version__}, schema {SCHEMA}"
    sheet.line(sheet.width - LEFT, end + LINE, version, 6.5, color=GREY, ha="right")


def _captions(sheet: Sheet, top: float, *panels: tuple[float, float, str, str | list[str]]) -> float:
    """Titles and captions of the panels of a row (left, width, title, caption); return where the axes may start."""
    ends = []
    for left, width, title, caption in panels:
        below = sheet.line(left, top, title, 6.5, weight="bold")
        parts = [caption] if isinstance(caption, str) else caption
        lines = clipped([line for part in parts for line in wrap(part, 6.5, width)], 3)
        ends.append(sheet.lines(left, below, lines, 6.5, color=GREY))
    return max(ends) + 5


def _pictures(sheet: Sheet, check: ClaimCheck, top: float, bottom: float) -> None:
    """Four pictures, and a fifth if there are several sessions, in three rows."""
    first, second, third = (share * (bottom - top) for share in (0.38, 0.28, 0.34))
    right, several = sheet.width - LEFT, len(check.pairs) > 1
    windows = table(check.pairs, check.window_s).windows(check.window_s)
    level = percent(check.level)

    left = LEFT + 260
    spread = text.limits_text(check)
    limits = f"{spread[0].upper()}{spread[1:]} Strips: {level} intervals; dashed: claim."
    start = _captions(sheet, top, (LEFT, 250, "(a) Error against power", limits),
                      (left, right - left, "(b) Device against reference: slope and offset", lines_text(check)))
    height = top + first - 27 - start
    draw_differences(sheet.axes(LEFT + 24, start, 162, height), check, windows)
    draw_lines(sheet.axes(left + 28, start, right - left - 28 - 70, height), check, windows)

    top += first
    width, left = (310.0 if several else right - LEFT - 24), LEFT + 348
    bands = (f"Thick: {level} interval; thin: all bands at once, with the reference's uncertainty; dashed: claim; "
             "circle: not judged.")
    panels: list[tuple[float, float, str, str | list[str]]] = [(LEFT, width + 24, "(c) Bias by power band", bands)]
    if several:
        sessions = "Thick: all, and the next one as predicted; dashed: claim."
        if any(item.used.sum() < LEAST_BAND_S for item in check.pairs):
            sessions += f" Sessions under {LEAST_BAND_S} s left out."
        panels.append((left, right - left, "(e) Bias by session", sessions))
    start = _captions(sheet, top, *panels)
    height = top + second - 43 - start
    draw_bands(sheet.axes(LEFT + 24, start, width, height), band_rows(check), "bias, % of reference", "s")
    if several:
        draw_sessions(sheet.axes(left + 56, start, right - left - 56, height), check)

    top += second
    title = "(d) Both over time; below, device − reference over used seconds"
    start = _captions(sheet, top, (LEFT, right - LEFT, title, shaded_text(check.pairs)))
    height = top + third - (34 if several else 26) - start
    upper = sheet.axes(LEFT + 24, start, right - LEFT - 90, 0.6 * height - 5)
    lower = sheet.axes(LEFT + 24, start + 0.6 * height, right - LEFT - 90, 0.4 * height, sharex=upper)
    draw_traces(upper, lower, check.pairs)


def compose(check: ClaimCheck) -> Sheet:
    """Lay out the page; to be called within `look()`."""
    sheet = Sheet()
    header = _meanings(sheet, check, _header(sheet, check))
    start, columns = _footer(sheet, check, header)
    _draw_footer(sheet, start, columns)
    _pictures(sheet, check, header, start - 4)
    return sheet


def render(check: ClaimCheck, suffix: str) -> bytes:
    """Page as bytes in the format of the suffix: ".pdf", ".png" or ".svg"."""
    buffer = io.BytesIO()
    with look():
        compose(check).figure.savefig(buffer, format=suffix[1:], metadata=_METADATA[suffix])
    return buffer.getvalue()


def _put(path: Path, page: bytes) -> None:
    path.write_bytes(page)


def write_page(check: ClaimCheck, path: str | Path) -> None:
    """Write the check as one A4 page, whole or not at all.

    Parameters
    ----------
    check : ClaimCheck
        The answer to a claim; every number on the page is stored there.
    path : str or Path
        Where to; the suffix says the format: .pdf, .png, .svg or .html. An existing file is replaced: give no
        path of a recording.

    Raises
    ------
    InputError
        Another suffix, a folder that does not exist, or a place that cannot be written.

    Examples
    --------
    >>> import numpy as np, tempfile
    >>> from pathlib import Path
    >>> from agree import Pairs, check_claim
    >>> from agree.report.page import write_page
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> check = check_claim(Pairs(reference=watts, device=0.97 * watts), "1.5 %")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_page(check, Path(folder) / "page.pdf")
    ...     (Path(folder) / "page.pdf").read_bytes()[:5]
    b'%PDF-'
    """
    suffix = Path(path).suffix.lower()
    if suffix not in SUFFIXES:
        raise InputError(f"page {str(path)!r} must end in .pdf, .png, .svg or .html; got {suffix or 'no suffix'}")
    if suffix == ".html":
        from agree.report.html import write_html
        write_html(check, path)
        return
    page = render(check, suffix)
    write_whole(path, lambda temporary: _put(temporary, page))
