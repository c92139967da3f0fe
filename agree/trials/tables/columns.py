"""Which columns of a table hold keys and readings, and what these are measured in."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.quantities.known import in_header, plain, quantity
from agree.core.quantities.units import convert, unit_in_header, unit_of
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.files.table import LOOKS_NUMERIC, MISSING, Table, numbers, shown
from agree.files.tables.trials_table import SUBJECT_WORDS, header_words, is_key

CLOCK = re.compile(r"(?:(\d+):)?(\d+):([0-5]\d(?:[.,]\d+)?)", re.ASCII)
LARGEST = 1e50  # of a reading: fourth powers of larger ones have no place in a double


class Key(NamedTuple):
    """Key of one row: trimmed text, subject first; "" where a cell is blank."""

    cells: tuple[str, ...]

    @property
    def blank(self) -> bool:
        """Whether a part of it is missing."""
        return any(not cell for cell in self.cells)


def place(table: Table, name: str, argument: str) -> int:
    """Position of a column by its name, in any case.

    Raises
    ------
    InputError
        No such column, or several.
    """
    wanted = str(name).strip()
    found = ([k for k, header in enumerate(table.header) if header == wanted]
             or [k for k, header in enumerate(table.header) if header.lower() == wanted.lower()])
    if len(found) == 1:
        return found[0]
    what = "no column" if not found else f"{len(found)} columns"
    raise InputError(f"{table.source}: found {what} {shown(wanted)} (`{argument}`); expected one; the columns are "
                     f"{', '.join(shown(header) for header in table.header[:12])}")


def keys_of(table: Table, by: Sequence[str]) -> list[Key]:
    """Keys of all rows."""
    columns = [table.columns[place(table, name, "by")] for name in by]
    return [Key(tuple("" if cell.strip().lower() in MISSING else " ".join(cell.split()) for cell in cells))
            for cells in zip(*columns, strict=True)]


def subjects_left_out(table: Table, by: Sequence[str]) -> tuple[Note, ...]:
    """Tell of a repeated column of subjects that the key does not begin with: its trials would pass for subjects."""
    if is_key(header_words(by[0]), SUBJECT_WORDS):
        return ()
    for header, cells in zip(table.header, table.columns, strict=True):
        held = [cell for cell in cells if cell.strip().lower() not in MISSING]
        if is_key(header_words(header), SUBJECT_WORDS - {"id"}) and 1 < len(set(held)) < len(held):
            return (Note(kind="trials_subjects_left_out", severity="trust", values={
                "column": header, "count": len(set(held)), "taken": by[0]}),)
    return ()


def readings_of(
    table: Table, name: str | None, by: Sequence[str], argument: str
) -> tuple[list[str], list[FloatArray]]:
    """Columns of readings: those named, after commas; else the only other column of numbers.

    Raises
    ------
    InputError
        A column that is not there or holds text, or none or several that may be meant.
    """
    if name is not None:
        exact = [header for header in table.header if header.lower() == str(name).strip().lower()]
        names = [str(name)] if exact else [part for part in str(name).split(",") if part.strip()]
        at = [place(table, part, argument) for part in names]
    else:
        taken = {place(table, part, "by") for part in by}
        at = [k for k, column in enumerate(table.columns) if k not in taken and _numeric(column)]
        if len(at) != 1:
            listed = ", ".join(shown(table.header[k]) for k in at) or "none"
            raise InputError(f"{table.source}: found {len(at)} columns of numbers besides the keys ({listed}); "
                             f"expected one; name it with `{argument}`")
    return [table.header[k] for k in at], [_numbers(table, k) for k in at]


def _numbers(table: Table, at: int) -> FloatArray:
    """Numbers of a column, of a pace or a time also as 4:33 or 1:02:03.5, in the unit that its name tells.

    Raises
    ------
    InputError
        A cell that is no number, or a number that no unit makes sense of.
    """
    name, cells = table.header[at], table.columns[at]
    found = {cell: CLOCK.fullmatch(cell.strip()) for cell in set(cells)}
    if any(found.values()):
        known = in_header(name)
        by = {"min": 60, "min/km": 60, "min/mi": 60, "h": 3600}.get(known.unit if known is not None else "s", 1)
        made = {cell: repr((3600 * int(m[1] or 0) + 60 * int(m[2]) + float(m[3].replace(",", "."))) / by) if m else cell
                for cell, m in found.items()}
        cells = [made[cell] for cell in cells]
    values = numbers(table, cells, name)
    far = np.flatnonzero((np.abs(values) > LARGEST) | ((values != 0) & (np.abs(values) < 1 / LARGEST)))
    if far.size:
        raise table.fail(int(far[0]), f"{shown(cells[far[0]])} in column {shown(name)}",
                         f"0, or a size from {1 / LARGEST:g} to {LARGEST:g}", "write it in another unit")
    return values


def is_clock(table: Table, name: str) -> bool:
    """Whether a column holds times or paces such as 4:33."""
    return any(CLOCK.fullmatch(cell.strip()) for cell in table.columns[table.header.index(name)])


def _numeric(cells: Sequence[str]) -> bool:
    held = [cell for cell in cells if cell.strip().lower() not in MISSING]
    return bool(held) and all(LOOKS_NUMERIC.fullmatch(cell) for cell in held)


def measured(
    headers: tuple[str, str], given: str | Quantity | None, unit: str | None, claim_unit: str = "",
    clocks: tuple[bool, bool] = (False, False),
) -> tuple[Quantity, tuple[str, str], tuple[Note, ...]]:
    """Quantity, units of both columns as they stand, and what the reader must know of how they were told.

    The headers tell the unit, and `clocks` columns of times such as 1:23.4, in s; else the quantity's own, or the
    claim's.

    Raises
    ------
    InputError
        Two units that do not convert, or a unit that is not the quantity's.
    """
    told = [unit_in_header(header) or ("s" if clock and in_header(header) is None else "")
            for header, clock in zip(headers, clocks, strict=True)]
    for header, own in zip(headers, told, strict=True):
        if own and unit and unit_of(own).dimension != unit_of(unit).dimension:
            raise InputError(f"column {shown(header)} is in {own}, which is not the `unit` given, {unit!r}")
    first = next((text for text in told if text), "")
    if given is None:
        named = [item for item in map(in_header, headers) if item is not None and item.name]
        given = named[0].name if named and all(item.name == named[0].name for item in named) else None
    notes: tuple[Note, ...] = ()
    if given is not None:
        what = quantity(given, first or unit or (claim_unit if not isinstance(given, Quantity) else ""))
    elif first or unit:
        what = plain(first or unit or "")
    elif claim_unit:
        what = plain(claim_unit)
        notes = (Note(kind="trials_unit_of_claim", severity="trust", values={"unit": claim_unit}),)
    else:
        what, notes = plain("units"), (Note(kind="trials_unit_unknown", severity="trust"),)
    units = tuple(header or unit or what.unit for header in told)
    other = next((text for text in units if unit_of(text).dimension != unit_of(what.unit).dimension), None)
    if other is not None:
        raise InputError(f"columns {shown(headers[0])} and {shown(headers[1])} are in {units[0]} and {units[1]}, which "
                         "do not convert; name columns of one quantity")
    return what, (units[0], units[1]), notes


def in_base(values: FloatArray, unit: str, item: Quantity) -> FloatArray:
    """Values in the unit that errors are computed in; NaN where there is no reading."""
    if item.zero_means == "missing":
        values = np.where(values == 0, np.nan, values)
    return convert(values, unit, item.computed_in)
