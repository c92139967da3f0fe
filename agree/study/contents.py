"""What each row of a list holds: the key of its content, what is wrong with it, and the row that it repeats."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from agree.study.job import digest, pair_key
from agree.study.listing import StudyRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """Content of one row.

    Attributes
    ----------
    key : str
        Of both files, claim and options; "" where there is an error.
    error : str
        Why the row cannot be checked; "" where it can.
    repeats : int or None
        The row, counted as in the list, that gives the same unit, session and files: both are counted once.
    """

    key: str = ""
    error: str = ""
    repeats: int | None = None


def path_of(folder: Path, name: str) -> str:
    """Return a file of the list as it is opened."""
    return name if "://" in name or Path(name).is_absolute() else str(folder / name)


def contents_of(
    rows: Sequence[StudyRow], folder: Path, claim: str, options: Mapping[str, Any]
) -> list[Content]:
    """Read the bytes of all files once and tell what each row holds.

    One effort counts once: a row whose device file was given before is the same row again, or an error, because neither
    another session nor another unit can have recorded it; so is a row of a unit whose reference file was given before.
    """
    digests: dict[str, str] = {}
    seen: dict[tuple[str, ...], int] = {}
    found: list[Content] = []
    for k, row in enumerate(rows):
        if row.empty:
            found.append(Content(error=f"row {row.number}: found no {' and no '.join(row.empty)}; expected one; fill "
                                       "the cell in"))
            continue
        files = (path_of(folder, row.reference), path_of(folder, row.device))
        error = _digested(files, (row.reference, row.device), digests)
        if error:
            found.append(Content(error=error))
            continue
        bytes_of = (digests[files[0]], digests[files[1]])
        asked = row.claim or claim, row.quantity or str(options.get("quantity", ""))
        key = pair_key(files, bytes_of, asked[0], options_of(row, options))
        found.append(_once(k, rows, Content(key=key), bytes_of, seen, asked))
    return found


def _digested(files: tuple[str, str], names: tuple[str, str], digests: dict[str, str]) -> str:
    """Add the digests of files that are not there yet; return what is wrong with the first that cannot be read."""
    for path, name in zip(files, names, strict=True):
        try:
            digests[path] = digests.get(path) or digest(path)
        except OSError as error:
            return f"{name}: {error.strerror or error}"
    return ""


def options_of(row: StudyRow, options: Mapping[str, Any]) -> dict[str, Any]:
    """Return the options of a row: those of the study, with its own quantity."""
    return {**options, "quantity": row.quantity} if row.quantity else dict(options)


def _once(k: int, rows: Sequence[StudyRow], content: Content, bytes_of: tuple[str, str],
          seen: dict[tuple[str, ...], int], asked: tuple[str, str]) -> Content:
    row = rows[k]
    prints = {"recordings": ("both", *asked, *bytes_of), "device's recording": ("device", *asked, bytes_of[1]),
              "reference's recording": ("reference", *asked, row.unit, bytes_of[0])}
    which = next((what for what, name in prints.items() if name in seen), "")
    if not which:
        seen |= dict.fromkeys(prints.values(), k)
        return content
    first = rows[seen[prints[which]]]
    if which == "recordings" and (first.unit, first.session) == (row.unit, row.session):
        return replace(content, repeats=first.number)
    expected = "another recording for another unit" if first.unit != row.unit else "one row for each effort"
    return Content(error=f"row {row.number}: found the {which} of row {first.number} again (unit {first.unit}, session "
                         f"{first.session}); expected {expected}; one effort counts once: give its own files, or "
                         "leave the row out")
