"""The list of a study: which two files are a pair, of which unit and session, under which conditions."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from agree.core.errors import InputError

NEEDED = ("unit", "session", "reference", "device")
OWN = (*NEEDED, "claim")
RESULTS = {"verdict", "bias", "low", "high", "bias_unit", "error", "sessions"}  # columns of the tables made of it
ROLES = {
    "reference": ("reference", "ref", "crank", "trusted", "criterion", "gold"),
    "device": ("device", "dev", "test", "dut", "pedals", "pedal", "unit"),
}
SUFFIXES = (".csv", ".tsv", ".txt", ".fit", ".tcx", ".gpx", ".parquet", ".gz")
FIELD = re.compile(r"\{(\w+)\}")


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
    factors : mapping of str to str
        Everything else the list says of the pair: condition, athlete, model.
    """

    unit: str
    session: str
    reference: str
    device: str
    claim: str = ""
    factors: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Pairs found in a folder, and the files that are no part of any, with why."""

    rows: tuple[StudyRow, ...]
    leftovers: tuple[tuple[str, str], ...]


def read_list(source: str | Path | Iterable[Mapping[str, Any]] | Any) -> tuple[list[StudyRow], Path]:
    """Read the list of a study.

    Parameters
    ----------
    source : path, mappings or data frame
        A CSV or Parquet file, rows as mappings, or a data frame, with the columns unit, session, reference and device,
        if wanted claim, and factors of any name.

    Returns
    -------
    list of StudyRow, Path
        In the list's order; the folder that relative paths start from.

    Raises
    ------
    InputError
        A missing column or an empty cell among the four that are needed.
    """
    folder = Path()
    if isinstance(source, str | Path):
        path = Path(source)
        folder, name = path.parent, path.name
        table = _parquet(path) if path.suffix == ".parquet" else _csv(path)
    else:
        name = "the list"
        table = source.to_dict("records") if hasattr(source, "to_dict") else (
            source.to_dicts() if hasattr(source, "to_dicts") else list(source))
    rows = []
    for number, cells in enumerate(table, 2):
        given = {_column(str(key).strip()): "" if value is None or value != value else str(value).strip()
                 for key, value in cells.items() if key is not None}
        missing = [column for column in NEEDED if column not in given]
        if missing:
            raise InputError(f"{name}: found the columns {', '.join(given)}; expected {', '.join(NEEDED)}; add "
                             f"{', '.join(missing)}")
        taken = sorted(set(given) & RESULTS)
        if taken:
            raise InputError(f"{name}: found the column {taken[0]!r}, a name of the results; expected another name "
                             "for a factor; rename it, or give the list and not its results")
        empty = [column for column in NEEDED if not given[column]]
        if empty:
            raise InputError(f"{name}, row {number}: found no {' and no '.join(empty)}; expected one; fill the cell in")
        rows.append(StudyRow(**{key: given.get(key, "") for key in OWN},
                             factors={key: value for key, value in given.items() if key not in OWN}))
    if not rows:
        raise InputError(f"{name}: found no pairs; expected a row for each")
    return rows, folder


def _column(name: str) -> str:
    """Return the name of a column; those that are needed are known in capitals too."""
    return name.lower() if name.lower() in OWN else name


def _csv(path: Path) -> list[dict[str, str]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}; give the list of a study, a CSV or Parquet file") from None
    except UnicodeDecodeError:
        raise InputError(f"{path.name}: found bytes that are not UTF-8; expected a CSV in UTF-8; save it so") from None
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    return list(csv.DictReader(io.StringIO(text), delimiter=delimiter))


def _parquet(path: Path) -> list[dict[str, Any]]:
    import pyarrow.parquet as pq

    table: list[dict[str, Any]] = pq.read_table(path).to_pylist()
    return table


def list_text(rows: Sequence[StudyRow]) -> str:
    """Return the list as CSV."""
    factors = list(dict.fromkeys(key for row in rows for key in row.factors))
    claims = ["claim"] if any(row.claim for row in rows) else []
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*NEEDED, *claims, *factors])
    for row in rows:
        writer.writerow([*(getattr(row, name) for name in (*NEEDED, *claims)),
                         *(row.factors.get(key, "") for key in factors)])
    return out.getvalue()


def find_pairs(folder: str | Path, pattern: str | None = None) -> Found:
    """Find the pairs of files in a folder by their names.

    Parameters
    ----------
    folder : path
        It is searched with all its subfolders.
    pattern : str, optional
        Named parts of the names, such as "{athlete}-{condition}-{session}-{unit}-{role}"; ``role`` is a word for the
        reference or the device. Without it, two paths that differ in just one such word are a pair; the rest of the
        name is the unit and the session.

    Returns
    -------
    Found

    Raises
    ------
    InputError
        No such folder, a pattern without {role}, or no pair at all.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from agree.study.listing import find_pairs
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for name in ("u1-s1-ref.csv", "u1-s1-dev.csv", "notes.txt"):
    ...         _ = (pathlib.Path(folder) / name).write_text("")
    ...     found = find_pairs(folder, "{unit}-{session}-{role}")
    >>> found.rows[0].unit, found.rows[0].session, found.rows[0].device, found.leftovers[0][0]
    ('u1', 's1', 'u1-s1-dev.csv', 'notes.txt')
    """
    root = Path(folder)
    if not root.is_dir():
        raise InputError(f"{root} is not a folder; give the folder that holds the recordings")
    if pattern is not None and "{role}" not in pattern:
        raise InputError(f"pattern {pattern!r} names no {{role}}; write one like '{{unit}}-{{session}}-{{role}}'")
    files = sorted(path.relative_to(root) for path in root.rglob("*")
                   if path.is_file() and not path.name.startswith(".") and path.suffix.lower() in SUFFIXES)
    groups: dict[tuple[tuple[str, str], ...], dict[str, list[Path]]] = {}
    leftovers = []
    for path in files:
        parts = _named(path, pattern) if pattern is not None else _plain(path)
        if parts is None:
            why = "its name does not fit the pattern" if pattern else "no word for reference or device in it"
            leftovers.append((str(path), why))
            continue
        role = parts.pop("role")
        groups.setdefault(tuple(sorted(parts.items())), {}).setdefault(role, []).append(path)
    rows = []
    for key, sides in sorted(groups.items(), key=lambda item: _order(dict(item[0]))):
        references, devices = sides.get("reference", []), sides.get("device", [])
        if len(references) == 1 and len(devices) == 1:
            rows.append(_row(dict(key), references[0], devices[0]))
        else:
            why = ("no device beside it" if not devices else "no reference beside it" if not references
                   else "several files of one name and role")
            leftovers += [(str(path), why) for path in (*references, *devices)]
    if not rows:
        raise InputError(f"{root}: found no pair among {len(files)} files; expected names that differ in one word, "
                         "such as ref and dev; give --pattern '{unit}-{session}-{role}'")
    return Found(rows=tuple(rows), leftovers=tuple(leftovers))


def _role(word: str) -> str | None:
    return next((role for role, words in ROLES.items() if word.lower() in words), None)


def _named(path: Path, pattern: str) -> dict[str, str] | None:
    expression = re.escape(pattern)
    for name in FIELD.findall(pattern):
        expression = expression.replace(re.escape("{" + name + "}"), f"(?P<{name}>[^/]+?)", 1)
    text = path.with_suffix("").as_posix()
    found = re.fullmatch(expression, text) or re.fullmatch(expression, path.with_suffix("").name)
    if found is None:
        return None
    parts = {name: value for name, value in found.groupdict().items() if value is not None}
    role = _role(parts["role"])
    return None if role is None else parts | {"role": role}


def _plain(path: Path) -> dict[str, str] | None:
    words = re.split(r"([-_ ./]+)", path.with_suffix("").as_posix())
    places = [k for k, word in enumerate(words) if _role(word)]
    if len(places) != 1:
        return None
    role = _role(words[places[0]])
    rest = [word for k, word in enumerate(words) if k != places[0] and not re.fullmatch(r"[-_ ./]+|", word)]
    if role is None or not rest:
        return None
    session = rest[-1] if len(rest) > 1 else "1"
    return {"role": role, "unit": "-".join(rest[:-1]) if len(rest) > 1 else rest[0], "session": session}


def _row(parts: dict[str, str], reference: Path, device: Path) -> StudyRow:
    return StudyRow(unit=parts.pop("unit", "1"), session=parts.pop("session", "1"), reference=reference.as_posix(),
                    device=device.as_posix(), claim=parts.pop("claim", ""), factors=parts)


def _order(parts: dict[str, str]) -> tuple[Any, ...]:
    """Units first, then their sessions; numbers in names count as numbers."""
    def natural(text: str) -> list[tuple[bool, int, str]]:
        words = [word for word in re.split(r"(\d+)", text) if word]
        return [(not word.isdigit(), int(word) if word.isdigit() else 0, word) for word in words]

    return natural(parts.get("unit", "")), natural(parts.get("session", "")), sorted(parts.items())
