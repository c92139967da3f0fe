"""The reference's readings as its calibration and a declared loss correct them."""

from __future__ import annotations

from collections.abc import Sequence

from agree.core.data.pairs import Pairs


def corrected(pairs: Pairs | Sequence[Pairs], factor: float) -> Pairs | Sequence[Pairs]:
    """Multiply the reference by what its calibration and a declared loss say."""
    if factor == 1 or not (isinstance(pairs, Pairs) or all(isinstance(item, Pairs) for item in pairs)):
        return pairs  # what are no pairs is refused later, in one wording
    items = [pairs] if isinstance(pairs, Pairs) else pairs
    changed = [item.scaled(reference=factor) for item in items]
    return changed[0] if isinstance(pairs, Pairs) else changed
