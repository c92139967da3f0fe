"""The JSON Schema files of this package."""

from __future__ import annotations

from importlib.resources import files

from agree.core.errors import InputError
from agree.schema.names import NAMES


def schema_text(name: int | str) -> str:
    """Return a JSON Schema as text.

    Parameters
    ----------
    name : int or str
        1 (power) or 2 (trials, other quantities), the versions of what checks write; or "plan", "plan-of-trials",
        "static", "devices", "study" (a line of results.jsonl), "look" (an item of its list).

    Raises
    ------
    InputError
        Another name.

    Examples
    --------
    >>> import json
    >>> from agree.schema.shipped import schema_text
    >>> json.loads(schema_text(2))["properties"]["schema"], json.loads(schema_text("plan"))["properties"]["schema"]
    ({'const': 2}, {'const': 1})
    """
    if str(name) not in NAMES:
        raise InputError(f"`name` of a schema must be one of {', '.join(NAMES)}; got {name!r}", option="name")
    return files("agree.schema").joinpath(f"{name}.json").read_text(encoding="utf-8")
