"""From text to a table of cells: the delimiter, the header and what is no reading are found out."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator
from itertools import chain, dropwhile, islice
from pathlib import Path

import numpy as np

from agree.core.errors import InputError
from agree.core.quantities.known import POWER
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.files import file_bytes
from agree.files.formats.lines import Lines
from agree.files.formats.rows import Rows
from agree.files.naming.headers import called, heading
from agree.files.table import LOOKS_NUMERIC, MARKED_GROUPS, MINUS, MISSING, Table

SAMPLE_LINES, LOOK_BELOW = 80, 12  # a header is looked for in the sample, and proved by the rows below it
FEW_LINES = 31
MOST_NUMBERS_ABOVE = 2  # where the power is, in lines above the header; more are readings
SPACES, WIDE_SPACES, NO_DELIMITER = " ", "  ", "\x1f"  # one or more spaces; two or more
DELIMITERS = ("\t", ";", "|", ",", WIDE_SPACES, SPACES, NO_DELIMITER)  # the comma is late: it may be decimal
NAMES = {"\t": "tab", SPACES: "spaces", WIDE_SPACES: "two or more spaces", NO_DELIMITER: "none"}


def read_table(path: Path) -> Table:
    """Read a text file, not packed, into a table; every cell is stripped text."""
    source, expected = file_bytes.source_of(path), "a text table"
    data = file_bytes.raw(path, source, expected)
    if data.startswith(file_bytes.GZIP):
        raise InputError(f"{source}: found gzip; expected {expected}; unpack it first")
    return text_table(file_bytes.unpacked(data, source, expected), source)


def text_table(
    data: bytes, source: str, *, delimiter: str | None = None, decimal: str | None = None, column: str | None = None,
    quantity: Quantity = POWER,
) -> Table:
    """Turn text into a table, with the delimiter, decimal sign and name of the column if they are known.

    Raises
    ------
    InputError
        Binary data, an endless line, more rows or cells than a recording can have, a row with more cells than the
        header, an open quote.
    """
    lines = Lines(data, source)
    sample = list(islice(dropwhile(str.isspace, lines), SAMPLE_LINES))
    told = re.fullmatch(r'"?sep=([,;|\t])"?', sample[0].strip(" \n"), re.IGNORECASE) if sample else None
    if told:  # the line by which spreadsheets tell each other the delimiter
        sample = list(islice(dropwhile(str.isspace, chain(sample[1:], lines)), SAMPLE_LINES))
        delimiter = delimiter or told[1]
    if not sample:
        raise InputError(f"{source}: found no rows; expected a table of one recording; check the file")
    delimiter, above = _layout(sample, delimiter, column, quantity)
    notes = [Note(kind="read_delimiter", values={"delimiter": NAMES.get(delimiter, repr(delimiter))})]
    if not lines.encoding.startswith("utf-8"):
        notes.append(Note(kind="read_encoding", values={"encoding": lines.encoding}))
    if above:
        count = sum(not line.isspace() for line in sample[:above])
        notes.append(Note(kind="read_lines_above", values={"lines": count}))
    given = len(lines.numbers) - len(sample) + above  # lines before the table
    rest = _tabbed(chain(sample[above:], lines), delimiter)
    sign = "\t" if delimiter in (SPACES, WIDE_SPACES) else delimiter
    reader = csv.reader(rest, delimiter=sign, skipinitialspace=sign != "\t")
    table = Table(source, [], [], [], notes, delimiter=delimiter, decimal=decimal)
    try:
        first = next(reader)
        header = [cell.strip() for cell in first]
        headerless = _is_data(header)
        rows = Rows(table, len(header), None if headerless else first)
        rows.read(reader, lines, given, [first] if headerless else [])
    except csv.Error as exc:
        raise InputError(f"{source}: found text that is no table ({exc}); expected a comma, semicolon or tab "
                         "separated table; close any open quotes") from None
    named = _in_comment(lines, delimiter, len(header), quantity) if headerless else header
    if headerless and named:
        notes.append(Note(kind="read_header_in_comment"))
    if len(lines.comments) > lines.above:
        notes.append(Note(kind="read_comments", values={"lines": len(lines.comments) - lines.above}))
    header = [cell or f"column {k + 1}" for k, cell in enumerate(named or [""] * len(header))]
    return table._replace(header=header, columns=[*rows.columns], rows=rows.numbers, headerless=not named)


def _tabbed(lines: Iterable[str], delimiter: str) -> Iterator[str]:
    """Turn runs of spaces outside quotes into tabs, if they are the delimiter; a unit belongs to its name."""
    if delimiter not in (SPACES, WIDE_SPACES):
        return iter(lines)
    run = re.compile(rf'("[^"]*")| {{{len(delimiter)},}}(?![ \[(])')
    return (run.sub(lambda found: found[1] or "\t", line.strip(" \n")) + "\n" for line in lines)


def _split(sample: list[str], delimiter: str) -> list[list[str]]:
    """Split lines one by one; what is no row is an empty one."""
    sign = "\t" if delimiter in (SPACES, WIDE_SPACES) else delimiter
    rows = []
    for line in _tabbed(sample, delimiter):
        try:
            row = next(csv.reader([line], delimiter=sign, skipinitialspace=sign != "\t"), [])
        except csv.Error:
            row = []
        rows.append([cell.strip() for cell in row])
    return rows


def _layout(
    sample: list[str], delimiter: str | None, column: str | None, quantity: Quantity
) -> tuple[str, int]:
    """Return the delimiter, and how many lines stand above the header: found by a name of the quantity over numbers."""
    choices: tuple[str, ...] = DELIMITERS
    if delimiter is not None:
        choices = (WIDE_SPACES, SPACES) if delimiter == SPACES else (delimiter,)
    text = "".join(sample)
    choices = tuple(choice for choice in choices if choice in text or choice == NO_DELIMITER)
    split: dict[str, list[list[str]]] = {}
    for share in (1.0, 0.5):  # a name over numbers alone is better than one over many
        for choice in choices:
            if choice not in split:
                split[choice] = _split(sample, choice)
            start = _header(split[choice], column, quantity, share, single=choice == NO_DELIMITER)
            if start is not None:
                return choice, start
    return delimiter or _delimiter(sample[:FEW_LINES]), 0


def _header(
    rows: list[list[str]], column: str | None, quantity: Quantity, share: float, *, single: bool
) -> int | None:
    """Return the first row that names a column of the quantity over so many numbers among rows of its width."""
    for place, row in enumerate(rows):
        width = len(row)
        if width > 1 and _is_data(row):
            return None  # a table without names has begun
        if (width == 1) != single or any(map(_is_number, row)) or (
                single and (not place or re.search("[,;|\t]", row[0]))):
            continue
        columns = called(row, column) if column is not None else []
        columns = columns or naming(row, quantity)
        if not columns:
            continue
        below = [found for found in rows[place + 1:] if any(found) and found != row][: LOOK_BELOW + 1]
        same = [found for found in below if len(found) == width]
        units = same[:1] if same and not any(map(_is_number, same[0])) else []
        at = columns[0]
        cells = [found[at] for found in same if found not in units]
        fit = sum(cell.lower() in MISSING or _is_number(cell) for cell in cells)
        kinds = [tuple(map(_is_number, found)) for found in same if found not in units]  # "Serial,12" is no reading
        above = sum(len(found) == width and _is_number(found[at]) and tuple(map(_is_number, found)) in kinds
                    for found in rows[:place])
        if 2 * len(same) > len(below) and cells and fit >= share * len(cells) and above <= MOST_NUMBERS_ABOVE:
            return rows.index(row)  # it may come again
    return None


def _delimiter(sample: list[str]) -> str:
    """Return the delimiter that splits the first row and most of those below, for want of a better reason."""
    for delimiter in ("\t", ";", "|", ",", SPACES):
        sign = "\t" if delimiter == SPACES else delimiter
        try:
            reader = csv.reader(_tabbed(sample, delimiter), delimiter=sign, skipinitialspace=sign != "\t")
            width = [len(row) for row in reader if row]
        except csv.Error:
            continue
        if width[0] > 1 and (len(width) == 1 or np.median(width[1:]) > 1):
            return delimiter
    return NO_DELIMITER


def _is_data(row: list[str]) -> bool:
    """Tell whether a row holds readings, not names."""
    cells = [cell for cell in row if cell.lower() not in MISSING]
    return bool(cells) and all(map(_is_number, cells))


def _is_number(cell: str) -> bool:
    """Tell whether a cell looks like a number or a stamp."""
    return bool(LOOKS_NUMERIC.fullmatch(cell) or MARKED_GROUPS.fullmatch(cell.replace(MINUS, "-", 1))
                or LOOKS_NUMERIC.fullmatch(cell.replace(MINUS, "", 1)))


def naming(row: list[str], quantity: Quantity) -> list[int]:
    """Positions of the names of a quantity in a row: plain readings of it first, else one side, a target and so on."""
    found = [heading(name, quantity.name, quantity.aliases) for name in row]
    plain = [k for k, said in enumerate(found) if said.plain]
    return plain or [k for k, said in enumerate(found) if said.named]


def _in_comment(lines: Lines, delimiter: str, width: int, quantity: Quantity) -> list[str]:
    """Return the names in the comment above a table without a header, if they fit it."""
    text = lines.comments[lines.above - 1].lstrip("#/ \t") if lines.above else ""
    names = _split([text], delimiter)[0] if text else []
    return names if len(names) == width and naming(names, quantity) else []
