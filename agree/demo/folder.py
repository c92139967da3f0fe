"""Writing invented files into a folder, never over what the demo has not written."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from agree.core.errors import InputError
from agree.files.writing import write_text

LABEL = "# invented data, made by `agree demo`: no real athlete, device or maker"
KNOWN = "# invented data, made by `agree demo`"


def write_invented(folder: Path, texts: Mapping[str, str]) -> list[Path]:
    """Write texts as files of `folder`, each under a line that says that it is invented.

    Raises
    ------
    InputError
        A folder that cannot be made, or a file there that this demo has not written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"folder {folder} cannot be made: {error.strerror}; name another") from None
    paths = [folder / name for name in texts]
    for path in paths:
        if path.exists() and not path.read_text(encoding="utf-8", errors="replace").startswith(KNOWN):
            raise InputError(f"{path} exists and was not written by this demo; name another folder")
    for path, text in zip(paths, texts.values(), strict=True):
        write_text(path, f"{LABEL}\n{text}")
    return paths
