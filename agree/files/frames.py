"""From data frames and arrays of any kind to a table of text cells; what is given is not changed."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

import numpy as np

from agree.core.data.source_identity import SourceIdentity
from agree.core.errors import InputError
from agree.core.results.plain import plain_name
from agree.files.naming.headers import UNIT_SECONDS, words
from agree.files.table import Table, shown

KINDS = ("a path, bytes, a binary file object, a Recording, a data frame, an array, a tuple (time, power) or a mapping "
         "of columns")


def object_table(source: Any, name: str | None = None, readings: str = "power") -> Table:
    """Return the table of a data frame, an array, a tuple (time, power) or a mapping of columns.

    `readings` is what a column without a name is called.

    Raises
    ------
    InputError
        A lazy frame, an object of another kind, columns that are not of one dimension or not of one length.
    """
    name = plain_name(name) if name else None
    if isinstance(source, Mapping):
        return _array_table({str(key): value for key, value in source.items()}, name or "array")
    if isinstance(source, tuple):
        if len(source) != 2 or not all(map(_is_column, source)):
            raise InputError(f"a tuple must be (time, power), two arrays of one dimension; got {_called(source)}")
        return _array_table({"time": source[0], readings: source[1]}, name or "array")
    if isinstance(source, np.ndarray | list):
        return _array_table({readings: source}, name or "array")
    if hasattr(source, "to_frame"):  # a series
        source = source.to_frame(name=readings)
    return _frame_table(source, name or "frame")


def object_identity(table: Table) -> SourceIdentity:
    """Return the identity of a frame or array: of its header and cells as text, one a line, columns in order."""
    digest, size = hashlib.sha256(), 0
    for label, column in zip(table.header, table.columns, strict=True):
        part = "\n".join([label, *column, ""]).encode("utf-8", "surrogatepass")
        digest.update(part)
        size += len(part)
    return SourceIdentity(name=table.source, size_bytes=size, sha256=digest.hexdigest())


def _frame_table(frame: Any, name: str) -> Table:
    """Turn a data frame into text cells; in pandas a time index becomes the first column."""
    import narwhals as nw

    labels: list[Any] = []
    if hasattr(frame, "iloc") and hasattr(frame, "columns"):  # of pandas
        index = frame.index
        if index.dtype.kind in "mM" and (index.name or "timestamp") not in frame.columns:
            frame = frame.reset_index(names=index.name or "timestamp")
        labels = list(frame.columns)
        frame = frame.set_axis([str(k) for k in range(len(labels))], axis=1)  # labels may be equal, or no text
    try:
        held = nw.from_native(frame)
        if isinstance(held, nw.LazyFrame):
            raise InputError(f"{name}: found a lazy frame ({_called(frame)}); expected one in memory; collect it first")
        labels = labels or held.columns
        columns = [_texts(held[own].to_list(), held[own].is_null().to_list(), unit=_has_unit(label))
                   for own, label in zip(held.columns, labels, strict=True)]
    except (TypeError, ValueError, nw.exceptions.NarwhalsError) as exc:
        if isinstance(exc, InputError):
            raise
        raise InputError(f"a recording must be {KINDS}; got {_called(frame)}") from None
    return _table(name, labels, columns)


def _array_table(columns: Mapping[str, Any], name: str) -> Table:
    """Turn arrays into text cells."""
    made: dict[str, list[str]] = {}
    for label, given in columns.items():
        values = given
        if hasattr(values, "to_frame"):  # a series
            values = np.array(_frame_table(values.to_frame(name="x"), name).columns[-1], dtype=object)
        if not _is_column(values):
            raise InputError(f"{name}: {shown(label)} must be of one dimension; got {_called(values)}; pass one "
                             "column, a tuple (time, power) or a mapping of columns")
        array = np.ma.asarray(values) if isinstance(values, np.ma.MaskedArray) else np.asarray(values)
        if array.dtype.kind == "M":
            array = array.astype("datetime64[us]")
        elif array.dtype.kind == "m":
            array = array.astype("timedelta64[us]")
        made[label] = _texts(array.tolist(), unit=_has_unit(label))
    sizes = {label: len(cells) for label, cells in made.items()}
    if len(set(sizes.values())) > 1:
        listed = ", ".join(f"{shown(label)} {size}" for label, size in sizes.items())
        raise InputError(f"{name}: columns must be of one length; got {listed}")
    if not made:
        raise InputError(f"{name}: found no columns; expected a column of power; pass power, and time if it is known")
    return _table(name, list(made), list(made.values()))


def _is_column(values: Any) -> bool:
    if isinstance(values, str | bytes | Mapping):
        return False
    try:
        return np.ndim(values) == 1
    except ValueError:  # rows of unequal length
        return False


def _has_unit(label: Any) -> bool:
    """Tell whether a name holds a unit of time."""
    return bool(UNIT_SECONDS.keys() & set(words(str(label))))


def _texts(values: Sequence[Any], blank: Sequence[bool] | None = None, *, unit: bool = False) -> list[str]:
    """Return values as a file would hold them, blank where there is none; with a unit durations as h:mm:ss.

    A duration has its length, whatever unit its column is named after.
    """
    if blank is None:
        blank = [value is None or bool(value != value) for value in values]
    return ["" if none else repr(value) if type(value) is float else _duration(value, unit=unit)
            if isinstance(value, timedelta) else str(value).strip() for value, none in zip(values, blank, strict=True)]


def _duration(value: timedelta, *, unit: bool) -> str:
    seconds = value.days * 86_400 + value.seconds
    if not unit or seconds < 0:
        return repr(value.total_seconds())
    return f"{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}.{value.microseconds:06}"


def _table(name: str, labels: Sequence[Any], columns: Sequence[list[str]]) -> Table:
    header = [str(label).strip() or f"column {k + 1}" for k, label in enumerate(labels)]
    return Table(name, header, list(columns), range(len(columns[0]) if columns else 0), [], word="position")


def _called(source: Any) -> str:
    kind = type(source)
    return f"{kind.__module__}.{kind.__qualname__}".removeprefix("builtins.")
