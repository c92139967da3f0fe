"""Dropouts: exact zeros while the other trace works, with energy that is nowhere else."""

from __future__ import annotations

import numpy as np

from agree.core.data.runs import runs
from agree.core.thresholds import CLAIM_AT_STOP_S, CLAIM_LEAST_S, STOPS_LEAST, STOPS_SHARE
from agree.faults.view import WORKING_W, Claim, View, near_coasting


def dropouts(view: View) -> list[Claim]:
    """Runs of 0 in which the other trace foretells more than 15 W, and the budget around lacks that energy.

    A run must be worth a quarter of a second of usual power, and half of one beside coasting. If more than a quarter of
    all stops (and more than two) show one, it is how the two traces stop, and no fault; nor is then a run of 0 that is
    no longer, as of a stop that a device does not show which goes on for 3 s.
    """
    zero = (np.nan_to_num(view.y, nan=1.0) == 0) & (view.usual > WORKING_W) & view.known
    spans = runs(zero)
    if not spans:
        return []
    claims = [float(view.usual[start:stop].sum()) for start, stop in spans]
    found = [claim for claim in view.weigh(spans, claims, zero) if claim.holds]
    return without_stops(view, found)


def without_stops(view: View, found: list[Claim]) -> list[Claim]:
    """Claims without those that are too small beside a stop, or that show how the two traces stop."""
    at_stop = [near_coasting(view, claim.start, claim.stop) for claim in found]
    usual = float(np.median(view.usual[view.working])) if view.working.any() else 0.0
    beside = [claim for claim, near in zip(found, at_stop, strict=True)
              if near and claim.claim >= CLAIM_AT_STOP_S * usual]
    inside = [claim for claim, near in zip(found, at_stop, strict=True)
              if not near and claim.claim >= CLAIM_LEAST_S * usual]
    stops = len(runs(view.usual <= WORKING_W))
    if len(beside) > max(STOPS_LEAST, STOPS_SHARE * stops):
        # The other trace goes on for so long at most stops that a shorter one is hidden in it altogether.
        goes_on = max(claim.stop - claim.start for claim in beside)
        inside = [claim for claim in inside if claim.stop - claim.start > goes_on]
        beside = []
    return sorted([*inside, *beside])
