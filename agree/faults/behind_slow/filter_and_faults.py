"""The filter of a slow trace and the faults of the sharp one, in turn: each hangs on the other."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.thresholds import SLOW_APART_S, SLOW_CHANGES, SLOW_REACH_S, WORKING_W
from agree.estimators.response.kernels import Kernel, weights_alike
from agree.estimators.response.matching import Filter, linear_filter
from agree.estimators.response.own_readings import usual_changes
from agree.faults.behind_slow.explain import Explained, explain, jumps, slow
from agree.faults.behind_slow.refine_filter import refined
from agree.faults.behind_slow.trials import first_trial
from agree.faults.view import Mask

ROUNDS = 8
FILTERS_ALIKE = 0.02  # sum of differences of weights
MEAN_S, LEAST_KNOWN = 5, 0.5


def explained_by_filter(reference: FloatArray, device: FloatArray, first: Filter, spoiled: tuple[Mask, Mask],
                        kinds: Collection[str]) -> tuple[Filter, Explained] | None:
    """The filter and the faults that leave least of the slow trace; None if neither trace is slow.

    Parameters
    ----------
    reference, device : (n,) array, W
        Readings as recorded, NaN where unknown.
    first : Filter
        What was found without gross faults.
    spoiled : pair of (n,) arrays of bool
        Seconds of each that were hidden for that.
    kinds : collection of str
        Kinds of fault to look for.
    """
    made = _begun(first, reference, device, spoiled)
    if made is None:
        return None
    best: tuple[Filter, Explained] | None = None
    for _ in range(ROUNDS):
        right = explain(reference, device, made, kinds)
        if right is None:
            break
        # A filter that was only tried is none: the data must tell one.
        if made.choice is not None and (best is None or right.left < best[1].left):
            best = made, right
        traces = {"reference": reference, "device": device}
        traces |= {right.role: right.trace, made.smoother: np.where(
            jumps(traces[made.smoother]), np.nan, traces[made.smoother])}
        again = linear_filter(traces["reference"], traces["device"])
        if not slow(again) or again.smoother != made.smoother:
            break
        again = refined(again, traces[right.role], traces[made.smoother])
        if weights_alike(again.kernel, made.kernel, FILTERS_ALIKE):
            best = best or (again, right)
            break
        made = again
    if best is None:
        return None
    return best[0], explain(reference, device, best[0], kinds, doubted=True) or best[1]


def _begun(first: Filter, reference: FloatArray, device: FloatArray, spoiled: tuple[Mask, Mask]) -> Filter | None:
    """A filter to begin with, without the seconds in which the slow trace jumps; None if neither is slow."""
    known = [np.where(mask, np.nan, trace) for mask, trace in zip(spoiled, (reference, device), strict=True)]
    if slow(first):
        number = 0 if first.smoother == "reference" else 1
    elif first.choice is not None and (isinstance(first.kernel, Kernel)
                                       or first.reach[1] - first.reach[0] < SLOW_REACH_S):
        return None
    else:
        role = much_slower(known[0], known[1])
        if not role:
            return None
        number = 0 if role == "reference" else 1
    jumpy = jumps(known[number])
    known[number] = np.where(jumpy, np.nan, known[number])
    made = linear_filter(known[0], known[1]) if jumpy.any() else first
    if slow(made) or slow(first):
        return refined(made if slow(made) else first, known[1 - number], known[number])
    return first_trial(known[1 - number], known[number], "reference" if number == 0 else "device")


def much_slower(reference: FloatArray, device: FloatArray) -> str:
    """The trace, "reference" or "device", that changes much less than the other one; "" if neither does."""
    works = (reference > WORKING_W) & (device > WORKING_W)
    for (one, two), least in zip(((_changes(reference), _changes(device)), usual_changes(reference, device, works)),
                                 SLOW_CHANGES, strict=True):
        if max(one, two) > least * min(one, two):
            return "reference" if one < two else "device"
    return ""


def _changes(trace: FloatArray) -> float:
    """Usual change within 10 s of means over 5 s, in which hardly any noise is left, amid work; 0 if none is known."""
    known = np.isfinite(trace)
    share, total = (ndimage.uniform_filter1d(row, MEAN_S, mode="nearest") for row in (
        known.astype(float), np.where(known, trace, 0.0)))
    mean = np.where(share > LEAST_KNOWN, total / np.maximum(share, LEAST_KNOWN), np.nan)
    works = trace > WORKING_W
    change = np.abs(mean[SLOW_APART_S:] - mean[:-SLOW_APART_S])[works[SLOW_APART_S:] & works[:-SLOW_APART_S]]
    change = change[np.isfinite(change)]
    return float(np.median(change)) if change.size else 0.0
