"""From a path, bytes, a data frame or columns to a table of text cells, and the identity of what was read."""

from __future__ import annotations

from typing import Any

from agree.core.errors import InputError
from agree.files import file_bytes
from agree.files.formats.text import text_table
from agree.files.frames import object_table
from agree.files.source import is_bytes, opened
from agree.files.table import Table

EXPECTED = "a table of trials"


def table_of(source: Any, name: str) -> tuple[Table, dict[str, Any] | None]:
    """Return the table, and name, bytes and SHA-256 of a file.

    Raises
    ------
    InputError
        No such file, a file of another kind, or an object that holds no columns.
    """
    if not is_bytes(source):
        return object_table(source, name), None
    content = opened(source, option=name, expected=EXPECTED)
    data, called = content.data, content.source
    identity = {"name": called, "bytes": content.identity.size_bytes, "sha256": content.identity.sha256}
    kind = file_bytes.kind_of(data, called)
    if kind == "Parquet":
        from agree.files.formats.parquet import parquet_table

        return parquet_table(data, called), identity
    if kind == "JSON":
        from agree.files.formats.json_lines import json_table

        return json_table(data, called), identity
    if kind != "text":
        raise InputError(f"{called}: found a {kind} file, which holds one recording; expected {EXPECTED}, a row for "
                         "each trial; for recordings use pair_recordings")
    return text_table(data, called), identity
