"""Files written whole or not at all."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from agree.core.errors import InputError
from agree.core.result import Result


def json_text(result: Result) -> str:
    """Return a check or a plan as JSON, schema version 1."""
    return json.dumps(result.to_dict(), indent=1, ensure_ascii=False, allow_nan=False)


def read_json(path: str | Path) -> dict[str, Any]:
    """Return a result that was written as JSON.

    Raises
    ------
    InputError
        A file that is no JSON, or holds no result.
    """
    try:
        stored = json.loads(Path(path).read_text(encoding="utf-8"))
    except ValueError:
        stored = None
    if not isinstance(stored, dict):
        raise InputError(f"{path} holds no result; give a file written by agree check ... --json FILE")
    return stored


def write_whole(path: str | Path, write: Callable[[Path], None]) -> None:
    """Let `write` fill a temporary file beside `path`, then put it in place.

    Raises
    ------
    InputError
        A folder that does not exist, or a place that cannot be written.
    """
    target = Path(path)
    if target.is_dir():
        raise InputError(f"{target} is a folder; give a file name")
    if not target.parent.is_dir():
        raise InputError(f"folder {target.parent} does not exist; make it first or choose another place for "
                         f"{target.name}")
    try:
        handle, name = tempfile.mkstemp(prefix=".agree-", suffix=target.suffix, dir=target.parent)
    except OSError as error:
        raise InputError(f"{target} cannot be written: {error.strerror}; choose another place") from None
    os.close(handle)
    temporary = Path(name)
    try:
        write(temporary)
        mask = os.umask(0)
        os.umask(mask)
        temporary.chmod(0o666 & ~mask)
        temporary.replace(target)
    except OSError as error:
        raise InputError(f"{target} cannot be written: {error.strerror}; choose another place") from None
    finally:
        temporary.unlink(missing_ok=True)


def write_text(path: str | Path, text: str) -> None:
    """Write text in UTF-8, whole or not at all."""

    def write(temporary: Path) -> None:
        # An odd-byte file name may stand in the text; it must not stop the rest.
        temporary.write_text(text, encoding="utf-8", errors="backslashreplace")

    write_whole(path, write)


def write_bytes(path: str | Path, content: bytes) -> None:
    """Write bytes, whole or not at all."""

    def write(temporary: Path) -> None:
        temporary.write_bytes(content)

    write_whole(path, write)
