"""From JSON lines, one flat object a row, to a table of text cells; other JSON is refused with what to do."""

from __future__ import annotations

import json
from typing import Any

from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.files.table import Table, shown

MAX_ROWS = 7 * 86_400 * 10
MAX_KEYS = 200
MAX_CELLS = 6_000_000
MAX_LINE = 100_000  # bytes
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
    columns: dict[str, list[str]] = {}
    nested: dict[str, int] = {}
    rows: list[int] = []
    for number, line in enumerate(data.splitlines(), 1):
        if line.isspace() or not line:
            continue
        found = _object(line, source, number)
        for key, value in found.items():
            if key not in columns:
                if len(columns) >= MAX_KEYS:
                    raise _fail(source, number, f"more than {MAX_KEYS} different keys")
                columns[key] = [""] * len(rows)
            columns[key].append(_cell(value))
            if isinstance(value, dict | list):
                nested[key] = nested.get(key, 0) + 1
        rows.append(number)
        for column in columns.values():
            column.extend([""] * (len(rows) - len(column)))
        if len(rows) > MAX_ROWS or len(rows) * len(columns) > MAX_CELLS:
            raise _fail(source, number, f"more than {MAX_ROWS} rows or {MAX_CELLS} cells")
    if len(rows) == 1 and any(isinstance(value, list) for value in found.values()):
        raise _fail(source, rows[0], "JSON of one object that holds arrays")
    every = {key: f"{key} (array or object)" for key, times in nested.items() if times == len(rows)}
    notes = [Note(kind="read_left_blank", values={"times": times, "what": f"{key} that is an array or object"})
             for key, times in nested.items()]
    header = [every.get(key, key).strip() or f"column {k + 1}" for k, key in enumerate(columns)]
    return Table(source, header, list(columns.values()), rows, notes, word="line", decimal=".")


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
