"""Spikes: up to 3 s, or one repeated reading, far above what is foretold, with energy that the other trace lacks."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from agree.core.data.runs import runs
from agree.core.thresholds import (
    CLAIM_MARGIN_S,
    CLAIM_UNKNOWN,
    SPIKE_BELOW_TOP,
    SPIKE_CLAIM,
    SPIKE_FACTOR,
    SPIKE_NEAR_S,
    SPIKE_OWN_S,
    SPIKE_RISE_W,
    SPIKE_S,
    SPIKE_STEEP,
    SPIKE_W,
    WORKING_W,
)
from agree.faults.claim import Claim
from agree.faults.view import View, largest_near


def spikes(view: View) -> list[Claim]:
    """Runs above 100 W plus 1.5 times the largest usual reading within 2 s and the trace's median.

    They last for at most 3 s, or for one reading that is repeated for longer.
    Twice these are needed where the other trace is near its own largest readings.

    Their excess over what is usual must be missing in the other trace: a sprint that the other one smears is none. One
    that falls between two readings of the other trace, which repeats them, is a spike by its height and steepness. So
    is one beside seconds that the other trace lacks; those that its own trace lacks hide nothing of its excess.
    """
    y = np.nan_to_num(view.y)
    near = largest_near(np.fmax(view.usual, np.nan_to_num(view.judge)), SPIKE_NEAR_S)
    own = ndimage.median_filter(y, SPIKE_OWN_S, mode="nearest")
    # Where the other one is near its own top it may be at a ceiling.
    factor = np.where(near > SPIKE_BELOW_TOP * np.quantile(near, 0.999), SPIKE_FACTOR, SPIKE_CLAIM)
    high = (y > factor * np.maximum(near, own) + SPIKE_W) & view.known
    rise = np.diff(y, prepend=0.0)  # what a device holds on to after pedalling ends does not rise
    longest = max(SPIKE_S, view.every_s[0])  # one reading, if it is repeated for longer
    spans = [(start, stop) for start, stop in runs(high) if stop - start <= longest and rise[start] > SPIKE_RISE_W]
    if not spans:
        return []
    claims = [float((y - view.usual)[start:stop].sum()) for start, stop in spans]
    return [one._replace(budget=claim) if one.unseen else one
            for one, claim in zip(view.weigh(spans, claims, high, sign=-1.0), claims, strict=True)
            if _is_one(view, one)]


def _is_one(view: View, one: Claim) -> bool:
    if not one.unseen and is_weighed(view, one):
        return one.lacks
    return (one.unseen or one.lacks) and stands_alone(view, one.start, one.stop)


def is_weighed(view: View, one: Claim) -> bool:
    """Whether enough is known around a claimed spike to weigh it: a gap of its own trace beside it does not matter.

    What the other trace lacks does: the energy may be there. A gap of the own trace is filled with what is usual, so
    that the budget is that of the spike alone, but where the trace goes through a filter, which holds what was before.
    """
    if one.unknown <= CLAIM_UNKNOWN or (view.kernel is not None and view.reach[1] - view.reach[0] > 1):
        return one.unknown <= CLAIM_UNKNOWN
    low = max(one.start - CLAIM_MARGIN_S + min(view.reach[0], 0), 0)
    high = min(one.stop + CLAIM_MARGIN_S + max(view.reach[1], 0), view.y.size)
    own = ~np.isfinite(view.y[low:high]) & np.isfinite(view.judge[low:high])
    return float((~view.known[low:high] & ~own).mean()) <= CLAIM_UNKNOWN


def stands_alone(view: View, start: int, stop: int) -> bool:
    """Whether most of a spike's height comes within its first second, and goes with its last one: no legs do that.

    A push amid coasting does, and short ones amid work, but not above the top of the ride as the other trace shows it.
    An edge at a gap tells nothing; with a gap on both sides it must be twice the top.
    """
    y = np.nan_to_num(view.y)
    top = float(ndimage.median_filter(np.fmax(view.usual, np.nan_to_num(view.judge)), SPIKE_OWN_S).max())
    around = y[max(start - SPIKE_OWN_S // 2, 0):stop + SPIKE_OWN_S // 2]
    highest, usual = float(y[start:stop].max()), float(np.median(around))
    if not 0 < start < stop < y.size:
        return False
    edges = [edge for edge in (view.y[start] - view.y[start - 1], view.y[stop - 1] - view.y[stop]) if np.isfinite(edge)]
    if highest <= top * (1.0 if usual > WORKING_W and edges else SPIKE_FACTOR):
        return False
    return all(edge > SPIKE_STEEP * (highest - usual) for edge in edges)
