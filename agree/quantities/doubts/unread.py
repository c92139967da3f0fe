"""Whether the device gave readings in too few seconds, or nowhere in a part of the range, for a "holds"."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.lost_end import lost_end
from agree.core.results.note import Note
from agree.core.thresholds import LEAST_RIDE_SHARE, LEAST_TO_HOLD_S, MOST_LEFT_OUT
from agree.quantities.delays.delay import taken_out
from agree.quantities.doubts.what_next import held_seconds
from agree.quantities.overlay import Overlay
from agree.verdict.claim import Claim
from agree.verdict.columns import Table


def unread(overlays: Sequence[Overlay], lags_s: Sequence[float], above: float | None) -> list[Note]:
    """Return why the device's silence forbids a "holds": over all the time in common, or at an end of the range.

    What a device did not read may be what it could not: a sensor that reads nothing beyond a level keeps no claim for
    being right below it. Each device is moved by whole seconds, so that a line between readings loses none.
    """
    parts = [_silent(item, round(lag)) for item, lag in zip(overlays, lags_s, strict=True)]
    level, silent = (np.concatenate(column) for column in zip(*parts, strict=True))
    chosen = level >= (-math.inf if above is None else above)
    level, silent = level[chosen], silent[chosen]
    if not silent.any():
        return []
    share, unit = float(silent.mean()), overlays[0].quantity.computed_in
    ends = {side: lost_end(side, level, silent) for side in ("above", "below")}
    found = [Note(kind="quantity_range_lost", severity="answer", role="device", values={
        "side": side, "level": round(float(level[end[-1]]), _decimals(level)), "unit": unit,
        "lost": int(silent[end].sum()), "seconds": end.size}) for side, end in ends.items() if end is not None]
    if share > MOST_LEFT_OUT:
        found.append(Note(kind="quantity_unread", severity="answer", role="device",
                          values={"percent": round(100 * share, 1)}))
    return found


def _silent(overlay: Overlay, lag_s: int) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Reference of each second in which it has a reading and the device recorded, and where the device has none."""
    first, last = overlay.device_seconds
    seconds = np.arange(overlay.reference.size)
    recorded = (seconds >= first - lag_s) & (seconds < last - lag_s)
    device = taken_out(overlay, float(lag_s)) if lag_s else overlay.device
    keep = np.isfinite(overlay.reference) & recorded
    return overlay.reference[keep], np.isnan(device[keep])


def _decimals(level: FloatArray) -> int:
    """Decimals that name a level to a twentieth of the range, or finer."""
    return max(0, -math.floor(math.log10(max(float(np.ptp(level)), 1e-9) / 20)))


def little_used(overlays: Sequence[Overlay], data: Table, claim: Claim) -> list[Note]:
    """Return why too little was used for a "holds": the same for all quantities as `assessment.how_much` for power."""
    used = int((data.level >= (-math.inf if claim.above is None else claim.above)).sum())
    share = data.reference.size / max(held_seconds(overlays), 1)
    found = []
    if data.sessions == 1 and used < LEAST_TO_HOLD_S:
        found.append(Note(kind="used_too_short", severity="answer", values={"seconds": used, "least": LEAST_TO_HOLD_S}))
    if share < LEAST_RIDE_SHARE:
        found.append(Note(kind="quantity_hardly_any", severity="answer", values={"percent": round(100 * share, 1)}))
    return found
