"""Sentences for notes of a trail: how the place of a split was fixed."""

from __future__ import annotations

SENTENCES = {
    "split_declared": "declared beforehand, digest {digest}.",
    "split_undeclared": "{places} was not declared beforehand: whoever looks for the place of a change finds one too "
                        "often. Declare it before the next ride: agree plan --declare FILE --split.",
    "split_otherwise": "{places} is not the place that was declared, {declared}: it counts as chosen after looking.",
}
