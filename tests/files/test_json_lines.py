"""JSON lines that are alike are read together, as they are one by one."""

import json

from agree.core.errors import InputError
from agree.files.formats import json_lines
from agree.files.formats.json_lines import cells_alike, json_table
from tests.each import each

ALIKE = [json.dumps({"time": f"2024-05-31T17:02:{k:02d}Z", "power": 200 + k, "note": None, "up": k % 2 > 0}).encode()
         for k in range(12)]
ODD = [b'{"time": " a", "power": 1, "note": 2, "up": 3}', b'{"time": "a", "power": 1.50, "note": null, "up": true}',
       b'{"time": " a  b ", "power": -0, "note": 1, "up": 0}',
       b'{"time": "a", "power": -0.0, "note": 1e3, "up": 2E-2}', b'{"time": "a", "power": 1e999, "note": 0, "up": 0}',
       b'\t{ "time":"a","power" :1 ,"note": 0, "up": 0 } ', b'{"time": "a\\n\\u0062", "power": 1, "note": 0, "up": 0}',
       b'{"power": 1, "time": "a", "note": 0, "up": 0}', b'{"time": "a", "power": 1, "note": 0}',
       b'{"time": "a", "power": 1, "note": 0, "up": 0, "more": 3}', b'{"time": "a", "power": [1], "note": {}, "up": 0}',
       b'{"time": 5, "power": "5", "note": 0, "up": 0}', b'{"time": "a", "power": NaN, "note": 0, "up": Infinity}',
       b'{"time": "a", "power": 123456789012345678901234567890, "note": 0, "up": 0}', b"", b"  ",
       b'{"time": "a", "power": 1, "note": 0, "up": 0}, {"time": "a", "power": 1, "note": 0, "up": 0}',
       b'{"time": "a", "power": 1, "note": 0, "up": 0}{}', b'{"time": "a", "power": 1, "note": 0, "up": 0',
       b'{"time": "a", "power": 1, "time": "b", "up": 0}', b'{"time": "a", "power": 01, "note": 0, "up": 0}',
       b'{"time": "a", "power": +1, "note": 0, "up": 0}', b'{"time": "a", "power": 1., "note": 0, "up": 0}',
       b'{"time": "\x01", "power": 1, "note": 0, "up": 0}', b'{"time": "\xff", "power": 1, "note": 0, "up": 0}',
       '{"time": "ä\u2028", "power": 1, "note": 0, "up": 0}'.encode(),
       '{"time": "a", "power": \u0661, "up": 0}'.encode(),
       b"[]", b"7", b'"text"', b"{}", b'{"a": {"b": 1}', b'{"time": ' + b"[" * 5000]


def told(lines):
    try:
        table = json_table(b"\n".join(lines), "x.jsonl")
    except InputError as error:
        return str(error)
    return table.header, table.columns, list(table.rows), [(note.kind, note.values) for note in table.notes]


@each(("at", "end"), [(0, b""), (4, b""), (6, b"\r")])
@each("odd", ODD)
def test_what_is_read_together_is_read_one_by_one(monkeypatch, odd, at, end):
    lines = [line + end for line in (*ALIKE[:at], odd, *ALIKE[at:])]
    monkeypatch.setattr(json_lines, "CHUNK", 4)
    together = told(lines)
    monkeypatch.setattr(json_lines, "cells_alike", lambda *_: None)
    assert told(lines) == together


def test_lines_that_are_alike_are_read_together():
    found = cells_alike(ALIKE, ["power", "time", "note", "up"])
    assert found["power"] == [str(200 + k) for k in range(12)]
    assert (found["note"], found["up"][:2], found["time"][1]) == ([""] * 12, ["False", "True"], "2024-05-31T17:02:01Z")
    assert cells_alike([*ALIKE, ALIKE[0][:-1]], ["power", "time", "note", "up"]) is None
    assert cells_alike(ALIKE, ["power", "time"]) is None
