"""The two recordings to pair, from files, frames or one of them with two power columns."""

from __future__ import annotations

import dataclasses
import inspect
import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from agree.errors import InputError
from agree.recordings.read import Recording, as_recording, read_recording

if TYPE_CHECKING:
    import pandas as pd

ROLES = ("reference", "device")
OPTIONS = frozenset(inspect.signature(read_recording).parameters) - {"path"}


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
    unknown = sorted(str(name) for name in options if name not in OPTIONS)
    if unknown:
        raise InputError(f"`{role}_read` holds {', '.join(unknown)}; known are {', '.join(sorted(OPTIONS))}")
    if isinstance(source, Recording) and options:
        raise InputError(f"`{role}_read` is for files and frames; the {role} is a Recording, which is read already")
    if column is not None:
        if options.get("power_column") not in (None, column):
            raise InputError(f"the {role}'s power column is named twice: {column!r} in `power_columns`, "
                             f"{options['power_column']!r} in `{role}_read`")
        options["power_column"] = column
    if hasattr(source, "columns") and not isinstance(source, Recording):
        options.setdefault("name", role)
    try:
        return as_recording(source, **options)
    except TypeError as error:  # an option that goes with files only
        raise InputError(f"`{role}_read`: {error}") from None


def _same_file(reference: Any, device: Any) -> bool:
    if not all(isinstance(source, str | os.PathLike) for source in (reference, device)):
        return False
    try:
        return Path(reference).samefile(device)
    except OSError:
        return False


def _two_names(reference: Any, read: Mapping[str, Any] | None) -> str:
    """Message when a file is said to hold both, but not which columns they are."""
    return ("both recordings are said to be in one file: name its two power columns, the reference's first: "
            "power_columns=('...', '...')")
