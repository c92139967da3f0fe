"""The list of a study: which two files are a pair, of which unit and session, under which conditions."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import zip_longest
from pathlib import Path
from typing import Any

from agree.core.errors import InputError

NEEDED = ("unit", "session", "reference", "device")
OWN = (*NEEDED, "claim", "quantity")
# Columns of the tables made of it.
RESULTS = {"verdict", "bias", "low", "high", "bias_unit", "error", "sessions", "listed", "over", "repeats"}


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyRow:
    """One pair of a study.

    Attributes
    ----------
    unit, session : str
        The specimen under test, and which of its sessions.
    reference, device : str
        Files, relative to the list's folder unless absolute, or URLs.
    claim : str
        A claim of its own; "" for that of the study.
    quantity : str
        What was recorded, if it is not that of the study: "heart rate", "speed"; "" for that of the study.
    factors : mapping of str to str
        Everything else the list says of the pair: condition, athlete, model.
    number : int
        Which row of the list it is; the header is row 1.
    empty : tuple of str
        Which of the four are empty: such a row cannot be checked.
    """

    unit: str
    session: str
    reference: str
    device: str
    claim: str = ""
    quantity: str = ""
    factors: Mapping[str, str] = field(default_factory=dict)
    number: int = 0
    empty: tuple[str, ...] = ()


def read_list(source: str | Path | Iterable[Mapping[str, Any]] | Any) -> tuple[list[StudyRow], Path]:
    """Read the list of a study.

    Parameters
    ----------
    source : path, mappings or data frame
        A CSV or Parquet file, rows as mappings, or a data frame, with the columns unit, session, reference and device,
        if wanted claim and quantity, and factors of any name.

    Returns
    -------
    list of StudyRow, Path
        In the list's order; the folder that relative paths start from.

    Raises
    ------
    InputError
        A column that is missing or there twice, a row with more cells than the header, or no row at all. A row
        with an empty cell stands in the list as one that cannot be checked.
    """
    folder = Path()
    if isinstance(source, str | Path):
        path = Path(source)
        folder, name = path.parent, path.name
        table = _numbered(_parquet(path)) if path.suffix == ".parquet" else _csv(path)
    else:
        name = "the list"
        table = _numbered(source.to_dict("records") if hasattr(source, "to_dict") else
                          source.to_dicts() if hasattr(source, "to_dicts") else list(source))
    rows = []
    for number, cells in table:
        names = [_column(str(key).strip()) for key in cells if key is not None]
        twice = next((column for column in names if names.count(column) > 1), None)
        if twice is not None:
            raise InputError(f"{name}: found the column {twice!r} twice; expected each once; rename or remove one")
        given = {_column(str(key).strip()): "" if value is None or value != value else str(value).strip()
                 for key, value in cells.items() if key is not None}
        if not any(given.values()):
            continue  # spreadsheets leave such rows below a table
        missing = [column for column in NEEDED if column not in given]
        if missing:
            raise InputError(f"{name}: found the columns {', '.join(given)}; expected {', '.join(NEEDED)}; add "
                             f"{', '.join(missing)}")
        taken = sorted(set(given) & RESULTS)
        if taken:
            raise InputError(f"{name}: found the column {taken[0]!r}, a name of the results; expected another name "
                             "for a factor; rename it, or give the list and not its results")
        rows.append(StudyRow(**{key: given.get(key, "") for key in OWN}, number=number,
                             factors={key: value for key, value in given.items() if key and key not in OWN},
                             empty=tuple(column for column in NEEDED if not given[column])))
    if not rows:
        raise InputError(f"{name}: found no pairs; expected a row for each")
    return rows, folder


def _column(name: str) -> str:
    """Return the name of a column; those that are needed are known in capitals too."""
    return name.lower() if name.lower() in OWN else name


def _numbered(rows: Iterable[Mapping[str, Any]]) -> list[tuple[int, Mapping[str, Any]]]:
    """Rows with their numbers as if a header stood above them."""
    return list(enumerate(rows, 2))


def _csv(path: Path) -> list[tuple[int, Mapping[str, Any]]]:
    """Rows with the lines that they end in."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}; give the list of a study, a CSV or Parquet file") from None
    except UnicodeDecodeError:
        raise InputError(f"{path.name}: found bytes that are not UTF-8; expected a CSV in UTF-8; save it so") from None
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    header = next(reader, [])
    names = [_column(cell.strip()) for cell in header]
    twice = next((column for column in names if column and names.count(column) > 1), "")
    if twice:
        raise InputError(f"{path.name}: found the column {twice!r} twice; expected each once; rename or remove one")
    rows: list[tuple[int, Mapping[str, Any]]] = []
    for cells in reader:
        if any(cell.strip() for cell in cells[len(header):]):
            raise InputError(f"{path.name}: row {reader.line_num}: found {len(cells)} cells; expected {len(header)}, "
                             f"one for each column; put a cell that holds {delimiter!r} into quotes")
        if cells:
            rows.append((reader.line_num, dict(zip_longest(header, cells[:len(header)], fillvalue=""))))
    return rows


def _parquet(path: Path) -> list[dict[str, Any]]:
    import pyarrow.parquet as pq

    table: list[dict[str, Any]] = pq.read_table(path).to_pylist()
    return table


def list_text(rows: Sequence[StudyRow]) -> str:
    """Return the list as CSV."""
    factors = list(dict.fromkeys(key for row in rows for key in row.factors))
    own = [name for name in ("claim", "quantity") if any(getattr(row, name) for row in rows)]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*NEEDED, *own, *factors])
    for row in rows:
        writer.writerow([*(getattr(row, name) for name in (*NEEDED, *own)),
                         *(row.factors.get(key, "") for key in factors)])
    return out.getvalue()
