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
    except (OSError, ValueError):
        return None
    return found if _sound(found) else None


def stories_at(place: Path) -> list[dict[str, Any]]:
    """Return what a history tells; then what the one told that it replaces, if the copy was not written after it."""
    found = story_at(place)
    if found is None:
        return []
    before = found.get("replaced")
    return [found, before] if isinstance(before, dict) and _sound(before) else [found]


def _sound(found: Any) -> bool:
    try:
        made = found["correction"]
        return math.isfinite(float(made["scale"]) + float(made["offset_w"])) and isinstance(found.get("copy", {}), dict)
    except (ValueError, TypeError, KeyError, AttributeError):
        return False


def history_of(path: str | Path) -> dict[str, Any] | None:
    """Return the history of a file: beside it, or in its folder under another name (the copy was renamed)."""
    file = Path(path)
    if not file.is_file():
        return None
    beside = history_path(file)
    others = sorted(file.parent.glob(f"*{SUFFIX}"))
    digest = hashlib.sha256(file.read_bytes()).hexdigest() if others else ""
    for place in (beside, *others):
        stories = stories_at(place)
        for found in stories:
            if found.get("copy", {}).get("sha256") == digest:
                return found
        if stories and place == beside:
            return stories[0]
    return None
