"""A table of text cells, from whatever source, and the numbers in it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.results.note import Note

MISSING = frozenset({"", "-", "--", "---", "–", "—", "nan", "n/a", "#n/a", "na", "null", "none", "<na>", "nat"})
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?|[+-]?inf(inity)?", re.IGNORECASE | re.ASCII)
GROUPS_OF_THREE = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+", re.ASCII)
COMMA_NUMBER = re.compile(r"[+-]?[\d.,]+(e[+-]?\d+)?", re.IGNORECASE | re.ASCII)
DOTTED_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(\.\d{3})+(,\d*)?", re.ASCII)
# Thousands apart by an apostrophe or a space, plain, non-breaking or thin.
MARKED_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:(['’ \u00a0\u2009\u202f])\d{3})(?:\1\d{3})*(?:[.,]\d*)?", re.ASCII)
LOOKS_NUMERIC = re.compile(r"[+-]?\d[\d.,:/ TZ+-]*(e[+-]?\d+)?|[+-]?[.,]\d+", re.IGNORECASE | re.ASCII)
DECIMAL_COMMA, COMMA_GROUPS, POINT_GROUPS = "decimal comma", "commas group thousands", "points group thousands"
MINUS = "\u2212"  # as typesetters write it
MOST_GROUPED = 20_000.0  # no power is above, so that 200,125 W is no grouped number


def shown(text: object) -> str:
    """Return `text` quoted, on one line and cut to a length that a message can hold."""
    line = repr(str(text))
    return line if len(line) <= 42 else line[:38] + "..." + line[0]


def many(count: int, word: str) -> str:
    """Return "1 row" or "3 rows"."""
    return f"{count} {word}{'' if count == 1 else 's'}"


class Table(NamedTuple):
    """Text cells in columns; `rows` are the line numbers a reader sees, or positions in a frame.

    `decimal` is the decimal sign if it was told; `metric` says that channels are in the units of a recorder's own
    format; `laps` are the stamps at which laps began, in seconds on the clock of the table; `fields` are the names of
    all that such a format holds, blank ones too.
    """

    source: str
    header: list[str]
    columns: list[Sequence[str]]
    rows: Sequence[int]
    notes: list[Note]
    headerless: bool = False
    word: str = "row"
    delimiter: str = ","
    decimal: str | None = None
    metric: bool = False
    laps: tuple[float, ...] | None = None
    fields: tuple[str, ...] | None = None

    def fail(self, row: int | None, found: str, expected: str, remedy: str, *, option: str = "",
             code: str = "") -> InputError:
        """Return the error of a row of the table (its index), or of the whole (None)."""
        where = "" if row is None else f", {self.word} {self.rows[row]}"
        return InputError(f"{self.source}{where}: found {found}; expected {expected}; {remedy}", option=option,
                          code=code)

    def without_row(self, row: int) -> Table:
        """Return the table without one of its rows."""
        rows = [*self.rows[:row], *self.rows[row + 1:]]
        return self._replace(rows=rows, columns=[[*c[:row], *c[row + 1:]] for c in self.columns])


def numbers(table: Table, cells: Sequence[str], name: str, *, grouped: bool = False) -> FloatArray:
    """Return the cells of column `name` as floats, NaN where missing.

    Unless the table was given a decimal sign, a comma is a decimal comma, but (`grouped`) for commas that all
    precede three digits beside numbers below 1000 without: these group thousands, and so do such points.
    """
    unique = set(cells)
    odd = {cell: _unmarked(cell, spaces=len(table.header) > 1) for cell in unique if not NUMBER.fullmatch(cell)}
    use = _use_of_signs(unique, set(odd.values()), table.decimal, grouped=grouped)
    if any(len(text) < len(cell) for cell, text in odd.items()):
        table.notes.append(Note(kind="read_grouped", values={"column": name}))
    told = use
    if use == DECIMAL_COMMA and not any("," in text for text in odd.values()):  # as the caller says, but there is none
        told = POINT_GROUPS if any("." in text and DOTTED_GROUPS.fullmatch(text) for text in unique) else ""
    table.notes.extend([Note(kind="read_signs", values={"column": name, "use": told})] if told else [])
    known = {cell: _number(odd.get(cell, cell), use) for cell in (unique if use else odd)}
    if None in known.values():
        i = next(i for i, cell in enumerate(cells) if cell in known and known[cell] is None)
        signs = [[k for k, cell in enumerate(cells) if sign in cell and not {".", ","} <= set(cell)
                  and NUMBER.fullmatch(odd.get(cell, cell).replace(",", "."))] for sign in (",", ".")]
        kind = "a number with a decimal comma, as elsewhere in the column" if use == DECIMAL_COMMA else "a number"
        if use == DECIMAL_COMMA and table.decimal is None and i in signs[1] and 0 < len(signs[0]) < len(signs[1]):
            i, kind = signs[0][0], "a number with a decimal point, as elsewhere in the column"  # the few are odd
        raise table.fail(i, f"{shown(cells[i])} in column {shown(name)}", kind,
                         "correct the cell, or leave it blank if there is no reading")
    values = np.array([known[cell] if cell in known else float(cell) for cell in cells], dtype=np.float64)
    infinite = np.flatnonzero(np.isinf(values))
    if infinite.size:
        raise table.fail(int(infinite[0]), f"{shown(cells[infinite[0]])} in column {shown(name)}",
                         "a finite number", "leave the cell blank if there is no reading")
    return values


def _number(written: str, use: str) -> float | None:
    """Return the number in a text, NaN if it says that there is none, None if it is neither."""
    text = written
    if use == COMMA_GROUPS:
        text = text.replace(",", "") if GROUPS_OF_THREE.fullmatch(text.partition(".")[0]) else text
    elif use:
        dotted = DOTTED_GROUPS.fullmatch(text)
        text = text.replace(".", "") if dotted else text.replace(".", "?" if use == DECIMAL_COMMA else ".")
        text = text.replace(",", ".")
    return float(text) if NUMBER.fullmatch(text) else np.nan if written.lower() in MISSING else None


def _unmarked(cell: str, *, spaces: bool) -> str:
    """Write a number with the plain minus sign and without marks between thousands.

    A space marks thousands only beside other columns: in a single one it may part two.
    """
    text = cell.replace(MINUS, "-")
    found = MARKED_GROUPS.fullmatch(text)
    return text.replace(found[1], "") if found and (spaces or found[1] != " ") else text


def _use_of_signs(cells: set[str], odd: set[str], decimal: str | None, *, grouped: bool) -> str:
    """Say what commas are for, or points if not decimal; nothing if points are decimal and there are no commas.

    `odd` are the cells that are no plain numbers.
    """
    commas = [text for text in odd if "," in text and COMMA_NUMBER.fullmatch(text)]
    if decimal == ",":
        return DECIMAL_COMMA
    if decimal == ".":
        return COMMA_GROUPS if commas else ""
    if commas:
        point_last = any(text.rfind(".") > text.find(",") for text in commas)
        return COMMA_GROUPS if point_last or (grouped and _are_groups(cells | odd, commas, ",")) else DECIMAL_COMMA
    points = [text for text in cells if "." in text and NUMBER.fullmatch(text)] if grouped else []
    return POINT_GROUPS if points and _are_groups(cells | odd, points, ".") else ""


def _are_groups(texts: set[str], signed: list[str], sign: str) -> bool:
    """Tell whether all numbers with a sign are thousands in groups, beside some below 1000 without it."""
    if not all(GROUPS_OF_THREE.fullmatch(text.replace(sign, ",")) for text in signed):
        return False
    other = [abs(float(text)) for text in texts if sign not in text and NUMBER.fullmatch(text)]
    return bool(other) and max(other) < 1000 and max(
        abs(float(text.replace(sign, ""))) for text in signed) <= MOST_GROUPED
