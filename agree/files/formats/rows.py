"""Rows of a text table gathered into columns, bounded in number; what is no reading is left out."""

from __future__ import annotations

import re
from array import array
from collections.abc import Iterable
from itertools import accumulate, islice
from typing import Any

from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.files.formats.lines import Lines
from agree.files.naming.vocabulary import words
from agree.files.table import LOOKS_NUMERIC, Table, many

MAX_ROWS = 7 * 86_400 * 10  # a week at 10 a second
MAX_CELLS = 8_000_000  # about 100 bytes each: below 1 GB
CHUNK, POOL = 20_000, 50_000
MOST_SUMMARIES = 10
MOST_SHAPES = 3  # of the cells in a column of numbers or stamps
SUMMARY_WORDS = frozenset({
    "total", "totals", "sum", "summary", "average", "averages", "avg", "mean", "max", "maximum", "min", "minimum",
    "gesamt", "summe", "mittel", "mittelwert", "durchschnitt", "somme", "moyenne", "suma", "promedio", "media",
    "totale", "totaal", "gemiddelde", "maximo", "minimo", "massimo", "maks", "razem", "srednia", "laczne",
    "std", "sd", "stdev", "count"})


class Rows:
    """Columns of stripped cells, and the line number of each row."""

    def __init__(self, table: Table, width: int, header: list[str] | None) -> None:
        self.columns: list[list[str]] = [[] for _ in range(width)]
        self.numbers = array("q")
        self._table, self._width, self._header = table, width, header
        self._units: list[str] | None = None  # the first row, if it holds no numbers
        self._after_header = False
        self._repeated = self._last_width = 0
        self._short: list[tuple[int, int]] = []  # row and its cells
        self._pools: list[dict[str, str]] = [{} for _ in range(width)]

    def read(self, reader: Any, lines: Lines, given: int, first: list[list[str]]) -> None:
        """Take all rows of a csv reader, in chunks, so that no cell is held twice; `first` were read before."""
        seen = 0 if first else reader.line_num
        if lines.total > 1.1 * MAX_ROWS or lines.total * self._width > 1.1 * MAX_CELLS:
            raise self._too_many(lines.total)  # at once, and with room for comments
        while rows := [*first, *islice(reader, CHUNK)]:
            first = []
            numbers = lines.numbers[given + seen: given + reader.line_num].tolist()
            seen = reader.line_num
            if len(numbers) != len(rows):  # a row with an open quote takes several lines
                starts = accumulate((1 + sum(cell.count("\n") for cell in row) for row in rows), initial=0)
                numbers = [numbers[min(start, len(numbers) - 1)] for start in islice(starts, len(rows))]
            self._last_width = len(rows[-1])
            rows, numbers = self._fitted(*self._without_repeats(rows, numbers))
            count = len(self.numbers) + len(rows)
            if count > MAX_ROWS or count * self._width > MAX_CELLS:
                raise self._too_many(count)
            for column, pool, cells in zip(self.columns, self._pools, zip(*rows, strict=True), strict=False):
                stripped: Iterable[str] = map(str.strip, cells)
                if self.numbers and len(pool) < POOL:  # equal cells are held once
                    stripped = [pool.setdefault(cell, cell) for cell in stripped]
                column.extend(stripped)
            self.numbers.extend(numbers)
        self._finish(lines)

    def _too_many(self, count: int) -> InputError:
        return InputError(f"{self._table.source}: found {count} rows, or more, of {many(self._width, 'cell')}; "
                          f"expected at most {MAX_ROWS} rows and {MAX_CELLS} cells; cut the file to one "
                          "recording, or leave out columns")

    def _without_repeats(self, rows: list[list[str]], numbers: list[int]) -> tuple[list[list[str]], list[int]]:
        """Leave out a header that comes again, as where laps were joined, with its units."""
        header = self._header
        if header is None:
            return rows, numbers
        if not self.numbers and self._units is None:
            top = next((row for row in rows if any(row) and row != header), [])
            self._units = [] if any(LOOKS_NUMERIC.fullmatch(cell.strip()) for cell in top) else top
        if header not in rows and not self._after_header:
            return rows, numbers
        kept, places, after = [], [], self._after_header
        for row, number in zip(rows, numbers, strict=True):
            if row == header:
                self._repeated += 1
                after = True
            elif after and row and row == self._units:
                after = False
            else:
                kept.append(row)
                places.append(number)
                after = after and not any(row)
        self._after_header = after
        return kept, places

    def _fitted(self, rows: list[list[str]], numbers: list[int]) -> tuple[list[list[str]], list[int]]:
        """Return rows of one width: blank ones left out, short ones filled, long ones cut where they are blank."""
        width = self._width
        if width == 1:  # an empty line amid the readings of a single column is a blank reading
            rows = [row or [""] for row in rows]
        if set(map(len, rows)) <= {width}:
            return rows, numbers
        kept, places = [], []
        for row, number in zip(rows, numbers, strict=True):
            if len(row) <= 1 < width and not any(map(str.strip, row)):
                continue
            if any(map(str.strip, row[width:])):
                table = self._table._replace(rows=[number])
                raise table.fail(0, f"{len(row)} cells", f"{width}, as in the first row",
                                 "quote numbers with a decimal comma, or separate cells by semicolons")
            if len(row) < width:
                self._short.append((number, len(row)))
            kept.append([*row[:width], *[""] * (width - len(row))])
            places.append(number)
        return kept, places

    def _finish(self, lines: Lines) -> None:
        """Leave out what stands below the readings, and say what was done."""
        table, columns, numbers = self._table, self.columns, self.numbers
        while self._width == 1 and numbers and not columns[0][-1]:
            self._drop()
        while self._width == 1 and numbers and not columns[0][0]:
            del columns[0][0], numbers[0]
        if lines.cut and numbers:
            self._judge_last(lines.last)
        if self._short and table.delimiter in (" ", "  "):
            number, cells = self._short[0]
            raise table._replace(rows=[number]).fail(
                0, f"{many(cells, 'cell')}", f"{self._width}, as in the first row",
                "put - where there is no reading, or separate cells by semicolons")
        if self._short:
            table.notes.append(Note(kind="read_short_rows", severity="trust", values={"rows": len(self._short)}))
        if self._repeated:
            table.notes.append(Note(kind="read_header_again", values={"rows": self._repeated}))
        last = [next((column[-1 - k] for column in columns if column[-1 - k]), "")
                for k in range(min(MOST_SUMMARIES, len(numbers)))]
        are = [bool(split) and split[0] in SUMMARY_WORDS for split in map(words, last)]
        for cell in last[: are.index(False) if False in are else 0]:
            table.notes.append(Note(kind="read_summary_row", values={"word": table.word, "row": numbers[-1],
                                                                    "cell": cell}))
            self._drop()

    def _judge_last(self, line: str) -> None:
        """Tell of a last row without a line end: it is left out if it is short of cells, or its last cell looks cut."""
        number, short = self.numbers[-1], self._last_width < self._width
        if short or line.count('"') % 2 or _looks_cut(self.columns[-1]):
            self._drop()
            self._short = self._short[:-1] if short else self._short
            self._table.notes.append(Note(kind="read_cut_row", severity="trust",
                                          values={"word": self._table.word, "row": number}))
        else:
            self._table.notes.append(Note(kind="read_last_row_whole",
                                          values={"word": self._table.word, "row": number}))

    def _drop(self) -> None:
        """Leave out the last row."""
        self.numbers.pop()
        for column in self.columns:
            column.pop()


def _shape(cell: str) -> tuple[str, int]:
    """Return a cell with every run of digits as one, and how many digits end it if there is more than digits."""
    bare = cell.lstrip("+-")
    tail = re.search(r"\D(\d*)$", bare)
    return re.sub(r"\d+", "9", bare), len(tail[1]) if tail else 0


def _looks_cut(cells: list[str]) -> bool:
    """Tell whether the last cell has not the form of any other: 12. or 12:0 among 12.50 or 12:00."""
    if not cells[-1]:
        return False
    shape, tail = _shape(cells[-1])
    others: dict[str, int] = {}
    for cell in cells[-1001:-1]:
        if cell:
            found, digits = _shape(cell)
            others[found] = min(digits, others.get(found, digits))
    return 0 < len(others) <= MOST_SHAPES and tail < others.get(shape, 99)
