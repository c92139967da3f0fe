"""The bytes of a source: a path, bytes or a binary file object; each is taken once, and never written to."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, NamedTuple, TypeAlias

from agree.core.data.source_identity import SourceIdentity, identity_of
from agree.core.errors import InputError
from agree.core.results.plain import plain_name
from agree.files import file_bytes
from agree.files.table import shown

# A path, bytes, a binary file object, a Recording, a data frame, an array, a tuple of time and readings, or a mapping
# of columns.
Source: TypeAlias = str | os.PathLike[str] | bytes | Any


class Content(NamedTuple):
    """Unpacked bytes, what messages call them, what the recording is called, and the identity as given."""

    data: bytes
    source: str
    title: str
    identity: SourceIdentity


def is_bytes(source: Any) -> bool:
    """Whether a source is a path, bytes or a file object, so that it has bytes to read."""
    return isinstance(source, str | os.PathLike | bytes | bytearray | memoryview) or callable(
        getattr(source, "read", None))


def opened(
    source: Source, name: str | None = None, option: str = "source", expected: str = file_bytes.ANY
) -> Content:
    """Return the bytes of a source, unpacked if they are gzip.

    Parameters
    ----------
    source : path, bytes or binary file object
        At most 500 MB, packed and unpacked. A file object is read from where it stands to its end, and not closed.
    name : str, optional
        What to call the recording; by default the name of the file without its ending.
    option : str
        Argument that holds the source, for messages.
    expected : str
        What kind of file is wanted, for messages.

    Raises
    ------
    InputError
        As of `file_bytes.content`; a file object opened for text, closed or not readable; a source of another kind.
    """
    if isinstance(source, str | os.PathLike):
        path = _path(source, option)
        called = file_bytes.source_of(path)
        raw, title = file_bytes.raw(path, called, expected), plain_name(
            Path(path.stem if path.suffix == ".gz" else path.name).stem)
    elif isinstance(source, bytes | bytearray | memoryview):
        called, title, raw = plain_name(name or "bytes"), "bytes", bytes(source)
    else:
        called, title, raw = _of_file_object(source, name, option)
    if len(raw) > file_bytes.MAX_BYTES:
        raise file_bytes.too_large(called, f"more than {file_bytes.MAX_BYTES} bytes")
    title = plain_name(name) if name else title
    return Content(file_bytes.unpacked(raw, called, expected), called, title, identity_of(called, raw))


def _path(path: str | os.PathLike[str], option: str) -> Path:
    try:
        return Path(path)
    except TypeError:
        raise InputError(f"`{option}` must be the path of a file; got {shown(path)}", option=option) from None


def _of_file_object(file: Any, name: str | None, option: str) -> tuple[str, str, bytes]:
    own = getattr(file, "name", None)
    own = Path(own) if isinstance(own, str) and own else None
    called = plain_name(own.name if own else name or "file object")
    try:
        raw = file.read(file_bytes.MAX_BYTES + 1)
    except (OSError, ValueError) as exc:  # closed, or not open for reading
        raise InputError(f"{called}: found a file object that cannot be read ({plain_name(exc)}); expected one open "
                         "for reading bytes; open it anew", option=option) from None
    if isinstance(raw, str):
        raise InputError(f"{called}: found a file object opened for text; expected one that gives bytes; open it in "
                         "mode 'rb'", option=option)
    if not isinstance(raw, bytes | bytearray):
        raise InputError(f"{called}: found a file object whose read() gives {type(raw).__name__}; expected bytes; "
                         "open it in mode 'rb'", option=option)
    return called, own.stem if own else "file object", bytes(raw)
