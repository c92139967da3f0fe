"""The files of several sessions: from --session, a list, or a folder."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path
from typing import Any, NamedTuple

COLUMNS = ("reference", "device")
NAMED = re.compile(r"(?P<session>.*?)[-_. ]*(?P<role>reference|device)[-_. ]*(?P<rest>.*)", re.IGNORECASE)
LIST_NAME = "sessions.csv"


class SessionFiles(NamedTuple):
    """Both files of one session, its label and state; `expected`: what the adjustment was foretold to do, points."""

    reference: Any  # a path, or a recording made of one
    device: str | None
    label: str = ""
    state: str = ""
    expected: float = math.nan


class DeviceList(NamedTuple):
    """Sessions of several devices: names of the devices, files of each session, states if the list has them."""

    names: tuple[str, ...]
    files: list[tuple[Path, ...]]
    states: list[str] | None


def device_list(place: str) -> DeviceList:
    """Read a list with a column of files for each device.

    Raises
    ------
    InputError
        A file that cannot be read, fewer than two columns of files, or a cell that is empty.
    """
    from agree.core.errors import InputError
    from agree.core.results.plain import plain_name

    path = Path(place)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"--sessions {place}: cannot be read ({type(error).__name__}); give a list with a column of "
                         "files for each device") from None
    head, rows = _table(text)
    names = [name for name in head if name.lower() not in ("session", "state")]
    if len(names) < 2 or not rows:
        found = ", ".join(head) or "none"
        raise InputError(f"{path} is no list of sessions of several devices: expected a column of files for each of "
                         f"two or more devices, and session and state if wanted; got the columns {found} and "
                         f"{len(rows)} rows")
    files = []
    for number, row in enumerate(rows, 2):
        cells = dict(zip(head, (cell.strip() for cell in row), strict=False))
        lacking = [name for name in names if not cells.get(name)]
        if lacking:
            raise InputError(f"{path}, row {number}: {lacking[0]} names no file; give every device one in every "
                             "session")
        files.append(tuple(path.parent / cells[name] for name in names))
    lower = [name.lower() for name in head]
    states = None
    if "state" in lower:
        states = [plain_name(row[lower.index("state")].strip() if len(row) > lower.index("state") else "")
                  for row in rows]
        if "" in states:
            raise InputError(f"{path}, row {states.index('') + 2}: the state is empty; give every session one")
    return DeviceList(tuple(names), files, states)


def _table(text: str) -> tuple[list[str], list[list[str]]]:
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    separator = ";" if lines and ";" in lines[0] and "," not in lines[0] else ","
    rows = list(csv.reader(lines, delimiter=separator))
    return ([cell.strip() for cell in rows[0]], rows[1:]) if rows else ([], [])


def from_place(place: str) -> list[SessionFiles]:
    """Return the sessions of a list (reference, device, and session, state, expected if wanted) or of a folder.

    Raises
    ------
    InputError
        No such place, a file that is no such list, or a folder in which no pairs are found.
    """
    from agree.core.errors import InputError

    path = Path(place)
    if path.is_dir():
        return from_place(str(path / LIST_NAME)) if (path / LIST_NAME).is_file() else _from_folder(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        text = ""
    except OSError as error:
        raise InputError(f"--sessions {place}: {error.strerror}; give a list with the columns reference and device, or "
                         "a folder") from None
    return _from_list(path, text)


def _from_list(path: Path, text: str) -> list[SessionFiles]:
    from agree.core.errors import InputError
    from agree.core.results.plain import plain_name

    head, rows = _table(text)
    head = [cell.lower() for cell in head]
    if not set(COLUMNS) <= set(head):
        raise InputError(f"{path} is no list of sessions: its first line must name the columns reference and device, "
                         "and may name session, state and expected. To add a session by its two files write --session "
                         "REF DEV")
    found = []
    for number, row in enumerate(rows, 2):
        cells = {name: cell.strip() for name, cell in zip(head, row, strict=False)}
        if not cells.get("reference") or not cells.get("device"):
            raise InputError(f"{path}, row {number}: reference and device must both name a file")
        files = [str(path.parent / cells[name]) for name in COLUMNS]
        label, state = (plain_name(cells.get(name, "")) for name in ("session", "state"))
        found.append(SessionFiles(files[0], files[1], label, state,
                                  _points(cells.get("expected", ""), path, number)))
    if not found:
        raise InputError(f"{path} lists no session: write one row for each, with the files reference and device")
    return found


def _points(text: str, path: Path, number: int) -> float:
    from agree.core.errors import InputError

    if not text:
        return math.nan
    try:
        return float(text.rstrip("% ").replace(",", ".").replace("−", "-"))
    except ValueError:
        raise InputError(f"{path}, row {number}: expected must be the change foretold, in points of the mean error, "
                         f"such as +1.5; got {text!r}") from None


def _from_folder(folder: Path) -> list[SessionFiles]:
    """Pairs by name: the same name with "reference" and with "device" in it."""
    from agree.core.errors import InputError

    files: dict[str, dict[str, Path]] = {}
    for path in sorted(folder.iterdir()):
        found = NAMED.fullmatch(path.name) if path.is_file() else None
        if found is not None:
            files.setdefault(f"{found['session']}|{found['rest']}", {})[found["role"].lower()] = path
    pairs = [item for item in files.values() if set(item) == set(COLUMNS)]
    alone = [str(path) for item in files.values() if set(item) != set(COLUMNS) for path in item.values()]
    if alone or not pairs:
        what = f"{alone[0]} has no partner" if alone else f"{folder} holds no pairs of files"
        raise InputError(f"{what}: name them alike but for the words reference and device "
                         f"(1-reference.csv, 1-device.csv), or write the list {folder / LIST_NAME}")
    return [SessionFiles(str(item["reference"]), str(item["device"])) for item in pairs]
