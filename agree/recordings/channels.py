"""From a table of text cells to checked columns: time, the readings asked for, and the channels beside them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import SampleSizeError
from agree.core.quantities.units import KNOWN_UNITS
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.files.naming.headers import SECONDS
from agree.files.naming.vocabulary import words
from agree.files.table import LOOKS_NUMERIC, Table, many, shown
from agree.recordings.clock_forms import Stamps
from agree.recordings.columns import choose
from agree.recordings.options import Options
from agree.recordings.readings import channel, readings, unit_texts
from agree.recordings.time_column import stamped, start_of, with_date

UNIT_WORDS = SECONDS | {"hh", "mm", "ss"} | {"".join(words(text)) for unit in KNOWN_UNITS for text in unit.words}


class Traces(NamedTuple):
    """What a table holds: `values` of the quantity and the other channels by name; see `Recording`."""

    time: FloatArray
    values: FloatArray
    channels: dict[str, FloatArray]
    clock: str
    start: str
    columns: dict[str, str]
    notes: tuple[Note, ...]


def traces(table: Table, quantity: Quantity, options: Options) -> Traces:
    """Choose the columns of a table, convert and check them.

    Raises
    ------
    InputError
        As of `read_recording`.
    """
    table, below = without_unit_row(table)
    if not len(table.rows):
        raise table.fail(None, "no rows below the header", "a row for each reading", "export the file again")
    labels = [unit_texts(header, unit) for header, unit in zip(table.header, below, strict=True)]
    choice = choose(table, options.chosen, options.time_column, options.cadence_column, options.speed_column,
                    quantity=quantity, option=options.option)
    name = table.header[choice.readings]
    values = readings(table, choice.readings, labels[choice.readings], quantity)
    columns, keep = {quantity.name: name}, np.ones(values.size, bool)
    if choice.time is None:
        stamps = Stamps(np.arange(values.size, dtype=float), "rows", "")
        how = Note(kind="read_time_rows", severity="trust")
    else:
        dated, called = with_date(table, choice.time, choice.date)
        keep, stamps = stamped(dated, choice.time, called, values, words(labels[choice.time]),
                               day_first=options.day_first, zone=options.zone)
        how = Note(kind="read_time", values={"column": called, "form": stamps.form})
        columns["time"] = called
    others: dict[str, FloatArray] = {}
    named = {"cadence": options.cadence_column, "speed": options.speed_column}
    for what, at in choice.others.items():
        found = channel(table, what, at, labels[at], named=named.get(what) is not None)
        if found is not None:
            columns[what] = table.header[at]
            others[what] = found[keep]
    values = values[keep]
    count = int(np.isfinite(values).sum())
    if count < 3:
        error = table.fail(None, f"{many(count, f'{quantity.label} reading')} in column {shown(name)}", "at least 3",
                           f"check that the device recorded {quantity.label}")
        raise SampleSizeError(str(error)) if count else error
    blank = values.size - count
    notes = [Note(kind="read_column", values={"column": name, "quantity": quantity.label}), how, *choice.notes,
             *table.notes]
    notes += [Note(kind="read_without_reading", values={"rows": blank, "quantity": quantity.label})] if blank else []
    return Traces(stamps.seconds, values, others, stamps.clock, start_of(stamps), columns, tuple(notes))


def without_unit_row(table: Table) -> tuple[Table, list[str]]:
    """Drop a row of units below the header; return what it holds for each column, "" where there is none."""
    if len(table.rows) and not table.headerless:
        cells = [column[0] for column in table.columns]
        if any("".join(words(cell)) in UNIT_WORDS for cell in cells if cell) and not any(
                map(LOOKS_NUMERIC.fullmatch, cells)):
            table.notes.append(Note(kind="read_unit_row", values={"word": table.word, "row": int(table.rows[0])}))
            return table.without_row(0), cells
    return table, [""] * len(table.header)
