"""Whether a recording is a corrected copy, and whether its correction was found on the very ride it is held against."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from agree.core.data.source_identity import SourceIdentity
from agree.core.results.note import Note
from agree.core.results.plain import plain_name
from agree.files.copy_history import history_of
from agree.pairing.match import ROLES
from agree.recordings.recording import Recording

# Where a correction was found: on the ride it is held against, somewhere that is not recorded, on other rides.
THIS_RIDE, NOT_KNOWN, OTHER_RIDES = "this ride", "not known", "other rides"


def corrected_copies(sources: tuple[Any, Any], recordings: tuple[Recording, Recording]) -> list[Note]:
    """Return a note for each of the two recordings that is a corrected copy.

    Its history tells which recordings the correction was found on. One that was given by hand may come from any ride,
    this one too.
    """
    found = []
    for role, source in zip(ROLES, sources, strict=True):
        story = history_of(Path(source)) if isinstance(source, str | os.PathLike) else None
        if story is not None:
            made, name = story["correction"], str((story.get("source") or {}).get("name", ""))
            found.append(Note(kind="pair_corrected_copy", role=role, values={
                "scale": float(made["scale"]), "offset_w": float(made["offset_w"]),
                "origin": _origin(story, recordings), "source": plain_name(name)}))
    return found


def _origin(story: dict[str, Any] | None, recordings: tuple[Recording, Recording]) -> str:
    """Where the least trustworthy of a copy's corrections was found: of a copy of a copy there are two."""
    here = {item.identity.sha256 for item in recordings if isinstance(item.identity, SourceIdentity)}
    names = {item.name for item in recordings}
    found = OTHER_RIDES
    while isinstance(story, dict):
        source, ground = story.get("source") or {}, story.get("ground") or {}
        used = ground.get("inputs") or []
        used_names = {name for pair in ground.get("roles") or [] for name in pair}  # of results without digests
        own = {str(source.get("sha256"))} | here
        if used and own & set(used):
            return THIS_RIDE
        if not used and used_names & ({str(source.get("name", "")).rsplit(".", 1)[0]} | names):
            return THIS_RIDE
        if not used and not used_names:
            found = NOT_KNOWN
        story = story.get("earlier")
    return found
