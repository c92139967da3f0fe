"""Which seconds of two recordings laid over one another are set aside, and why."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree._check import FloatArray
from agree.recordings.faults import find_faults
from agree.recordings.grid import Overlap, mix

FAULTS = ("dropout", "held", "partial", "spike")


class Setting(NamedTuple):
    """Why each second is set aside, the native seconds of both that are faulty, and notes."""

    reason: NDArray[np.str_]
    reference_faulty: NDArray[np.int64]
    device_faulty: NDArray[np.int64]
    notes: tuple[str, ...]


def set_aside(x: FloatArray, y: FloatArray, over: Overlap) -> Setting:
    """Say why seconds are set aside. The device's faults are found on its own seconds, and counted once."""
    reference, native = x[over.place], y[over.nearest]
    beyond = np.clip(over.place + over.nearest - over.other, 0, x.size - 1)
    device = find_faults(mix(reference, x[beyond], over.share), native, "device", sharp=reference)
    judged = find_faults(over.device, reference, "reference", sharp=native)
    device_faulty = over.nearest[np.isin(device.kind, FAULTS)]
    faulty = np.zeros(y.size, bool)
    faulty[device_faulty] = True
    masks = [np.isnan(reference) | np.isnan(over.device), (reference == 0) & (native == 0) & (over.device == 0)]
    names = ["missing", "both_coasting"]
    for role, found in (("device", device), ("reference", judged)):
        masks += [found.kind == kind for kind in FAULTS]
        names += [f"{role}_{kind}" for kind in FAULTS]
    masks.append((over.share > 0) & faulty[over.other])
    reason = np.select(masks, [*names, "beside_fault"], "")
    return Setting(reason, over.place[np.isin(judged.kind, FAULTS)], device_faulty, device.notes or judged.notes)
