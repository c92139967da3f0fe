"""The JSON Schema files of this package."""

from __future__ import annotations

from importlib.resources import files

from agree.core.errors import InputError

VERSIONS = (1, 2)


def schema_text(version: int) -> str:
    """Return the JSON Schema of a version, 1 or 2, as text.

    Raises
    ------
    InputError
        Another version.

    Examples
    --------
    >>> import json
    >>> from agree.schema.shipped import schema_text
    >>> json.loads(schema_text(2))["properties"]["schema"]
    {'const': 2}
    """
    if version not in VERSIONS:
        raise InputError(f"`version` must be 1 or 2; got {version!r}")
    return files("agree.schema").joinpath(f"{version}.json").read_text(encoding="utf-8")
