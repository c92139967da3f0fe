"""How much of the reference's session a check rests on, and what to record where that forbids an answer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from agree.core.results.note import Note
from agree.core.thresholds import LEAST_RIDE_SHARE, QUANTITY_ROWS_S, SHORT_RIDE_S, SMALL_RIDE_SHARE
from agree.quantities.overlay import Overlay

NEXT = "quantity_next_"  # kinds of notes that say what to record begin so


def held_seconds(overlays: Sequence[Overlay]) -> int:
    """Seconds in which the reference has a reading, rest left out where a zero is rest."""
    return sum(int((np.isfinite(item.reference) & ~(
        (item.reference == 0) & (item.quantity.zero_means == "rest"))).sum()) for item in overlays)


def how_much_used(overlays: Sequence[Overlay], seconds: int) -> Iterator[Note]:
    """Tell of a reference that runs on before or after the device's rows, and of half a session that is not used."""
    before = after = 0
    for item in overlays:
        first, last = item.device_seconds
        held = np.isfinite(item.reference)
        before, after = before + int(held[:max(first, 0)].sum()), after + int(held[last:].sum())
    if before + after >= QUANTITY_ROWS_S:
        yield Note(kind="quantity_rows_missing", severity="trust", role="device", values={
            "seconds": before + after, "before": before, "after": after})
    share = seconds / max(held_seconds(overlays), 1)
    if LEAST_RIDE_SHARE <= share < SMALL_RIDE_SHARE:
        yield Note(kind="quantity_part_used", severity="trust", values={"percent": 100 * share})


def what_next(withheld: Sequence[Note]) -> tuple[Note, ...]:
    """Return what to record where a "holds" is withheld, by its first reason; nothing where none is."""
    kinds = {note.kind for note in withheld}
    if kinds & {"quantity_range_lost", "quantity_unread"}:
        return (Note(kind=NEXT + "mend", severity="trust", role="device"),)
    if "quantity_exchanged" in kinds:
        return (Note(kind=NEXT + "sides", severity="trust", role="device"),)
    if kinds & {"quantity_unlike", "quantity_still"}:
        return (Note(kind=NEXT + "follow", severity="trust", role="device"),)
    if "used_too_short" in kinds:
        return (Note(kind=NEXT + "longer", severity="trust", values={"minutes": SHORT_RIDE_S / 60}),)
    return (Note(kind=NEXT + "whole", severity="trust"),) if kinds else ()
