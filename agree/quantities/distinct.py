"""Refuse a recording that is compared with itself, and a session that is given twice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from agree.core.errors import InputError
from agree.quantities.overlay import Overlay
from agree.verdict.repeats.distinct import LEAST_VALUES


def refuse_same_readings(items: Sequence[Overlay]) -> None:
    """Refuse a device whose readings are the reference's, at any shift, and two sessions with the same readings.

    Readings are compared, not clocks: a copy that was stamped anew has the same readings in a row.

    Raises
    ------
    InputError
        Naming the sessions and both files.
    """
    prints = [(_readings(item.reference), _readings(item.device)) for item in items]
    for k, ((one, two), item) in enumerate(zip(prints, items, strict=True), 1):
        if np.array_equal(one, two) and np.unique(one).size >= LEAST_VALUES:
            raise InputError(f"session {k}: {_names(item)} hold the same {one.size} readings: a recording was compared "
                             "with itself; give the device's own recording")
    seen: dict[bytes, int] = {}
    for k, (item, pair) in enumerate(zip(items, prints, strict=True)):
        whole = b"|".join(np.round(part, 6).tobytes() for part in pair)
        if whole in seen and np.unique(pair[0]).size >= LEAST_VALUES:
            raise InputError(f"sessions {seen[whole] + 1} ({_names(items[seen[whole]])}) and {k + 1} ({_names(item)}) "
                             "hold the same recordings: a session counts once, whatever its file is called or its "
                             "clock says; leave one of them out")
        seen[whole] = k


def _readings(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return values[np.isfinite(values)]


def _names(item: Overlay) -> str:
    return f"{item.reference_name} and {item.device_name}"
