"""The two recordings to pair, from files, frames or one of them with two power columns."""

from __future__ import annotations

import dataclasses
import io
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from agree.core.errors import InputError
from agree.core.quantities.known import POWER
from agree.files.naming.headers import fitting
from agree.files.source import Content, Source, is_bytes, opened
from agree.files.tables.trials_table import refuse_trials
from agree.recordings.options import options_of
from agree.recordings.read import read_recording, read_table_of
from agree.recordings.recording import Recording

ROLES = ("reference", "device")


def read_both(
    reference: Source,
    device: Source | None,
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
                         f"got {power_columns!r}", option="power_columns")
    if device is None:
        if isinstance(reference, Recording):
            raise InputError("a Recording holds one power column: give the device too, or the file both are in")
        if is_bytes(reference):  # a file object can be read but once
            reference = opened(reference, option="reference")
        if None in power_columns:
            raise InputError(_two_names(reference, reads[0]), option="power_columns")
        device, reads = reference, (reads[0], reads[1] if reads[1] is not None else reads[0])
    one, two = (_read(source, column, read, role) for source, column, read, role in
                zip((reference, device), power_columns, reads, ROLES, strict=True))
    for recording, role in zip((one, two), ROLES, strict=True):
        if recording.quantity.name != POWER.name:
            raise InputError(f"{recording.name}: found a recording of {recording.quantity.label}; expected power, "
                             "which pairs are made of; for other quantities use overlay_recordings and check_quantity",
                             option=f"{role}_read", code="not_power")
    one_clock = device is reference or _same_file(reference, device)
    columns = [recording.columns.get(POWER.name, "") for recording in (one, two)]
    if one_clock and columns[0] != columns[1]:
        one, two = (dataclasses.replace(recording, name=f"{recording.name}, {column}")
                    for recording, column in zip((one, two), columns, strict=True))
    return one, two, one_clock


def _read(source: Any, column: str | None, read: Mapping[str, Any] | None, role: str) -> Recording:
    if read is not None and not isinstance(read, Mapping):
        raise InputError(f"`{role}_read` must be a mapping of options of read_recording; got {type(read).__name__}")
    options = dict(read or {})
    options_of({name: value for name, value in options.items() if name != "name"})
    if isinstance(source, Recording) and options:
        raise InputError(f"`{role}_read` is for files and frames; the {role} is a Recording, which is read already")
    if column is not None:
        key = "column" if "column" in options else "power_column"
        if options.get(key) not in (None, column):
            raise InputError(f"the {role}'s {key.replace('_', ' ')} is named twice: {column!r} in `power_columns`, "
                             f"{options[key]!r} in `{role}_read`", option="power_columns")
        options[key] = column
    if not isinstance(source, Recording | Content | str | os.PathLike | io.BufferedIOBase | io.RawIOBase):
        options.setdefault("name", role)
    return read_recording(source, **options)


def _same_file(reference: Any, device: Any) -> bool:
    if not all(isinstance(source, str | os.PathLike) for source in (reference, device)):
        return False
    try:
        return Path(reference).samefile(device)
    except OSError:
        return False


def _two_names(reference: Any, read: Mapping[str, Any] | None) -> str:
    """Message when a file is said to hold both, but not which columns they are."""
    options = {name: value for name, value in (read or {}).items() if name != "name"}
    table = read_table_of(reference, options)[0]
    refuse_trials(table)
    header = table.header
    like = [header[k] for k in fitting(header)]
    found = (f"columns that may be power are {', '.join(map(repr, like))}" if like
             else f"no column is called power; there are {', '.join(map(repr, header[:12]))}")
    one, two = (*like, "...", "...")[:2]
    return (f"both recordings are said to be in one file, in which {found}; name the two, the reference's first, as in "
            f"power_columns=({one!r}, {two!r})")
