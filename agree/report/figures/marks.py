"""Single readings named alike in several pictures, so that a reader can find one in all of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from numpy.typing import NDArray


class Marks:
    """Names single readings in several pictures alike: gives each artist a gid, and keeps what its marks stand for."""

    def __init__(self, texts: Sequence[str]) -> None:
        self.texts = texts
        self.rows: dict[str, list[tuple[int, str]]] = {}

    def add(self, which: NDArray[Any]) -> str:
        """Return the gid of an artist that draws these readings, in this order."""
        gid = f"reading-{len(self.rows)}"
        self.rows[gid] = [(int(k), self.texts[int(k)]) for k in which]
        return gid
