"""Whether a device has its sides exchanged throughout, not for a while."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from agree.core.results.note import Note
from agree.core.thresholds import EXCHANGED_POINTS, EXCHANGED_SHARE
from agree.quantities.faults import sides_exchanged
from agree.quantities.overlay import Overlay


def exchanged(overlays: Sequence[Overlay]) -> list[Note]:
    """Return why sides exchanged forbid a "holds": in most of the seconds in which the sides can be told apart.

    Its mean error may be small then, for one near 50 % differs little from its opposite.
    """
    if "sides_exchanged" not in overlays[0].quantity.fault_rules:
        return []
    told = turned = 0
    for item in overlays:
        clear = np.isfinite(item.device) & (np.abs(2 * item.reference - 100) > EXCHANGED_POINTS)
        told, turned = told + int(clear.sum()), turned + int((sides_exchanged(item) & clear).sum())
    if not turned or turned <= EXCHANGED_SHARE * told:
        return []
    return [Note(kind="quantity_exchanged", severity="answer", role="device", values={
        "percent": 100 * turned / told})]
