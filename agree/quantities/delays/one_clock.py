"""Bring the stamps of two recordings onto one clock, as far as their kinds allow."""

from __future__ import annotations

import numpy as np

from agree.core.results.note import Note
from agree.core.thresholds import DAY_APART_S, FAR_LAG_FIT, ZONE_NEAR_S, ZONE_STEP_S
from agree.quantities.delays.delay import changes
from agree.quantities.delays.lag_curve import correlations, nearest_peak
from agree.quantities.overlay import LEAST_COMMON_S, lay_over
from agree.recordings.recording import Recording

DATED = ("utc", "local")


def one_clock(reference: Recording, device: Recording) -> tuple[float, bool, Note | None]:
    """Return what to take off the device's stamps, s, whether both clocks are then absolute, and what to tell.

    Clocks with dates but unlike zones, or of unknown zones and without a common second, are brought together by whole
    quarters of an hour. So are two that say they are of one zone and have nothing in common, if they are clearly alike
    so: a recorder that was set to the wrong zone, or whose app writes local time as if it were that of Greenwich.
    Clocks that count from a start stay as they are: each start is taken for one moment. Where only one has a date, or
    stamps have nothing in common, the first stamps are.
    """
    kinds = (reference.clock, device.clock)
    gap = float(device.time[0] - reference.time[0])
    if all(kind in DATED for kind in kinds):
        common = min(reference.time[-1], device.time[-1]) - max(reference.time[0], device.time[0])
        if kinds[0] == kinds[1] and (common >= LEAST_COMMON_S or (kinds[0] == "local" and common > 0)):
            return 0.0, True, None
        later, alike = _later(reference, device, gap)
        moved = ZONE_STEP_S * round((gap + later) / ZONE_STEP_S)
        if kinds == ("utc", "utc") and not (
                alike >= FAR_LAG_FIT and abs(gap + later - moved) <= ZONE_NEAR_S and abs(moved) <= DAY_APART_S):
            return 0.0, True, None
        told = Note(kind="quantity_zone", severity="trust", values={"hours": moved / 3600}) if moved else None
        return float(moved), True, told
    apart = min(reference.time[-1], device.time[-1]) - max(reference.time[0], device.time[0]) < LEAST_COMMON_S
    if apart or any(kind in DATED for kind in kinds):  # a time of day beside seconds from a start, too
        return gap, False, Note(kind="quantity_first_stamps", severity="trust")
    return 0.0, False, None


def _later(reference: Recording, device: Recording, gap: float) -> tuple[float, float]:
    """Lag with the first stamps laid together, s, 0 if none stands out, and the correlation of changes there."""
    both = lay_over((np.asarray(reference.time), reference.values), (np.asarray(device.time) - gap, device.values),
                    reference.quantity, absolute=False, names=(reference.name, device.name))
    lags, whole = correlations(changes(both.reference), changes(both.device), everywhere=True)
    best = nearest_peak(lags, whole)
    return float(lags[best]), float(whole[best])
