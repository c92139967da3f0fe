"""The history of a corrected copy: where it came from, what was done to it, and on what ground."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from agree.core.errors import InputError
from agree.core.results.plain import plain_name
from agree.correction.copy import Change, CorrectedCopy, checked_change
from agree.files.copy_history import SUFFIX, history_of, history_path, stories_at, story_at

FORMULA = "corrected = (device - offset_w) * scale; 0 stays 0, no reading changes its sign"


def known_history(path: str | Path) -> dict[str, Any] | None:
    """Return the history of a file with its change; None if it has none."""
    found = history_of(path)
    if found is None:
        return None
    made = found["correction"]
    return {**found, "change": Change(float(made["scale"]), float(made["offset_w"]))}


def refuse_no_copy(copy: str | Path) -> None:
    """Refuse to write over a file that is no corrected copy of ours, or over a history that is none.

    Raises
    ------
    InputError
        What is at the place of the copy is not the file that a history tells of; or what is at the place of its
        history is no history.
    """
    file, story = Path(copy), history_path(copy)
    remedy = "only a corrected copy is written over: choose another name"
    if story.exists() and story_at(story) is None:
        raise InputError(f"{plain_name(story)} is no history of a corrected copy; {remedy}")
    if file.exists():
        digest = hashlib.sha256(file.read_bytes()).hexdigest() if file.is_file() else ""
        stories = [found for place in (story, *sorted(file.parent.glob(f"*{SUFFIX}"))) for found in stories_at(place)]
        if not any(found.get("copy", {}).get("sha256") == digest for found in stories):
            raise InputError(f"{plain_name(file)} is not the corrected copy that a history beside it tells of; "
                             f"{remedy}")


def refuse_twice(path: str | Path, change: Change) -> str:
    """Refuse to do a correction again; return a remark if another was done before.

    Raises
    ------
    InputError
        The file was corrected in the same way before.
    """
    earlier = known_history(path)
    if earlier is None:
        return ""
    name, before = plain_name(Path(path).name), earlier["change"]
    source = plain_name(earlier.get("source", {}).get("name", "its source"))
    if before == change:
        raise InputError(f"{name}: found a copy of {source} corrected by this already ({change}); expected a recording "
                         "as the device made it; nothing needs to be done")
    return f"Careful: {name} is a copy of {source} already corrected by {before}; this comes on top of it."


def correction_of(path: str | Path, *, even_if_unstable: bool = False) -> tuple[Change, dict[str, Any]]:
    """Read the correction of an earlier check from its JSON; return it and the ground to keep in a history.

    Raises
    ------
    InputError
        A file that is no result, one without a correction, or a correction that was refused or is not stable.
    """
    name = plain_name(Path(path).name)
    remedy = "give a file written by agree check --json"
    try:
        raw = Path(path).read_bytes()
        result = json.loads(raw)
        found = result["correction"]
        action, stable, entered = found["action"], found["stable"], found["entered"]
    except OSError as error:
        raise InputError(f"{name}: found no file that can be read ({error.strerror}); {remedy}") from None
    except (ValueError, TypeError, KeyError):
        raise InputError(f"{name}: found no correction with an action; expected a result; {remedy}") from None
    if action == "none":
        raise InputError(f"{name}: found that no correction is advised (what the check says under 'To enter'); to "
                         "correct it anyway, give the scale yourself", option="scale")
    if (action == "refused" or stable is False) and not even_if_unstable:
        raise InputError(f"{name}: found a correction that was refused (why, the check says under 'To enter'); "
                         "record further sessions, or pass even_if_unstable=True", option="even_if_unstable")
    try:
        change = checked_change(float(entered["scale"]), float(entered["offset_w"]))
    except (TypeError, KeyError, ValueError) as error:
        raise InputError(str(error) if isinstance(error, InputError) else
                         f"{name}: found no values to enter; expected scale and offset; {remedy}") from None
    keys = ("action", "reason", "because", "stable", "factor", "subtract_w", "harm", "after")
    ground = {"result": {"name": name, "sha256": hashlib.sha256(raw).hexdigest()},
              "claim": (result.get("claim") or {}).get("text"), "verdict": result.get("verdict"),
              "roles": [[item.get("reference"), item.get("device")] for item in result.get("sessions", [])],
              "inputs": [source["sha256"] for item in result.get("sessions", [])
                         for source in item.get("sources") or () if isinstance(source, dict) and "sha256" in source],
              "state": result.get("state"), "states": _states(result), **{key: found.get(key) for key in keys}}
    return change, ground


def _states(result: dict[str, Any]) -> list[list[Any]]:
    """Labels of a trail's states, each with the devices' recordings in it; none of a check without states."""
    return [[item.get("state"), [row[2] for row in item.get("recordings", ()) if isinstance(row, list)]]
            for item in result.get("states") or () if isinstance(item, dict)]


def refuse_other_state(path: str | Path, ground: dict[str, Any]) -> None:
    """Refuse to correct a recording of one state with what was found in another.

    A recording that the check does not list is taken for a later one, made in the last state.

    Raises
    ------
    InputError
        The recording was made in another state than the one that was judged.
    """
    states, judged = ground.get("states") or [], ground.get("state")
    if not states or judged is None:
        return
    stem, name = Path(path).stem, plain_name(Path(path).name)
    places = [k for k, (_, devices) in enumerate(states) if stem in devices]
    last = max(k for k, (label, _) in enumerate(states) if label == judged)
    if last in places or (not places and last == len(states) - 1):
        return
    found = states[places[-1] if places else -1][0]
    how = f"was recorded in the state {found!r}" if places else f"is not listed; the device is in the state {found!r}"
    raise InputError(f"{name} {how}, and this correction was found in the state {judged!r}: check the state {found!r} "
                     "and give its result")


def refuse_reference(path: str | Path, ground: dict[str, Any]) -> None:
    """Refuse to correct what was the reference of the check that found the correction."""
    stem = Path(path).stem
    roles = ground.get("roles", [])
    if any(stem == reference for reference, _ in roles) and not any(stem == device for _, device in roles):
        raise InputError(f"{plain_name(Path(path).name)} was the reference of that check; the correction is for the "
                         "device: give a recording of the device")


def new_history(
    source: str | Path, copy: str | Path, made: CorrectedCopy, change: Change, ground: dict[str, Any], *,
    version: str, command: list[str],
) -> str:
    """Return the history of a copy as JSON; while an earlier copy is in its place, with that one's under "replaced"."""
    earlier, replaced = known_history(source), history_of(copy)
    if earlier is not None:
        earlier.pop("change")
    if replaced is not None:
        replaced = {key: value for key, value in replaced.items() if key != "replaced"}
    return json.dumps({
        "schema": 1, "made_by": f"agree {version}", "date": datetime.now(UTC).isoformat(timespec="seconds"),
        "command": [plain_name(word) for word in command],
        "source": {"name": plain_name(Path(source).name), "sha256": made.sha256},
        "copy": {"name": plain_name(Path(copy).name), "sha256": hashlib.sha256(made.content).hexdigest()},
        "column": made.column, "readings_changed": made.changed, "cells_kept": made.kept,
        "correction": {"formula": FORMULA, "scale": change.scale, "offset_w": change.offset_w},
        "ground": ground or None, "earlier": earlier,
        **({"replaced": replaced} if replaced is not None else {})}, indent=1, ensure_ascii=False) + "\n"


def without_replaced(told: str) -> str:
    """Return a history, once its copy is written, without that of the copy that was there before."""
    return json.dumps({key: value for key, value in json.loads(told).items() if key != "replaced"},
                      indent=1, ensure_ascii=False) + "\n"
