"""The filter of a slow trace cut by a ceiling: what it would read there is foretold, and the filter found anew."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.ceiling_edges import with_edges
from agree.core.thresholds import CEILING_UNTOLD_S, SLOW_REACH_S, WORKING_W
from agree.estimators.response.kernels import Kernel, weights_alike
from agree.estimators.response.matching import Filter, linear_filter
from agree.faults.behind_slow.coasting import NAMES, fitted
from agree.faults.behind_slow.filter_and_faults import FILTERS_ALIKE
from agree.faults.view import Mask, usual_ratio

ROUNDS = 6


def over_ceiling(reference: FloatArray, device: FloatArray, hidden: tuple[Mask, Mask], cut: tuple[Mask, Mask],
                 first: Filter) -> Filter:
    """Find the filter without hidden seconds; at a ceiling of the slower trace with what the filter foretells there.

    Parameters
    ----------
    reference, device : (n,) array, W
        Readings as recorded, NaN where unknown.
    hidden : pair of (n,) arrays of bool
        Faulty seconds of each, those at a ceiling among them.
    cut : pair of (n,) arrays of bool
        Seconds of each at a ceiling.
    first : Filter
        The filter that the faults were found with.

    Notes
    -----
    A sprint that is cut begins and ends in the sharper trace while the slower one is at its top. With straight lines
    over the cut the two seem to change at other times than they do, and no filter is left. So the cut is filled with
    what the filter foretells, and the filter is found anew, until it stays (as in maximum likelihood with readings
    missing: Dempster, Laird & Rubin 1977, J R Stat Soc B 39:1; from memory). The filled seconds tell the fit alone.

    A filter of a few seconds, or a delay, is told by the rest of the ride: the sprints that are cut are left out as a
    whole, in both traces.
    """
    if not (cut[0].any() or cut[1].any()):
        return fitted(reference, device, hidden)
    near = with_edges(cut[0] | cut[1], reference, device, *CEILING_UNTOLD_S)
    made = fitted(reference, device, (hidden[0] | near, hidden[1] | near))
    if made.choice is not None and made.reach[1] - made.reach[0] < SLOW_REACH_S:
        return made
    made = fitted(reference, device, hidden)
    for number, role in enumerate(NAMES):
        if not cut[number].any():
            continue
        now = first if first.smoother == role and first.changes else made
        traces = [np.where(mask, np.nan, trace) for mask, trace in zip(hidden, (reference, device), strict=True)]
        for _ in range(ROUNDS):
            if now.smoother != role or not isinstance(now.kernel, Kernel):
                break
            u, v = now.columns(traces[0], traces[1])[::1 if role == "device" else -1]
            works = (u > WORKING_W) & (v > WORKING_W)
            filled = list(traces)
            filled[number] = np.where(cut[number], usual_ratio(v[works] / u[works]) * u, traces[number])
            again = linear_filter(filled[0], filled[1])
            same = weights_alike(again.kernel, now.kernel, FILTERS_ALIKE)
            made = now = again
            if same:
                break
    return made
