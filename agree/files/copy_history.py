"""The history of a corrected copy of a recording: where it stands, and how it is found."""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from typing import Any

SUFFIX = ".history.json"


def history_path(path: str | Path) -> Path:
    """Return the place of a copy's history, beside it."""
    return Path(path).with_name(Path(path).name + SUFFIX)


def story_at(place: Path) -> dict[str, Any] | None:
    """Return what a history tells, None where there is none, or a file that is none."""
    try:
        found = json.loads(place.read_text(encoding="utf-8"))
        made = found["correction"]
        sound = math.isfinite(float(made["scale"]) + float(made["offset_w"]))
        return found if sound and isinstance(found.get("copy", {}), dict) else None
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return None


def history_of(path: str | Path) -> dict[str, Any] | None:
    """Return the history of a file: beside it, or in its folder under another name (the copy was renamed)."""
    file = Path(path)
    if not file.is_file():
        return None
    beside = history_path(file)
    others = sorted(file.parent.glob(f"*{SUFFIX}"))
    digest = hashlib.sha256(file.read_bytes()).hexdigest() if others else ""
    for place in (beside, *others):
        found = story_at(place)
        if found is not None and (place == beside or found.get("copy", {}).get("sha256") == digest):
            return found
    return None
