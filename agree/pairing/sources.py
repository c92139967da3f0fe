"""The two recordings to pair, from files, frames or one of them with two power columns."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from agree.core.errors import InputError
from agree.files.frames import object_table
from agree.files.headers import POWER_UNITS, POWER_WORDS, words
from agree.recordings.recording import Recording, as_recording, read_table_of

if TYPE_CHECKING:
    import pandas as pd

ROLES = ("reference", "device")


def read_both(
    reference: Recording | pd.DataFrame | str | Path,
    device: Recording | pd.DataFrame | str | Path | None,
    power_columns: tuple[str | None, str | None],
    reads: tuple[Mapping[str, Any] | None, Mapping[str, Any] | None],
) -> tuple[Recording, Recording, bool]:
    """Read reference and device, and tell whether both are in one file, and so have one clock.

    Raises
    ------
    InputError
        As `read_recording`; wrong options; or no device and not two names of columns.
    """
    if not isinstance(power_columns, tuple | list) or len(power_columns) != 2:
        raise InputError("`power_columns` must be a pair, the reference's and the device's, each a name or None; "
                         f"got {power_columns!r}")
    if device is None:
        if isinstance(reference, Recording):
            raise InputError("a Recording holds one power column: give the device too, or the file both are in")
        if None in power_columns:
            raise InputError(_two_names(reference, reads[0]))
        device, reads = reference, (reads[0], reads[1] if reads[1] is not None else reads[0])
    one, two = (_read(source, column, read, role) for source, column, read, role in
                zip((reference, device), power_columns, reads, ROLES, strict=True))
    one_clock = device is reference or _same_file(reference, device)
    columns = [recording.columns.get("power", "") for recording in (one, two)]
    if one_clock and columns[0] != columns[1]:
        one, two = (dataclasses.replace(recording, name=f"{recording.name}, {column}")
                    for recording, column in zip((one, two), columns, strict=True))
    return one, two, one_clock


def _read(source: Any, column: str | None, read: Mapping[str, Any] | None, role: str) -> Recording:
    if read is not None and not isinstance(read, Mapping):
        raise InputError(f"`{role}_read` must be a mapping of options of read_recording; got {type(read).__name__}")
    options = dict(read or {})
    if isinstance(source, Recording) and options:
        raise InputError(f"`{role}_read` is for files and frames; the {role} is a Recording, which is read already")
    if column is not None:
        if options.get("power_column") not in (None, column):
            raise InputError(f"the {role}'s power column is named twice: {column!r} in `power_columns`, "
                             f"{options['power_column']!r} in `{role}_read`")
        options["power_column"] = column
    if not isinstance(source, Recording | str | os.PathLike):
        options.setdefault("name", role)
    return as_recording(source, **options)


def _same_file(reference: Any, device: Any) -> bool:
    if not all(isinstance(source, str | os.PathLike) for source in (reference, device)):
        return False
    try:
        return Path(reference).samefile(device)
    except OSError:
        return False


def _two_names(reference: Any, read: Mapping[str, Any] | None) -> str:
    """Message when a file is said to hold both, but not which columns they are."""
    if isinstance(reference, str | os.PathLike):
        options = {name: value for name, value in (read or {}).items() if name != "name"}
        header = list(read_table_of(reference, options).header)
    else:
        header = list(object_table(reference).header)
    like = [name for name in header if (POWER_WORDS | POWER_UNITS) & set(words(name))]
    found = (f"columns that may be power are {', '.join(map(repr, like))}" if like
             else f"no column is called power; there are {', '.join(map(repr, header[:12]))}")
    one, two = (*like, "...", "...")[:2]
    return (f"both recordings are said to be in one file, in which {found}; name the two, the reference's first, as in "
            f"--reference-column {one!r} --device-column {two!r}, or power_columns=({one!r}, {two!r})")
