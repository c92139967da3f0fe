"""From a file to a table of text cells, whatever its delimiter, decimal sign or encoding; and to numbers."""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from agree._check import FloatArray
from agree.errors import InputError
from agree.recordings import _content

SAMPLE_ROWS = 30
MISSING = frozenset({"", "-", "--", "---", "nan", "n/a", "na", "null", "none", "<na>", "nat"})
NO_DELIMITER = "\x1f"
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?|[+-]?inf(inity)?", re.IGNORECASE | re.ASCII)
GROUPS_OF_THREE = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+", re.ASCII)
COMMA_NUMBER = re.compile(r"[+-]?[\d.,]+(e[+-]?\d+)?", re.IGNORECASE | re.ASCII)
DOTTED_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(\.\d{3})+(,\d*)?", re.ASCII)
LOOKS_NUMERIC = re.compile(r"[+-]?\d[\d.,:/ TZ+-]*(e[+-]?\d+)?|[+-]?[.,]\d+", re.IGNORECASE | re.ASCII)


def shown(text: object) -> str:
    """Return `text` quoted, on one line and cut to a length that a message can hold."""
    line = repr(str(text))
    return line if len(line) <= 42 else line[:38] + "..." + line[0]


class Table(NamedTuple):
    """Text cells in columns; `rows` are the line numbers a reader sees, or positions in a frame."""

    source: str
    header: list[str]
    columns: list[Sequence[str]]
    rows: Sequence[int]
    notes: list[str]
    headerless: bool = False
    word: str = "row"
    delimiter: str = ","

    def fail(self, row: int | None, found: str, expected: str, remedy: str) -> InputError:
        """Return the error of a row of the table (its index), or of the whole (None)."""
        where = "" if row is None else f", {self.word} {self.rows[row]}"
        return InputError(f"{self.source}{where}: found {found}; expected {expected}; {remedy}")

    def without_row(self, row: int) -> Table:
        """Return the table without one of its rows."""
        rows = [*self.rows[:row], *self.rows[row + 1:]]
        return self._replace(rows=rows, columns=[[*c[:row], *c[row + 1:]] for c in self.columns])


def read_table(path: Path) -> Table:
    """Read a text file into a table; every cell is stripped text."""
    source = _content.source_of(path)
    lines, notes = _lines(_content.content(path, source, "a text table of one recording"), source)
    first = next((i for i, line in enumerate(lines) if line.strip() and line.lstrip()[0] != "#"), None)
    told = None if first is None else re.fullmatch(r'"?sep=([,;|\t])"?', lines[first].strip(" "), re.I)
    if first is not None and told:  # the line by which spreadsheets tell each other the delimiter
        first = next((i for i, line in enumerate(lines[first + 1:], first + 1) if line.strip()), None)
    if first is None:
        raise InputError(f"{source}: found no rows; expected a table of one recording; check the file")
    lines = lines[first:]
    delimiter = told[1] if told else _delimiter(lines)
    try:
        reader = csv.reader((text + "\n" for text in lines), delimiter=delimiter,
                            skipinitialspace=delimiter != "\t")
        content, line = [], first
        for row in reader:
            content.append((line + 1, [cell.strip() for cell in row]))
            line = first + reader.line_num  # a row with an open quote takes several lines
    except csv.Error as exc:
        raise InputError(f"{source}: found text that is no table ({exc}); expected a comma, semicolon or tab "
                         "separated table; close any open quotes") from None
    header = content[0][1]
    headerless = _is_data(header)
    if headerless:
        header = [""] * len(header)
    else:
        content = content[1:]
    if len(header) == 1:  # an empty line amid the readings of a single column is a blank reading
        filled = [i for i, (_, row) in enumerate(content) if any(row)]
        content = [(n, row or [""]) for n, row in content[filled[0]: filled[-1] + 1]] if filled else []
    else:
        content = [(n, row) for n, row in content if len(row) > 1 or any(row)]
    names = {"\t": "tab", NO_DELIMITER: "none"}
    notes.insert(0, f"delimiter: {names.get(delimiter, repr(delimiter))}")
    header = [cell or f"column {k + 1}" for k, cell in enumerate(header)]
    table = Table(source, header, [], [n for n, _ in content], notes, headerless, delimiter=delimiter)
    return table._replace(columns=_rectangle(table, [row for _, row in content]))


def frame_table(frame: Any, name: str) -> Table:
    """Turn a data frame into the same table of text cells; a time index becomes the first column."""
    if frame.index.dtype.kind in "mM" and (frame.index.name or "timestamp") not in frame.columns:
        frame = frame.reset_index(names=frame.index.name or "timestamp")
    header = [str(label).strip() or f"column {k + 1}" for k, label in enumerate(frame.columns)]
    columns: list[Sequence[str]] = []
    for k in range(len(header)):
        column = frame.iloc[:, k]
        blank = column.isna().tolist()
        values = (column.dt.total_seconds() if column.dtype.kind == "m" else column).tolist()
        columns.append(["" if b else str(v).strip() for v, b in zip(values, blank, strict=True)])
    return Table(name, header, columns, range(len(frame)), [], word="position")


def _lines(data: bytes, source: str) -> tuple[list[str], list[str]]:
    """Decode and split into lines, ending in CR, LF or both."""
    encodings = ["utf-8-sig", "latin-1"]
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encodings = ["utf-16"]
    text = None
    for encoding in encodings:
        try:
            text = data.decode(encoding)
            break
        except UnicodeDecodeError:
            continue
    if text is None or re.search("[\x00-\x08\x0e-\x1f]", text):
        raise InputError(f"{source}: found binary data; expected a text table; export the recording as CSV")
    notes = [] if encoding == "utf-8-sig" else [f"encoding: {encoding}"]
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), notes


def _delimiter(lines: list[str]) -> str:
    """Return the delimiter that splits the first row and most of those below; the comma comes last."""
    sample = [line for line in lines if line.strip()][: SAMPLE_ROWS + 1]
    for delimiter in "\t;|,":
        try:
            reader = csv.reader(sample, delimiter=delimiter, skipinitialspace=True)
            width = [len(row) for row in reader if row]
        except csv.Error:
            continue
        if width[0] > 1 and (len(width) == 1 or np.median(width[1:]) > 1):
            return delimiter
    return NO_DELIMITER


def _is_data(row: list[str]) -> bool:
    """Tell whether the first row holds readings, not names."""
    cells = [cell for cell in row if cell.lower() not in MISSING]
    return bool(cells) and all(LOOKS_NUMERIC.fullmatch(cell) for cell in cells)


def _rectangle(table: Table, content: list[list[str]]) -> list[Sequence[str]]:
    """Return columns; short rows are filled with blanks, long rows refused unless their surplus is blank."""
    width = len(table.header)
    short = 0
    for i, row in enumerate(content):
        if len(row) > width:
            if any(row[width:]):
                raise table.fail(i, f"{len(row)} cells", f"{width}, as in the first row",
                                 "quote numbers with a decimal comma, or separate cells by semicolons")
            del row[width:]
        elif len(row) < width:
            short += 1
            row.extend([""] * (width - len(row)))
    if short:
        table.notes.append(f"{short} short rows filled with blanks")
    return [list(column) for column in zip(*content, strict=True)] or [[] for _ in range(width)]


def numbers(table: Table, cells: Sequence[str], name: str, *, grouped: bool = False) -> FloatArray:
    """Return the cells of column `name` as floats, NaN where missing.

    A comma is a decimal comma, unless a point follows it, or (`grouped`) every comma precedes three digits
    while other cells have none: then it groups thousands.
    """
    unique = set(cells)
    commas = [cell for cell in unique if "," in cell and COMMA_NUMBER.fullmatch(cell)]
    plain = any("," not in cell and NUMBER.fullmatch(cell) for cell in unique)
    decimal_comma = bool(commas) and not any(cell.rfind(".") > cell.find(",") for cell in commas)
    if decimal_comma and grouped and plain and all(GROUPS_OF_THREE.fullmatch(cell) for cell in commas):
        decimal_comma = False
    if commas:
        use = "decimal comma" if decimal_comma else "commas group thousands"
        table.notes.append(f"column {shown(name)}: {use}")
    known: dict[str, float | None] = {}
    for cell in unique:
        text = cell
        if decimal_comma:
            text = cell.replace(".", "") if DOTTED_GROUPS.fullmatch(cell) else cell.replace(".", "?")
            text = text.replace(",", ".")
        elif commas:
            text = cell.replace(",", "") if GROUPS_OF_THREE.fullmatch(cell.partition(".")[0]) else cell
        known[cell] = float(text) if NUMBER.fullmatch(text) else np.nan if cell.lower() in MISSING else None
    if None in known.values():
        i = next(i for i, cell in enumerate(cells) if known[cell] is None)
        kind = "a number with a decimal comma, as elsewhere in the column" if decimal_comma else "a number"
        raise table.fail(i, f"{shown(cells[i])} in column {shown(name)}", kind,
                         "correct the cell, or leave it blank if there is no reading")
    values = np.array([known[cell] for cell in cells], dtype=np.float64)
    infinite = np.flatnonzero(np.isinf(values))
    if infinite.size:
        raise table.fail(int(infinite[0]), f"{shown(cells[infinite[0]])} in column {shown(name)}",
                         "a finite number", "leave the cell blank if there is no reading")
    return values
