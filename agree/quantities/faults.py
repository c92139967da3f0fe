"""Faults of quantities other than power, by rules in the unit's own thresholds; reported, not set aside."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from agree.core import thresholds
from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.results.result import Result
from agree.quantities.moving_sum import moving_sum
from agree.quantities.overlay import Overlay

Mask = NDArray[np.bool_]
LATE_S = 5     # a device may show what happened so many seconds late
SPIKE_SD = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceFault(Result):
    """One fault of the device.

    Attributes
    ----------
    kind : str
        "cadence_lock", "half_or_double", "lost_contact", "dropout", "spike", "cough" (the same, of breaths),
        "side_lost" or "sides_exchanged".
    start_s : int
        Second in which it begins, from the first of both recordings.
    seconds : int
        How long it lasts.
    """

    kind: str
    start_s: int
    seconds: int


def _most(mask: Mask, width: int) -> Mask:
    """Where most of the `width` seconds around are true."""
    result: Mask = moving_sum(mask, width) > width / 2
    return result


def _long(mask: Mask, least: int) -> Mask:
    """Runs of at least so many seconds."""
    result = np.zeros(mask.size, bool)
    for first, last in runs(mask):
        if last - first >= least:
            result[first:last] = True
    return result


def cadence_lock(overlay: Overlay) -> Mask:
    """Device within 3 of 1, 1/2 or 2 times the cadence and over 8 from the reference, most of 9 s, for 30 s."""
    if overlay.shadow is None:
        return np.zeros(overlay.device.size, bool)
    turns = np.where(overlay.shadow > 0, overlay.shadow, np.nan)
    near = np.zeros(overlay.device.size, bool)
    for times in (0.5, 1.0, 2.0):
        near |= np.abs(overlay.device - times * turns) <= thresholds.LOCK_NEAR
    away = np.abs(overlay.device - overlay.reference) > thresholds.LOCK_AWAY
    return _long(_most(near & away, 9), thresholds.LOCK_S)


def half_or_double(overlay: Overlay) -> Mask:
    """Device within 5 % of half or twice the reference, most of 5 s, for 5 s; where it is not a lock to the cadence.

    The device is taken as it was recorded: twice a high heart rate is no heart's.
    """
    device = overlay.device if overlay.device_raw is None else overlay.device_raw
    ratio = device / np.where(overlay.reference > overlay.quantity.working, overlay.reference, np.nan)
    near = (np.abs(ratio / 2 - 1) <= thresholds.HALF_NEAR) | (np.abs(2 * ratio - 1) <= thresholds.HALF_NEAR)
    return _long(_most(near, 5), thresholds.HALF_S) & ~cadence_lock(overlay)


def lost_contact(overlay: Overlay) -> Mask:
    """No reading where the reference has one, or one value for 20 s while it ranges over 10 steps and a tenth.

    The reference is looked at as late as the device may be, up to 10 s, and must range at each: a stop is no frozen
    reading. Before the device was started and after it was stopped it lost nothing.
    """
    first, last = overlay.device_seconds
    recording = np.zeros(overlay.device.size, bool)
    recording[first:last] = True
    doubled = half_or_double(overlay) if "half_or_double" in overlay.quantity.fault_rules else np.zeros_like(recording)
    missing = _long(np.isnan(overlay.device) & np.isfinite(overlay.reference) & recording & ~doubled, 5)
    held = np.isfinite(overlay.device)
    same = np.r_[False, (overlay.device[1:] == overlay.device[:-1]) & held[1:]]
    frozen = np.zeros(same.size, bool)
    for first, last in runs(same):
        start = max(first - 1, 0)
        if last - start < thresholds.FROZEN_LONG_S:
            continue
        frozen[start:last] = all(_ranges(overlay, start - late, last - late) for late in range(11))
    return missing | frozen


def _ranges(overlay: Overlay, start: int, last: int) -> bool:
    """Whether the reference ranges over 10 steps and a tenth of itself between two seconds."""
    beside = overlay.reference[max(start, 0):max(last, 0)]
    beside = beside[np.isfinite(beside)]
    if not beside.size:
        return False
    return float(np.ptp(beside)) >= max(10 * overlay.quantity.resolution, 0.1 * float(np.abs(beside).max()))


def dropout(overlay: Overlay) -> Mask:
    """Device at 0 while the reference is at work, and was within 5 s either way: else it shows a late stop."""
    working = overlay.reference > overlay.quantity.working
    stopped = _near(np.isfinite(overlay.reference) & ~working, LATE_S)
    zero = (overlay.device == 0) & working
    found = np.zeros(zero.size, bool)
    for first, last in runs(overlay.device == 0):
        if not stopped[first:last].any():
            found[first:last] = zero[first:last]
    return found


def spike(overlay: Overlay) -> Mask:
    """Device away from its own median of 9 s by the quantity's largest jump and 5 SD, for 3 s at most.

    Not where the reference jumped too, within 5 s either way. The SD is that of the device's usual distance, by its
    median: breaths that scatter widely make no cough.
    """
    away = [np.abs(_from_median(values)) for values in (overlay.device, overlay.reference)]
    usual = away[0][np.isfinite(overlay.device) & (away[0] > 0)]
    least = max(overlay.quantity.spike, SPIKE_SD * 1.4826 * float(np.median(usual)) if usual.size else 0.0)
    found = (away[0] >= least) & ~_near(away[1] >= overlay.quantity.spike / 2, LATE_S)
    short: Mask = found & ~_long(found, 4)
    return short


def _near(mask: Mask, seconds: int) -> Mask:
    """Where the mask is true within so many seconds either way."""
    result: Mask = moving_sum(mask, 2 * seconds + 1) > 0.5
    return result


def _from_median(values: FloatArray) -> FloatArray:
    padded = np.pad(values, 4, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 9)
    whole = np.isfinite(windows).all(axis=1)
    result = np.zeros(values.size)
    result[whole] = values[whole] - np.median(windows[whole], axis=1)
    return result


def side_lost(overlay: Overlay) -> Mask:
    """Device at 0 or 100 while the reference is between 5 and 95, for 3 s."""
    found = np.isin(overlay.device, (0.0, 100.0)) & (overlay.reference > 5) & (overlay.reference < 95)
    return _long(found, 3)


def sides_exchanged(overlay: Overlay) -> Mask:
    """Device follows 100 - reference, where that differs from the reference by over 2 points, over most of a minute.

    It must fit twice as well as a device with one offset for the whole recording: 3 points more of a side are no sides
    exchanged where the reference happens to stand at 48.5.
    """
    gap = np.abs(2 * overlay.reference - 100)
    turned = np.abs(overlay.device - (100 - overlay.reference))
    away = overlay.device - overlay.reference
    offset = float(np.median(away[np.isfinite(away)])) if np.isfinite(away).any() else 0.0
    straight = np.minimum(np.abs(away), np.abs(away - offset))
    clear = gap > thresholds.EXCHANGED_POINTS
    return _long(_most((turned < straight / 2) & clear, 61), 60)


RULES: dict[str, Callable[[Overlay], Mask]] = {
    "cadence_lock": cadence_lock, "half_or_double": half_or_double, "lost_contact": lost_contact, "held": lost_contact,
    "dropout": dropout, "spike": spike, "cough": spike, "side_lost": side_lost, "sides_exchanged": sides_exchanged}
NAMED = {"held": "lost_contact"}


def find_trace_faults(overlay: Overlay) -> tuple[TraceFault, ...]:
    """Find the faults of the device that its quantity can have, in order of time."""
    found = []
    kinds = {NAMED.get(kind, kind) for kind in overlay.quantity.fault_rules if kind in RULES}
    if overlay.quantity.zero_means == "missing":
        kinds.discard("dropout")  # a zero is no reading there, and told as lost contact
    for kind in sorted(kinds):
        found += [TraceFault(kind=kind, start_s=int(first), seconds=int(last - first))
                  for first, last in runs(RULES[kind](overlay))]
    return tuple(sorted(found, key=lambda fault: fault.start_s))
