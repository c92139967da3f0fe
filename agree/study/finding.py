"""Pairs of files in a folder, found by their names."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from agree.core.errors import InputError
from agree.study.by_time import pairs_by_time
from agree.study.listing import StudyRow

ROLES = {
    "reference": ("reference", "ref", "crank", "trusted", "criterion", "gold"),
    "device": ("device", "dev", "test", "dut", "pedals", "pedal", "unit"),
}
SUFFIXES = (".csv", ".tsv", ".txt", ".fit", ".tcx", ".gpx", ".parquet", ".gz")
SEPARATORS = re.compile(r"[-_ ./]+")
Words = Mapping[str, tuple[str, ...]]
FIELD = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Pairs found in a folder, and the files that are no part of any, with why."""

    rows: tuple[StudyRow, ...]
    leftovers: tuple[tuple[str, str], ...]


def find_pairs(folder: str | Path, pattern: str | None = None, *, reference_word: str | None = None) -> Found:
    """Find the pairs of files in a folder by their names, and where these do not tell, by their times.

    Parameters
    ----------
    folder : path
        It is searched with all its subfolders.
    pattern : str, optional
        Named parts of the names, such as "{athlete}-{condition}-{session}-{unit}-{role}"; ``role`` is a word for the
        reference or the device. Without it, two paths that differ in just one such word are a pair; the rest of the
        name is the unit and the session. Files left over are a pair if the reference is the only one recorded at the
        device's time: the unit is then the device's folder, the session its first minute.
    reference_word : str, optional
        One more word that names the reference.

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
    >>> from agree.study import find_pairs
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
    words = dict(ROLES) if reference_word is None else ROLES | {"reference": (*ROLES["reference"],
                                                                            reference_word.lower())}
    groups: dict[tuple[tuple[str, str], ...], dict[str, list[Path]]] = {}
    leftovers: list[tuple[Path, str]] = []
    for path in files:
        parts = _named(path, pattern, words) if pattern is not None else _plain(path, words)
        if parts is None:
            leftovers.append((path, "its name does not fit the pattern"))
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
            leftovers += [(path, why) for path in (*references, *devices)]
    if pattern is None and leftovers:
        timed, leftovers = pairs_by_time(root, {path: _roles_of(path, words) for path, _ in sorted(leftovers)})
        rows += [StudyRow(unit=_unit_of(device, words), session=label, reference=reference.as_posix(),
                          device=device.as_posix()) for reference, device, label in timed]
    if not rows:
        raise InputError(f"{root}: found no pair among {len(files)} files; expected names that differ in one word, "
                         "such as ref and dev; give --pattern '{unit}-{session}-{role}'")
    return Found(rows=tuple(rows), leftovers=tuple((path.as_posix(), why) for path, why in sorted(leftovers)))


def _role(word: str, words: Words) -> str | None:
    return next((role for role, names in words.items() if word.lower() in names), None)


def _roles_of(path: Path, words: Words) -> str:
    """Return what the words of a path say: "reference", "device", "" for neither, or "both"."""
    found = {_role(word, words) for word in re.split(SEPARATORS, path.with_suffix("").as_posix())} - {None}
    return "both" if len(found) > 1 else next((role for role in found if role), "")


def _unit_of(device: Path, words: Words) -> str:
    """Return the folders of a device's file, without words for a role."""
    parts = [part for part in device.parent.parts if _role(part, words) is None]
    return "-".join(parts) or "1"


def _named(path: Path, pattern: str, words: Words) -> dict[str, str] | None:
    expression = re.escape(pattern)
    for name in FIELD.findall(pattern):
        expression = expression.replace(re.escape("{" + name + "}"), f"(?P<{name}>[^/]+?)", 1)
    text = path.with_suffix("").as_posix()
    found = re.fullmatch(expression, text) or re.fullmatch(expression, path.with_suffix("").name)
    if found is None:
        return None
    parts = {name: value for name, value in found.groupdict().items() if value is not None}
    role = _role(parts["role"], words)
    return None if role is None else parts | {"role": role}


def _plain(path: Path, words: Words) -> dict[str, str] | None:
    parts = [part for part in re.split(SEPARATORS, path.with_suffix("").as_posix()) if part]
    places = [k for k, part in enumerate(parts) if _role(part, words)]
    if len(places) != 1:
        return None
    role = _role(parts[places[0]], words)
    rest = [part for k, part in enumerate(parts) if k != places[0]]
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
