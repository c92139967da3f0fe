"""Records of finished pairs and units, one file each, named by content: written whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from agree.core.errors import InputError

STALE = ".part"


class Checkpoint:
    """Finished records in a folder; without one, in memory alone.

    Only the process that runs the study writes. A record's name is the key of its content, so that relabelled rows find
    their records again, and a changed file does not.
    """

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder
        self.held: dict[str, dict[str, Any]] = {}
        if folder is not None:
            try:
                folder.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise InputError(f"{folder} cannot be made: {error.strerror}; choose another place") from None
            for part in folder.rglob(f"*{STALE}"):  # of a run that was killed while it wrote
                part.unlink(missing_ok=True)

    def _path(self, key: str) -> Path | None:
        return None if self.folder is None else self.folder / key[:2] / f"{key}.json"

    def get(self, key: str) -> dict[str, Any] | None:
        """Return a finished record; one that cannot be read is none."""
        if key in self.held:
            return self.held[key]
        path = self._path(key)
        if path is None or not path.exists():
            return None
        try:
            record = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return record if isinstance(record, dict) and record.get("key") == key else None

    def put(self, record: dict[str, Any]) -> None:
        """Store a record: a temporary file beside its place, then renamed into it."""
        path = self._path(record["key"])
        if path is None:
            self.held[record["key"]] = record
            return
        path.parent.mkdir(exist_ok=True)
        part = path.with_suffix(STALE)
        text = json.dumps(record, sort_keys=True, ensure_ascii=False, allow_nan=False)
        for left in (2, 1, 0):
            try:
                part.write_text(text, encoding="utf-8")
                part.replace(path)
            except FileNotFoundError:  # a run that began beside this one swept it
                if not left:
                    raise
            else:
                return

    def forget(self, key: str) -> None:
        """Remove a record, so that it is made again."""
        self.held.pop(key, None)
        path = self._path(key)
        if path is not None:
            path.unlink(missing_ok=True)
