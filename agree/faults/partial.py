"""Partial readings: a half or a quarter of the power for a while, as when one side of two is lost."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import (
    GROSS_ZEROS,
    PARTIAL_BESIDE_S,
    PARTIAL_COASTS,
    PARTIAL_ERRORS,
    PARTIAL_LEAST_W,
    PARTIAL_LIKELY_JUMP,
    PARTIAL_MOST_SHARE,
    PARTIAL_S,
    PARTIAL_SHARES,
    PARTIAL_SHORT_S,
    PARTIAL_SURE_JUMP,
    USUAL_RATIO,
    WORKING_W,
)
from agree.faults.claim import Claim
from agree.faults.view import Mask, View

AROUND_S = 5
EITHER = "either"      # of the two traces: the data do not tell which


def partials(view: View) -> tuple[list[Claim], str]:
    """Runs of at least 3 s near a half or a quarter of what is usual, and why none were looked for or kept.

    Shorter runs count where they are strewn over more than a hundredth of the work: a single one is a reading.
    """
    if not USUAL_RATIO[0] <= view.ratio <= USUAL_RATIO[1]:
        return [], "ratio"
    y = np.nan_to_num(view.y)
    working = view.working
    ratio = y / np.maximum(view.usual, 1e-9)
    spans, claims, at = [], [], np.zeros(y.size, bool)
    for share, margin in PARTIAL_SHARES:
        weak = view.known & (view.usual > WORKING_W) & (ratio > share * 0.5**0.5) & (ratio < share * 2**0.5)
        near = weak & (view.usual > PARTIAL_LEAST_W)
        near = (ndimage.uniform_filter1d(near.astype(float), AROUND_S, mode="constant") > 0.5) & view.known & ~at
        for core in runs(near):
            fits = [span for span in (_on(weak & ~at, *core), core) if _apart(view, *span, share) <= margin]
            if core[1] - core[0] >= PARTIAL_S and core in fits:
                start, stop = fits[0]
                spans.append((start, stop))
                claims.append((1 - share) * float(view.usual[start:stop].sum()))
                at[start:stop] = True
    strewn = _strewn(view, ratio, at)
    for start, stop in strewn:
        spans.append((start, stop))
        claims.append(float((view.usual - y)[start:stop].sum()))
        at[start:stop] = True
    if not spans:
        return [], ""
    found = sorted(claim for claim in view.weigh(spans, claims, at) if claim.holds)
    found = _beyond_misfit(view, found, at)
    short = [claim for claim in found if (claim.start, claim.stop) in strewn and side(view, claim) == view.role]
    if sum(claim.stop - claim.start for claim in short) <= GROSS_ZEROS * working.sum():
        short = []
    found = sorted([*short, *(claim for claim in found if (claim.start, claim.stop) not in strewn)])
    if sum(claim.stop - claim.start for claim in found) > PARTIAL_MOST_SHARE * max(int(working.sum()), 1):
        return [], "scale"
    return found, ""


def _apart(view: View, start: int, stop: int, share: float) -> float:
    """How far what a run reads of the usual energy is from a share."""
    total = float(view.usual[start:stop].sum())
    return abs(float(np.nan_to_num(view.y[start:stop]).sum()) / max(total, 1e-9) - share)


def _on(weak: Mask, start: int, stop: int) -> tuple[int, int]:
    """A run with the seconds right beside it at which it goes on: at low power, where it would not have been seen."""
    before, after = weak[:start][::-1], weak[stop:]
    return (start - int(np.argmin(np.r_[before, False])), stop + int(np.argmin(np.r_[after, False])))


def _beyond_misfit(view: View, found: list[Claim], at: Mask) -> list[Claim]:
    """Claims without those whose side is not sure, and that a response which no filter fits may make."""
    own = [side(view, claim) == view.role for claim in found]
    if all(own):
        return found
    wide = view.weigh([(claim.start, claim.stop) for claim in found], [claim.claim for claim in found], at, tails=True)
    return [claim for claim, sure, too in zip(found, own, wide, strict=True) if sure or too.holds]


def _strewn(view: View, ratio: FloatArray, at: Mask) -> set[tuple[int, int]]:
    """Runs of one or two seconds at a half or a quarter of what is usual, outside those found."""
    near = np.zeros(at.size, bool)
    for share, margin in PARTIAL_SHARES:
        near |= np.abs(ratio - share) <= margin
    near &= view.known & (view.usual > PARTIAL_LEAST_W) & ~at
    return {(start, stop) for start, stop in runs(near) if stop - start < PARTIAL_S}


def side(view: View, claim: Claim) -> str:
    """Whose partial reading it is: the trace's, "either" of the two, or "" if it is no fault.

    The trace that is partial jumps at both edges, while the other one changes as it does anyway: the less the other one
    jumps there in comparison, the surer the side. Where the other one coasts, a filter dies away: nothing is partial.
    """
    if claim.start == 0 and claim.stop < PARTIAL_SHORT_S:  # what a filter still holds of the time before is unknown
        return ""
    if (view.judge[claim.start:claim.stop] <= WORKING_W).mean() >= PARTIAL_COASTS:
        return ""
    own = other = 0.0
    for at in (claim.start, claim.stop):
        near = [k for k in (at - 1, at, at + 1) if 0 < k < view.y.size and np.isfinite(view.y[k - 1:k + 1]).all()]
        if near:
            own += max(abs(view.y[k] - view.y[k - 1]) for k in near)
            other += max(abs(view.usual[k] - view.usual[k - 1]) for k in near)
    if other <= PARTIAL_SURE_JUMP * own:
        return view.role
    short = claim.stop - claim.start < PARTIAL_SHORT_S
    filtered = view.reach[1] - view.reach[0] > 1
    if short and filtered and (view.judge[claim.stop:claim.stop + PARTIAL_BESIDE_S] <= WORKING_W).any():
        return ""  # a push that ends: one trace dies away faster than the filter says
    sure = not short or claim.budget >= PARTIAL_ERRORS * claim.error
    return EITHER if sure or other <= PARTIAL_LIKELY_JUMP * own else ""
