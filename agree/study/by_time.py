"""Pairs of recordings whose names do not tell them, by the times at which they were recorded."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from agree.core.errors import AgreeError
from agree.core.thresholds import STUDY_OVERLAP_SHARE
from agree.recordings.read import read_recording


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """When a file was recorded: its clock, and first and last second on it; `why` where that cannot be told."""

    clock: str = ""
    start: float = math.nan
    end: float = math.nan
    why: str = ""

    def shares(self, other: Span) -> bool:
        """Whether two spans have most of the shorter one in common."""
        if self.why or other.why or self.clock != other.clock:
            return False
        common = min(self.end, other.end) - max(self.start, other.start)
        return common >= STUDY_OVERLAP_SHARE * min(self.end - self.start, other.end - other.start) and common > 0

    @property
    def label(self) -> str:
        """The first minute, for a session that has no other name."""
        return datetime.fromtimestamp(self.start, UTC).strftime("%Y-%m-%d %H:%M")


def span_of(path: Path) -> Span:
    """Return when a file was recorded."""
    try:
        found = read_recording(path, name=path.name)
    except (AgreeError, OSError) as error:
        return Span(why=f"cannot be read: {' '.join(str(error).split())}")
    if found.clock not in ("utc", "local"):
        return Span(why="its stamps have no date")
    return Span(clock=found.clock, start=float(found.time[0]), end=float(found.time[-1]))


def pairs_by_time(
    root: Path, roles: Mapping[Path, str]
) -> tuple[list[tuple[Path, Path, str]], list[tuple[Path, str]]]:
    """Pair files by overlapping times.

    Parameters
    ----------
    root : Path
        Folder that the files are relative to.
    roles : mapping of Path to str
        "reference", "device", "" where the name says neither, or "both" where it says both.

    Returns
    -------
    list of (Path, Path, str)
        Reference, device and the session's first minute, for each device whose time is that of just one reference.
    list of (Path, str)
        Files that are in no pair, with why.
    """
    spans = {path: span_of(root / path) for path in roles}
    references = [path for path, role in roles.items() if role == "reference"]
    pairs, leftovers = [], []
    for path, role in roles.items():
        if role == "reference":
            continue
        beside = [other for other in references if spans[path].shares(spans[other])]
        if role in ("device", "") and len(beside) == 1:
            pairs.append((beside[0], path, spans[beside[0]].label))
        else:
            leftovers.append((path, _why(path, role, beside, spans, roles)))
    used = {reference for reference, _, _ in pairs}
    leftovers += [(path, _alone("device", spans[path])) for path in references if path not in used]
    return sorted(pairs, key=lambda pair: (spans[pair[0]].start, pair[1].as_posix())), leftovers


def _alone(other: str, span: Span) -> str:
    return f"no {other} beside it" + (f", and {span.why}" if span.why else f", nor any at its time ({span.label} UTC)")


def _why(path: Path, role: str, beside: list[Path], spans: Mapping[Path, Span], roles: Mapping[Path, str]) -> str:
    if role == "both":
        return "its name has words for reference and device"
    if len(beside) > 1:
        return f"recorded at the time of {len(beside)} references: {', '.join(map(str, beside[:3]))}"
    if role == "device":
        return _alone("reference", spans[path])
    alike = [other for other in roles if other != path and spans[path].shares(spans[other])]
    if alike:
        return f"recorded at the time of {alike[0]}, and no name says which is the reference: name its word"
    return "no word for reference or device in it"
