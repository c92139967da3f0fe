"""From a Parquet file to a table of text cells; what it claims of its size is checked before it is read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.files.naming.headers import UNIT_SECONDS, words
from agree.files.table import LOOKS_NUMERIC, Table, shown

MAX_ROWS = 7 * 86_400 * 10  # 7 days, 10 a second
MAX_COLUMNS = 1_000
MAX_CELLS = 6_000_000  # about 150 bytes each: below 1 GB
MAX_DECODED = 500_000_000
MAX_TEXT = 64  # bytes of a cell
PART = 1 << 16  # rows turned into text at once
PER_SECOND = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}
KINDS = {"number": ("is_integer", "is_floating", "is_decimal", "is_null"), "stamp": ("is_timestamp",),
         "date": ("is_date",), "time": ("is_time",), "duration": ("is_duration",),
         "text": ("is_string", "is_large_string", "is_string_view")}  # the last is not in older versions
WHOLE = "expected a whole Parquet file; write it again"


def parquet_table(data: bytes, source: str) -> Table:
    """Read the columns of numbers, stamps, durations and short texts of a Parquet file.

    Raises
    ------
    InputError
        A damaged file, one that holds more than a recording can, or no such column; pyarrow not installed.
    """
    try:
        import pyarrow as pa
        import pyarrow.compute
        import pyarrow.parquet as pq
    except ImportError:
        raise InputError(f"{source}: found a Parquet file; expected the library pyarrow to read it; "
                         "pip install 'agree-devices[parquet]'") from None
    notes: list[Note] = []
    header: list[str] = []
    columns: list[Sequence[str]] = []
    texts: set[str] = set()
    try:
        with _open(pa, pq, data) as file:
            kinds = _chosen(pa, file, source, notes)
            rows = file.metadata.num_rows
        # texts stay packed as dictionaries, so that a long one cannot multiply
        with _open(pa, pq, data, [name for name, kind in kinds.items() if kind == "text"]) as file:
            for name, kind in kinds.items():
                part = file.read(columns=[name], use_threads=False)
                for column in part.columns:  # several, if the name is there twice
                    cells = _cells(pa, column, kind, name)
                    if cells is None:
                        notes.append(Note(kind="read_long_texts", values={"column": name, "bytes": MAX_TEXT}))
                        continue
                    header.append(_called(name, kind, kinds))
                    columns.append(cells)
                    texts.update(cells if kind == "text" else ())
    except InputError:
        raise
    except Exception as exc:  # damaged bytes can raise anything in the library
        why = "".join(c if c.isprintable() else " " for c in f"{type(exc).__name__}: {exc}")[:120]
        raise InputError(f"{source}: found a Parquet file that cannot be decoded ({why}); {WHOLE}") from None
    if any(len(column) != rows for column in columns):
        raise InputError(f"{source}: found columns of unequal length; {WHOLE}")
    commas = any("," in cell and LOOKS_NUMERIC.fullmatch(cell) for cell in texts)
    return Table(source, header, columns, range(1, rows + 1), notes, decimal=None if commas else ".")


def _open(pa: Any, pq: Any, data: bytes, texts: Sequence[str] = ()) -> Any:
    return pq.ParquetFile(pa.BufferReader(data), read_dictionary=list(texts), page_checksum_verification=True,
                          thrift_string_size_limit=10_000_000, thrift_container_size_limit=1_000_000)


def _chosen(pa: Any, file: Any, source: str, notes: list[Note]) -> dict[str, str]:
    """Names and kinds of the columns worth reading, once all that the metadata claim is within bounds."""
    facts = file.metadata
    for found, most, what in ((facts.num_rows, MAX_ROWS, "rows"), (facts.num_columns, MAX_COLUMNS, "columns")):
        if found > most:
            raise InputError(f"{source}: found {found} {what}; expected at most {most}; keep one recording, and "
                             "only its columns of time and readings")
    kinds = {field.name: _kind(pa, field.type) for field in file.schema_arrow}
    left = [name for name, kind in kinds.items() if not kind]
    if left:
        notes.append(Note(kind="read_columns_left", values={"columns": _listed(left)}))
    kinds = {name: kind for name, kind in kinds.items() if kind}
    if not kinds or not facts.num_rows:
        raise InputError(f"{source}: found {len(kinds)} columns of numbers, stamps or texts and {facts.num_rows} rows; "
                         "expected a table of one recording; check the file")
    # by row group: the facts of a single damaged chunk of a column can end the process in pyarrow 26
    decoded = sum(facts.row_group(i).total_byte_size for i in range(facts.num_row_groups))
    if decoded > MAX_DECODED or len(kinds) * facts.num_rows > MAX_CELLS:
        raise InputError(f"{source}: found {len(kinds)} columns of {facts.num_rows} rows, {decoded} bytes unpacked; "
                         f"expected at most {MAX_CELLS} cells and {MAX_DECODED} bytes; keep one recording, and only "
                         "its columns of time and readings")
    return kinds


def _listed(names: list[str]) -> str:
    return ", ".join(map(shown, names[:12])) + (f" and {len(names) - 12} more" if len(names) > 12 else "")


def _kind(pa: Any, kind: Any) -> str:
    """How cells of an Arrow type become text; "" if they are of no use."""
    types = pa.types
    if types.is_dictionary(kind):
        return _kind(pa, kind.value_type)
    for name, tests in KINDS.items():
        if any(getattr(types, test, bool)(kind) for test in tests):
            return name
    return ""


def _called(name: str, kind: str, kinds: dict[str, str]) -> str:
    """Name of a column; an index without a name, as data frames write it, is the time if it is of that kind."""
    if not re.fullmatch(r"__index_level_\d+__", name) or kind not in ("stamp", "duration"):
        return name
    called = "timestamp" if kind == "stamp" else "elapsed"
    return name if called in kinds else called


def _cells(pa: Any, column: Any, kind: str, name: str) -> list[str] | None:
    """Return a column as text, each value of a part written once; None if the texts are too long for readings."""
    if pa.types.is_null(column.type):
        return [""] * len(column)
    packed = pa.types.is_dictionary(column.type)
    for chunk in column.chunks if kind == "text" else ():
        lengths = (chunk.dictionary if packed else chunk).cast("large_binary")
        if (pa.compute.max(pa.compute.binary_length(lengths)).as_py() or 0) > MAX_TEXT:
            return None
    cells: list[str] = []
    for chunk in column.chunks:
        for start in range(0, len(chunk), PART):
            part = chunk.slice(start, PART)
            part = part.dictionary_decode() if packed else part
            if pa.types.is_float16(part.type):  # older libraries do not encode halves
                part = part.cast(pa.float32())
            part = part.dictionary_encode()
            texts = [*_texts(part.dictionary, kind, name), ""]
            indices = part.indices.fill_null(len(texts) - 1).to_pylist()
            cells += [texts[i] for i in indices]
    return cells


def _texts(values: Any, kind: str, name: str) -> list[str]:
    """Write distinct values: floats so that they can be read back unchanged, stamps to their last digit."""
    if kind in ("number", "text"):
        return ["" if v is None else repr(v) if isinstance(v, float) else str(v).strip() for v in values.to_pylist()]
    if kind == "date":
        return ["" if v is None else v.isoformat() for v in values.to_pylist()]
    unit = values.type.unit
    zone = "Z" if kind == "stamp" and values.type.tz is not None else ""  # stored in UTC if there is a zone
    known = values.is_valid().to_pylist()
    counts = values.cast("int32" if values.type.bit_width == 32 else "int64").fill_null(0).to_numpy()
    if kind == "stamp":
        texts = [f"{text}{zone}" for text in np.datetime_as_string(counts.astype(f"datetime64[{unit}]")).tolist()]
    elif kind == "duration" and not UNIT_SECONDS.keys() & set(words(name)):
        texts = [repr(count / PER_SECOND[unit]) for count in counts.tolist()]
    else:  # a form that no unit in the name can change
        texts = [_clock(count, PER_SECOND[unit]) for count in counts.tolist()]
    return [text if there else "" for text, there in zip(texts, known, strict=True)]


def _clock(count: int, per_second: int) -> str:
    seconds, rest = divmod(count, per_second)
    fraction = f".{rest:0{len(str(per_second)) - 1}}" if per_second > 1 else ""
    return f"{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}{fraction}"
