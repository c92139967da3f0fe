"""Which seconds of two recordings laid over one another are set aside, and why."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.fault import FAULT_KINDS, HANDLINGS, NO_FAULT, REASONS, ROLES, SEEN, SLOW, WAKING, Fault
from agree.faults.detect import find_faults
from agree.faults.overlap import Overlap, mix
from agree.faults.slow import find_slow

# A step or a warm-up would take most of a ride with it: set aside only if asked for by name.
USUAL = {kind: "report" if kind in SLOW else "set aside" for kind in FAULT_KINDS}


class Setting(NamedTuple):
    """Why each second is set aside, the native seconds of both that are faulty, notes, and the faults by kind."""

    reason: NDArray[np.str_]
    reference_faulty: NDArray[np.int64]
    device_faulty: NDArray[np.int64]
    notes: tuple[str, ...]
    fault: NDArray[np.str_]


def handling_of(faults: str | Mapping[str, str]) -> dict[str, str]:
    """Return how each kind of fault is handled.

    Parameters
    ----------
    faults : str or mapping
        "set aside", "report" or "keep" for all kinds; or a mapping of kinds to these, the others as by default.
        "set aside" alone leaves steps and warm-ups reported: they must be named to be set aside.

    Raises
    ------
    InputError
        An unknown kind or handling.

    Examples
    --------
    >>> from agree.faults.set_aside import handling_of
    >>> handling_of({"held": "keep"})["held"], handling_of("set aside")["warm_up_drift"]
    ('keep', 'report')
    """
    asked = faults if isinstance(faults, Mapping) else dict.fromkeys(FAULT_KINDS, faults)
    for kind, handling in asked.items():
        if kind not in FAULT_KINDS:
            raise InputError(f"`faults` must name kinds of fault among {', '.join(FAULT_KINDS)}; got {kind!r}")
        if not isinstance(handling, str) or handling not in HANDLINGS:
            raise InputError(f"`faults` must be 'set aside', 'report' or 'keep', or a mapping of kinds of fault to one "
                             f"of these; got {handling!r}" + (f" for {kind}" if isinstance(faults, Mapping) else ""))
    if not isinstance(faults, Mapping) and faults == "set aside":
        return dict(USUAL)
    return USUAL | dict(asked)


def set_aside(x: FloatArray, y: FloatArray, over: Overlap, handling: Mapping[str, str] = USUAL) -> Setting:
    """Say why seconds are set aside. The device's faults are found on its own seconds, and counted once."""
    reference, native = x[over.place], y[over.nearest]
    beyond = np.clip(over.place + over.nearest - over.other, 0, x.size - 1)
    kinds = {kind for kind, how in handling.items() if how != "keep"}
    found = {"device": find_faults(mix(reference, x[beyond], over.share), native, "device", sharp=reference,
                                   kinds=kinds),
             "reference": find_faults(over.device, reference, "reference", sharp=native, kinds=kinds)}
    is_fault = {f"{role}_{kind}": found[role].kind == kind for kind in (*WAKING, *SEEN) for role in ROLES}
    quiet = {"missing": np.isnan(reference) | np.isnan(over.device),
             "both_coasting": (reference == 0) & (native == 0) & (over.device == 0)}
    masks = is_fault | quiet
    names = [name for name in REASONS if name in masks]
    kind = np.select([masks[name] for name in names], names, "")
    aside = np.isin(kind, [name for name in is_fault if handling[name.partition("_")[2]] == "set aside"])
    fault = np.where(np.isin(kind, NO_FAULT), "", kind)
    faulty = np.zeros(y.size, bool)
    faulty[over.nearest[aside & np.char.startswith(kind, "device")]] = True
    reason = np.select([aside, *quiet.values(), (over.share > 0) & faulty[over.other]], [kind, *quiet, "beside_fault"],
                       "")
    return Setting(
        reason, over.place[np.char.startswith(fault, "reference")],
        over.nearest[np.char.startswith(fault, "device")], found["device"].notes or found["reference"].notes, fault)


def all_faults(
    setting: Setting, reference: FloatArray, device: FloatArray, time: FloatArray, cadence: FloatArray | None,
    handling: Mapping[str, str],
) -> tuple[NDArray[np.str_], tuple[Fault, ...], list[str]]:
    """Add steps and warm-ups to what was found second by second: reason, faults in order of time, and notes."""
    both = np.isfinite(reference) & np.isfinite(device)
    whole = float(reference[both].sum())
    reason = setting.reason.astype(f"U{max(map(len, REASONS))}")

    def fault(kind: str, how: str, start: int, stop: int, detail: dict[str, float]) -> Fault:
        share = float(np.nansum(reference[start:stop])) / whole if whole > 0 else float("nan")
        return Fault(kind=kind, start_s=float(time[start]), seconds=stop - start, energy_share=share, handling=how,
                     detail=detail)

    change = np.flatnonzero(np.diff(np.unique(setting.fault, return_inverse=True)[1], prepend=-1, append=-1))
    faults = [fault(str(setting.fault[start]), handling[str(setting.fault[start]).partition("_")[2]], start, stop, {})
              for start, stop in pairwise(change.tolist()) if setting.fault[start]]
    notes = []
    for item in find_slow(reference, device, time, reason == "", cadence, [
            kind for kind in SLOW if handling[kind] != "keep"]):
        how = handling[item.kind]
        faults.append(fault(item.kind, how, item.start, item.stop, item.detail))
        notes.append(f"{item.words}: {'set aside' if how == 'set aside' else 'reported, and used'}")
        if how == "set aside":
            span = reason[item.start:item.stop]
            span[span == ""] = item.kind
    kept = [kind for kind, how in handling.items() if how == "keep"]
    if kept:
        notes.append(f"by request not looked for: {', '.join(kept)}")
    return reason, tuple(sorted(faults, key=lambda item: item.start_s)), notes
