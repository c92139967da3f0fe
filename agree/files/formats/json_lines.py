"""From JSON lines, one flat object a row, to a table of text cells; other JSON is refused with what to do."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Collection, Iterator, Sequence
from itertools import islice
from typing import Any

from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.files.table import Table, shown

MAX_ROWS = 7 * 86_400 * 10
MAX_KEYS = 200
MAX_CELLS = 6_000_000
MAX_LINE = 100_000  # bytes
CHUNK = 2_000  # lines that are looked at together
BLANK = r"[ \t]*"
TEXT = r'"([^"\\\x00-\x1f]*)"'
PLAIN = r"(-?(?:0|[1-9][0-9]{0,17})(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?|null|true|false)"
TWICE = "\0twice"
REMEDY = "write one object a line, such as {\"time\": 0, \"power\": 200}, or export the recording as CSV"


def json_table(data: bytes, source: str) -> Table:
    """Read JSON lines: each line an object of numbers and texts; keys become columns, in order of appearance.

    Raises
    ------
    InputError
        JSON of another form, a line that is not whole, or too many rows, keys or cells. An array or object within an
        object is left out, with a note.
    """
    read, lines, first = _Read(source), _lines(data), 1
    while chunk := list(islice(lines, CHUNK)):
        if not read.take_alike(chunk, first):
            for number, line in enumerate(chunk, first):
                if line and not line.isspace():
                    read.take(line, number)
        first += len(chunk)
    columns, rows, nested = read.columns, read.rows, read.nested
    if len(rows) == 1 and any(isinstance(value, list) for value in read.last.values()):
        raise _fail(source, rows[0], "JSON of one object that holds arrays")
    every = {key: f"{key} (array or object)" for key, times in nested.items() if times == len(rows)}
    notes = [Note(kind="read_left_blank", values={"times": times, "what": f"{key} that is an array or object"})
             for key, times in nested.items()]
    header = [every.get(key, key).strip() or f"column {k + 1}" for k, key in enumerate(columns)]
    return Table(source, header, list(columns.values()), rows, notes, word="line", decimal=".")


def _lines(data: bytes) -> Iterator[bytes]:
    """Lines without their ends, one by one where only line feeds end them: all at once take twice the file."""
    return iter(data.splitlines()) if b"\r" in data else (line.removesuffix(b"\n") for line in io.BytesIO(data))


class _Read:
    """What was read so far: cells by key, numbers of lines, how often a key held an array or object; the last line."""

    def __init__(self, source: str) -> None:
        self.columns: dict[str, list[str]] = {}
        self.rows: list[int] = []
        self.nested: dict[str, int] = {}
        self.last: dict[str, Any] = {}
        self._source = source

    def take(self, line: bytes, number: int) -> None:
        """Take one line, which is not blank."""
        columns, rows = self.columns, self.rows
        self.last = _object(line, self._source, number)
        for key, value in self.last.items():
            if key not in columns:
                if len(columns) >= MAX_KEYS:
                    raise _fail(self._source, number, f"more than {MAX_KEYS} different keys")
                columns[key] = [""] * len(rows)
            columns[key].append(_cell(value))
            if isinstance(value, dict | list):
                self.nested[key] = self.nested.get(key, 0) + 1
        rows.append(number)
        for column in columns.values():
            column.extend([""] * (len(rows) - len(column)))
        if len(rows) > MAX_ROWS or len(rows) * len(columns) > MAX_CELLS:
            raise _fail(self._source, number, f"more than {MAX_ROWS} rows or {MAX_CELLS} cells")

    def take_alike(self, lines: list[bytes], number: int) -> bool:
        """Take all of some lines from a number on, if they are alike but for plain values; tell whether they are."""
        count = len(self.rows) + len(lines)
        if count > MAX_ROWS or count * len(self.columns) > MAX_CELLS:
            return False
        cells = cells_alike(lines, self.columns)
        for key, column in (cells or {}).items():
            self.columns[key] += column
        self.rows += range(number, number + len(lines) if cells else number)
        return cells is not None


def cells_alike(lines: list[bytes], keys: Collection[str]) -> dict[str, list[str]] | None:
    """Cells by key of lines that are alike but for plain values; None if any is not, and must be read by itself.

    The first line tells which keys come in which order, and which of them are texts. One expression for all of it reads
    the others in a third of the time. What it does not know, such as an escaped sign, it does not match.
    """
    try:
        first = json.loads(lines[0], object_pairs_hook=list)
        text = b"\n".join(lines).decode()
    except (ValueError, RecursionError):
        return None
    if not isinstance(first, list) or not all(isinstance(pair, tuple) for pair in first) or (
            sorted(key for key, _ in first) != sorted(keys) or not first or max(map(len, lines)) > MAX_LINE):
        return None
    kinds = [isinstance(value, str) for _, value in first]
    pairs = ",".join(f'{BLANK}"{re.escape(key)}"{BLANK}:{BLANK}{TEXT if is_text else PLAIN}{BLANK}'
                     for (key, _), is_text in zip(first, kinds, strict=True))
    found = re.findall(rf"^{BLANK}\{{{pairs}\}}{BLANK}$", text, re.MULTILINE)
    if len(found) < len(lines):
        return None
    columns = zip(*found, strict=True) if len(first) > 1 else [found]
    plain = _Plain()
    return {key: _texts(column) if is_text else list(map(plain.__getitem__, column))
            for (key, _), is_text, column in zip(first, kinds, columns, strict=True)}


def _texts(column: Sequence[str]) -> list[str]:
    if len(f"x{'x'.join(column)}x".split()) == 1:  # no blanks, as in stamps
        return list(column)
    return [" ".join(cell.split()) for cell in column]


class _Plain(dict[str, str]):
    """Cells of numbers, true, false and null as they are written; equal ones are made and held once."""

    def __missing__(self, written: str) -> str:
        cell = self[written] = _cell(json.loads(written))
        return cell


def _object(line: bytes, source: str, number: int) -> dict[str, Any]:
    if len(line) > MAX_LINE:
        raise _fail(source, number, f"a line of more than {MAX_LINE} bytes")
    try:
        found = DECODER.decode(line.decode("utf-8-sig" if number == 1 else "utf-8"))
    except (ValueError, RecursionError):  # a number of more than 4,300 digits is a ValueError too
        raise _fail(source, number, "JSON that is no whole object in its line") from None
    if isinstance(found, dict) and TWICE in found:
        raise _fail(source, number, f"the key {shown(found[TWICE])} twice in one object")
    if not isinstance(found, dict):
        raise _fail(source, number, f"JSON that is a {type(found).__name__}, no object")
    return found


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return an object, or which key it has twice: which of the two is meant, nobody can tell."""
    made = dict(pairs)
    if len(made) < len(pairs):
        keys = [key for key, _ in pairs]
        return {TWICE: next(key for key in keys if keys.count(key) > 1)}
    return made


DECODER = json.JSONDecoder(object_pairs_hook=_pairs)  # made once: json.loads makes one for each line


def _cell(value: Any) -> str:
    if value is None or isinstance(value, dict | list):
        return ""
    return repr(value) if isinstance(value, float | int) else " ".join(str(value).split())


def _fail(source: str, number: int, found: str) -> InputError:
    return InputError(f"{source}, line {number}: found {found}; expected JSON lines of one recording; {REMEDY}")
