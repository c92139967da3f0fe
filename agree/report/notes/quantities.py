"""Sentences of what a reader must know about a check of a quantity other than power."""

from __future__ import annotations

from collections.abc import Callable

from agree.core.results.note import Note

SENTENCES: dict[str, str | Callable[[Note], str]] = {
    "quantity_averages": "the device averages over about {seconds} s; that is counted as part of its delay.",
    "quantity_no_lag": "no lag can be told, so that the recordings are compared as their stamps have them.",
    "quantity_no_shadow": "neither recording has a {channel}, so that a lock to it cannot be looked for.",
}
