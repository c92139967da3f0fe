"""What is left of the readings of a device that warms up, drifts or changes once, when that is taken out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.thresholds import LEAST_SETTLED_S, NAMED_STRENGTH
from agree.diagnosis.finding import Finding
from agree.diagnosis.windows.in_time.time_courses import Form
from agree.diagnosis.windows.in_time.time_courses import along as course
from agree.verdict.columns import Table, table

DRIFTS = ("drift", "temperature_drift")
LASTING = ("scale", "offset", "torque_offset", "bend")  # what is there at every time of a session


def passing(causes: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return warm-ups and steps, and a drift that does more than any cause that is there at every time.

    A smaller drift stays in the mean, which the next session will have too.
    """
    named = [item for item in causes if item.strength >= NAMED_STRENGTH]
    return tuple(item for item in named if item.cause in ("warm_up", "step") or (
        item.cause in DRIFTS and weight(item) > lasting(causes)))


def weight(item: Finding) -> float:
    """Return what a cause does, per cent, times how sure it is."""
    return item.percent * item.strength


def lasting(causes: Sequence[Finding]) -> float:
    """Return the weight of the largest cause that is there at every time, per cent."""
    return max((weight(item) for item in causes if item.cause in LASTING and item.strength >= NAMED_STRENGTH),
               default=0.0)


def without(data: Table, slow: Sequence[Finding], window_s: int) -> Table:
    """Return the table without the seconds of warm-ups and after steps, and with drifts taken off.

    Where some sessions warm up the others begin as late as they do in the middle, if enough of them is left. After a
    rest a device sets its zero, so that what comes before that step is left out.
    """
    warm = [item for item in slow if item.cause == "warm_up"]
    usual = float(np.median([float(item.values["settled_s"]) for item in warm])) if warm else -math.inf
    items = []
    for number, item in enumerate(data.pairs, 1):
        own = [one for one in slow if one.values.get("session", number) == number]
        ends = [float(one.values["settled_s"]) for one in own if one.cause == "warm_up"]
        keep = item.time >= (max(ends) if ends else usual)
        for one in own:
            if one.cause == "step":
                after = item.time >= float(one.values["at_s"])
                keep &= after if one.patterns else ~after
        enough = int((keep & item.used).sum()) >= LEAST_SETTLED_S
        items.append(_drifted(_only(item, keep) if enough else item, [one for one in own if one.cause in DRIFTS]))
    return table(items if len(items) > 1 else items[0], window_s)


def _only(item: Pairs, keep: NDArray[np.bool_]) -> Pairs:
    reason = item.reason.astype(object)
    reason[~keep & item.used] = "warm_up_drift"
    return replace(item, reason=reason.astype(str))


def _drifted(item: Pairs, drifts: Sequence[Finding]) -> Pairs:
    """Take drifts off the device, from the start of the session."""
    if not drifts:
        return item

    def taken(device: FloatArray, reference: FloatArray) -> FloatArray:
        made = device
        for one in drifts:
            along = (item.time - item.time[0]) / 3600
            if one.cause == "temperature_drift" and item.temperature is not None:
                known = item.temperature[np.isfinite(item.temperature)]
                along = np.nan_to_num(item.temperature - known[0]) if known.size else 0 * item.time
            elif one.cause == "drift" and "form" in one.values:
                form: Form = one.values["form"]  # type: ignore[assignment]
                along = course(form, along, float(one.values["hours"]))
            size = 0.0 if one.size is None else one.size.value
            made = made - along * (size / 100 * reference if one.unit.startswith("%") else size)
        result: FloatArray = np.where(device == 0, 0.0, made)
        return result

    matched = item.matched and replace(item.matched, device=taken(item.matched.device, item.matched.reference))
    return replace(item, device=taken(item.device, item.reference), matched=matched)
