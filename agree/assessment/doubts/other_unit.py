"""Refuse two recordings whose powers are so far apart that one is in another unit, or is no power."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.thresholds import LEAST_KW, LEAST_MEAN_W, MOST_RATIO, UNIT_NEAR
from agree.diagnosis.telltale import UNITS_W


def refuse_other_unit(pairs: Sequence[Pairs]) -> None:
    """Refuse a session in which one recording reads over five times the other, or hardly anything.

    No device sold is so wrong; a column in kW, kgf m/s or tenths of a watt is. A factor or a verdict on it would be
    taken for a finding about the device.

    Raises
    ------
    InputError
        Naming the session, both means, the unit that fits, and what to do.
    """
    for k, item in enumerate(pairs, 1):
        reference, device = (float(np.mean(column[item.used])) for column in (item.reference, item.device))
        names = (item.reference_name, item.device_name)
        remedy = "write the unit into the header of its column, such as 'power [kW]', or name the right column"
        if max(reference, device) < LEAST_MEAN_W:
            unit = " (they may be in kW)" if reference > LEAST_KW else ""
            raise InputError(f"session {k}: {' and '.join(names)} read {reference:.3g} and {device:.3g} W on average, "
                             f"which is no power of a rider; {remedy}{unit}")
        if reference <= 0 or device <= 0:
            continue  # no ratio: said elsewhere
        ratio = device / reference
        if not 1 / MOST_RATIO <= ratio <= MOST_RATIO:
            low, high = (names[1], names[0]) if ratio < 1 else names
            times = max(ratio, 1 / ratio)
            raise InputError(f"session {k}: {names[0]} reads {reference:.3g} W on average and {names[1]} {device:.3g} "
                             f"W, {times:.0f} times apart, which no device is wrong by: {low} or {high} is in another "
                             f"unit or is another column{_unit(times, low)}; {remedy}")


def _unit(times: float, who: str) -> str:
    """Name the unit that makes readings so many times too small; empty if none does."""
    fits = [(abs(math.log(times / watts)), name) for name, watts in UNITS_W.items() if watts > MOST_RATIO]
    distance, name = min(fits)
    return f" ({who} may be in {name})" if distance < UNIT_NEAR else ""
