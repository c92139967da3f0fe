"""The suffix of an output says its form; one wording where it is another."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from agree.core.errors import InputError


def suffix_of(path: str | Path, what: str, allowed: Sequence[str]) -> str:
    """Return the suffix of a path in small letters, if it is one of those allowed."""
    suffix = Path(path).suffix.lower()
    if suffix not in allowed:
        raise InputError(f"{what} {str(path)!r} must end in {', '.join(allowed[:-1])} or {allowed[-1]}; got "
                         f"{suffix or 'no suffix'}")
    return suffix
