"""From a source of any kind to a table of text cells: what a file is, its first bytes tell, not its name."""

from __future__ import annotations

from typing import Any

from agree.core.data.source_identity import SourceIdentity
from agree.core.errors import InputError
from agree.core.quantities.known import POWER
from agree.core.quantity import Quantity
from agree.core.results.plain import plain_name
from agree.files import file_bytes
from agree.files.formats.text import text_table
from agree.files.frames import object_identity, object_table
from agree.files.source import Content, is_bytes, opened
from agree.files.table import Table


def open_table(
    source: Any, *, name: str | None = None, delimiter: str | None = None, decimal: str | None = None,
    column: str | None = None, quantity: Quantity = POWER, option: str = "source",
) -> tuple[Table, str, SourceIdentity]:
    """Return the table of a source, what the recording is called, and the identity of the source.

    Parameters
    ----------
    source : path, bytes, binary file object, data frame or arrays
        What to read.
    name : str, optional
        What to call the recording.
    delimiter, decimal, column : str, optional
        Delimiter, decimal sign and column of readings of a text, if they are known.
    quantity : Quantity
        What the readings are to be of: it helps to find the header of a text.
    option : str
        Argument that holds the source, for messages.

    Raises
    ------
    InputError
        A source that cannot be read or is no table.
    """
    if isinstance(source, Content):
        table = _table(source, delimiter, decimal, column, quantity)
        title, identity = source.title, source.identity
    elif not is_bytes(source):
        if delimiter is not None:
            raise InputError("`delimiter` is for files; a frame or an array has none; leave it out",
                             option="delimiter")
        table = object_table(source, name, quantity.name or "readings")._replace(decimal=decimal)
        title, identity = table.source, object_identity(table)
    else:
        content = opened(source, name, option)
        table = _table(content, delimiter, decimal, column, quantity)
        title, identity = content.title, content.identity
    return table._replace(header=[plain_name(cell) for cell in table.header]), title, identity


def _table(
    content: Content, delimiter: str | None, decimal: str | None, column: str | None, quantity: Quantity
) -> Table:
    data, source = content.data, content.source
    kind = file_bytes.kind_of(data, source)
    for told, value in (("delimiter", delimiter), ("decimal", decimal)):
        if kind != "text" and value is not None:
            raise InputError(f"{source}: found a {kind} file, in which `{told}` has no meaning; expected a text "
                             "table; leave it out", option=told)
    if kind == "FIT":
        from agree.files.formats.fit import fit_table
        return fit_table(data, source)
    if kind == "XML":
        from agree.files.formats.xml_points import xml_table
        return xml_table(data, source)
    if kind == "Parquet":
        from agree.files.formats.parquet import parquet_table
        return parquet_table(data, source)
    if kind == "JSON":
        from agree.files.formats.json_lines import json_table
        return json_table(data, source)
    return text_table(data, source, delimiter=delimiter, decimal=decimal, column=column, quantity=quantity)
