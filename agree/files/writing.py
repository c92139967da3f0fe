"""Files written whole or not at all: at any moment there is the old file or the new one; pipes are written through."""

from __future__ import annotations

import errno
import json
import os
import secrets
import stat
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from agree.core.errors import InputError
from agree.core.results.plain import plain_name
from agree.core.results.result import Result


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
        raise InputError(f"{plain_name(path)} holds no result; give a file written by agree check ... --json FILE")
    return stored


PIPE_WAIT_S, PIPE_STEP_S = 5.0, 0.05  # for someone to read the other end of a named pipe


def write_whole(path: str | Path, write: Callable[[Path], None]) -> None:
    """Let `write` fill a temporary file, then put it in the place of `path`, or through it if it is a pipe.

    A link is followed: what it points to is replaced, the link stays. Permissions of a file that is there stay.

    Raises
    ------
    InputError
        A folder that does not exist, a place that cannot be written, a device or socket, a pipe that nothing reads, or
        a link to a file of another kind.
    """
    target = Path(path)
    called = plain_name(target)
    kind = _kind(target, called)
    if stat.S_ISDIR(kind):
        raise InputError(f"{called} is a folder; give a file name")
    if kind and not (stat.S_ISREG(kind) or stat.S_ISFIFO(kind)):
        raise InputError(f"{called} is a device or socket, which is not written to; give a file name, or - for the "
                         "screen where that is allowed")
    if stat.S_ISFIFO(kind) or (kind and target.is_absolute() and target.parts[1:2] in (("dev",), ("proc",))):
        _through(target, called, write)
        return
    target = _behind_link(target, called) if target.is_symlink() else target
    if not target.parent.is_dir():
        raise InputError(f"folder {plain_name(target.parent)} does not exist; make it first or choose another place "
                         f"for {plain_name(target.name)}")
    if kind and not os.access(target, os.W_OK):
        raise InputError(f"{called} cannot be written: it is read-only; choose another place")
    temporary = target.parent / f".agree-{secrets.token_hex(6)}{target.suffix}"
    try:
        os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        write(temporary)
        _to_disk(temporary)
        if kind:
            temporary.chmod(stat.S_IMODE(target.stat().st_mode))
        temporary.replace(target)
    except OSError as error:
        raise InputError(f"{called} cannot be written: {error.strerror}; choose another place") from None
    finally:
        with suppress(OSError):  # of a place that has become read-only
            temporary.unlink(missing_ok=True)


def _behind_link(link: Path, called: str) -> Path:
    """Return the file that a link leads to; one that holds something of another kind, such as a recording, is kept."""
    target = link.resolve()
    if target.suffix.lower() != link.suffix.lower() and target.is_file() and target.stat().st_size:
        raise InputError(f"{called} is a link to {plain_name(target.name)}, a file of another kind, which is not "
                         "written over; choose another place")
    return target


def _kind(target: Path, called: str) -> int:
    """Return the mode of what is there, 0 if nothing is."""
    try:
        return target.stat().st_mode
    except FileNotFoundError:
        return 0
    except (OSError, RuntimeError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a path"
        raise InputError(f"{called} cannot be written: {reason}; choose another place") from None


def _to_disk(file: Path) -> None:
    """Have the bytes on the disk before the name points to them, so that a lost supply leaves no empty file."""
    handle = os.open(file, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno != errno.EINVAL:  # a place that cannot be synchronised
            raise
    finally:
        os.close(handle)


def _through(target: Path, called: str, write: Callable[[Path], None]) -> None:
    """Make the whole content first, then write it through a pipe or an open file."""
    with tempfile.TemporaryDirectory(prefix="agree-") as folder:
        made = Path(folder, "made" + target.suffix)
        write(made)
        content = made.read_bytes()
    own = _own_stream(target)
    if own is not None:  # opened anew it would be written from its start, over what is printed
        sys.stdout.flush()
        sys.stderr.flush()
        handle = os.dup(own)
    else:
        handle = _opened(target, called)
    try:
        with os.fdopen(handle, "wb") as pipe:
            pipe.write(content)
    except OSError as error:
        raise InputError(f"{called} cannot be written: {error.strerror}; choose another place") from None


def _own_stream(target: Path) -> int | None:
    """Return the standard output or error if that is what a place is."""
    for number in (1, 2):
        try:
            if target.samefile(f"/dev/fd/{number}"):
                return number
        except OSError:
            continue
    return None


def _opened(target: Path, called: str) -> int:
    """Open a pipe or an open file for writing, as soon as someone reads it."""
    flags, until = os.O_WRONLY | getattr(os, "O_NONBLOCK", 0), time.monotonic() + PIPE_WAIT_S
    while True:
        try:
            handle = os.open(target, flags)
            break
        except OSError as error:
            if error.errno != errno.ENXIO or time.monotonic() > until:
                why = "nothing reads this pipe" if error.errno == errno.ENXIO else error.strerror
                raise InputError(f"{called} cannot be written: {why}; choose another place") from None
            time.sleep(PIPE_STEP_S)
    os.set_blocking(handle, True)
    return handle


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
