"""Pairs of files in a folder, found by their names."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from agree.core.errors import InputError
from agree.study.by_time import pairs_by_time
from agree.study.listing import NEEDED, StudyRow

ROLES = {
    "reference": ("reference", "ref", "crank", "trusted", "criterion", "gold"),
    "device": ("device", "dev", "test", "dut", "pedals", "pedal", "unit"),
}
SUFFIXES = (".csv", ".tsv", ".txt", ".fit", ".tcx", ".gpx", ".parquet", ".gz")
SEPARATORS = re.compile(r"[-_ ./]+")
LIST_HEAD = ",".join(NEEDED).encode()
PLACE = " place"  # of the role among the words of a name: no part of a pattern is called so
Words = Mapping[str, tuple[str, ...]]
Key = tuple[tuple[str, str], ...]
Named = tuple[Path, str, dict[str, str]]
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
        It is searched with all its subfolders; lists of studies are no recordings.
    pattern : str, optional
        Named parts of the names, such as "{athlete}-{condition}-{session}-{unit}-{role}"; ``role`` is a word for the
        reference or the device. Several devices may share a reference: put what its name lacks into brackets,
        "{athlete}-{session}[-{unit}]-{role}", or leave {unit} out, and each word that names no role is a unit. Without
        a pattern, two paths that differ in just one such word are a pair; the rest of the
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
                   if path.is_file() and not path.name.startswith(".") and path.suffix.lower() in SUFFIXES
                   and not _is_list(path))
    words = dict(ROLES) if reference_word is None else ROLES | {"reference": (*ROLES["reference"],
                                                                            reference_word.lower())}
    named = [item for path in files
             for item in (_plain(path, words) if pattern is None else _named(path, pattern, words))]
    if pattern is not None and "{unit}" not in pattern:
        named = _one_unit_if_only_role(named, words)
    rows, left = _matched(named)
    told = {path for path, _, _ in named}
    leftovers = [*left.items(), *((path, "its name does not fit the pattern") for path in files if path not in told)]
    if pattern is None and leftovers:
        timed, leftovers = pairs_by_time(root, {path: _roles_of(path, words) for path, _ in sorted(leftovers)})
        rows += [StudyRow(unit=_unit_of(device, words), session=label, reference=reference.as_posix(),
                          device=device.as_posix()) for reference, device, label in timed]
    if not rows:
        raise InputError(f"{root}: found no pair among {len(files)} files; expected names that differ in one word, "
                         "such as ref and dev; give --pattern '{unit}-{session}-{role}'")
    return Found(rows=tuple(rows), leftovers=tuple((path.as_posix(), why) for path, why in sorted(leftovers)))


def _is_list(path: Path) -> bool:
    """Whether a file is the list of a study, not a recording."""
    if path.suffix.lower() != ".csv":
        return False
    try:
        with path.open("rb") as file:
            return file.read(100).removeprefix(b"\xef\xbb\xbf").startswith(LIST_HEAD)
    except OSError:
        return False


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


def _matched(named: Sequence[Named]) -> tuple[list[StudyRow], dict[Path, str]]:
    """Pair each device with the one reference whose name says the same, or the same but for the unit."""
    sides: dict[str, dict[Key, list[Path]]] = {"reference": {}, "device": {}}
    for path, role, parts in named:
        sides[role].setdefault(tuple(sorted(parts.items())), []).append(path)
    found, used, crowded = [], set[Path](), set[Path]()
    for key, devices in sides["device"].items():
        plain = tuple(part for part in key if part[0] != "unit")
        references = sides["reference"].get(key) or sides["reference"].get(plain) or []
        if len(references) == 1 and len(devices) == 1:
            found.append((dict(key), references[0], devices[0]))
            used |= {references[0], devices[0]}
        elif references:
            crowded |= {*references, *devices}
    left = {}
    for path, role, _ in named:
        if path not in used:
            other = "reference" if role == "device" else "device"
            left[path] = "several files of one name and role" if path in crowded else f"no {other} beside it"
    found.sort(key=lambda item: _order(item[0]))
    return [_row(parts, reference, device) for parts, reference, device in found], left


def _named(path: Path, pattern: str, words: Words) -> list[Named]:
    """Read a name by a pattern; what is in brackets may be missing, and without {unit} a word for no role is a unit."""
    expression = re.escape(pattern).replace(r"\[", "(?:").replace(r"\]", ")?")
    for name in FIELD.findall(pattern):
        expression = expression.replace(re.escape("{" + name + "}"), f"(?P<{name}>[^/]+?)", 1)
    text = path.with_suffix("").as_posix()
    found = re.fullmatch(expression, text) or re.fullmatch(expression, path.with_suffix("").name)
    if found is None:
        return []
    parts = {name: value for name, value in found.groupdict().items() if value is not None}
    word = parts.pop("role")
    role = _role(word, words)
    if role != "reference" and "{unit}" not in pattern:
        return [(path, "device", parts | {"unit": word})]
    return [] if role is None else [(path, role, parts)]


def _one_unit_if_only_role(named: Sequence[Named], words: Words) -> list[Named]:
    """Take the unit off names that only say "dev"; beside names of other devices, pedals are a unit of that name."""
    units = [parts["unit"] for _, role, parts in named if role == "device"]
    if not all(_role(unit, words) for unit in units):
        return list(named)
    return [(path, role, {name: value for name, value in parts.items() if name != "unit"})
            for path, role, parts in named]


def _plain(path: Path, words: Words) -> list[Named]:
    """Read a name without a pattern: once for each of its words that may name the role."""
    parts = [part for part in re.split(SEPARATORS, path.with_suffix("").as_posix()) if part]
    found: list[Named] = []
    for k, part in enumerate(parts):
        role, rest = _role(part, words), [*parts[:k], *parts[k + 1:]]
        if role is not None and rest:
            session = rest[-1] if len(rest) > 1 else "1"
            unit = "-".join(rest[:-1]) if len(rest) > 1 else rest[0]
            found.append((path, role, {"unit": unit, "session": session, PLACE: str(k)}))
    return found


def _row(parts: dict[str, str], reference: Path, device: Path) -> StudyRow:
    parts.pop(PLACE, None)
    return StudyRow(unit=parts.pop("unit", "1"), session=parts.pop("session", "1"), reference=reference.as_posix(),
                    device=device.as_posix(), claim=parts.pop("claim", ""), factors=parts)


def _order(parts: dict[str, str]) -> tuple[Any, ...]:
    """Units first, then their sessions; numbers in names count as numbers."""
    def natural(text: str) -> list[tuple[bool, int, str]]:
        words = [word for word in re.split(r"(\d+)", text) if word]
        return [(not word.isdigit(), int(word) if word.isdigit() else 0, word) for word in words]

    return natural(parts.get("unit", "")), natural(parts.get("session", "")), sorted(parts.items())
