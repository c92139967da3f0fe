"""A trace that reads its largest value while the other one foretells more."""

from __future__ import annotations

import numpy as np

from agree.core.data.runs import runs
from agree.core.thresholds import (
    CEILING_AT,
    CEILING_BELOW,
    CEILING_BESIDE_S,
    CEILING_BEYOND,
    CEILING_MOST_SHARE,
    CEILING_NEAR,
    CEILING_OVER,
    CEILING_SD,
    CEILING_SECONDS,
    CEILING_SHARP_W,
    CEILING_STUCK_S,
    CEILING_STUCK_SD,
    WORKING_W,
)
from agree.faults.view import NORMAL, Mask, View, largest_near


def ceiling(view: View) -> Mask:
    """Seconds at the top, or foretold to be above it, if most of those foretold to be above it are at the top."""
    found = np.zeros(view.y.size, bool)
    y = np.nan_to_num(view.y)
    largest = largest_near(np.fmax(view.usual, np.nan_to_num(view.judge)), CEILING_BESIDE_S)
    sane = view.known & (y <= CEILING_BEYOND * np.maximum(largest, WORKING_W))
    top = float(y[sane].max(initial=0.0))
    if top <= WORKING_W:
        return found
    at = sane & (y >= top - max(CEILING_NEAR[0], CEILING_NEAR[1] * top))
    shown = view.known if view.shown is None else view.known & view.shown
    error = (view.y - view.usual)[view.working & ~at & shown]
    sd = NORMAL * float(np.median(np.abs(error - np.median(error)))) if error.size else 0.0
    over = sane & shown & (view.usual > CEILING_OVER * top + CEILING_SD * sd)
    sharp = at & (y >= top - CEILING_SHARP_W)
    exceeded = over.sum() >= CEILING_SECONDS and at[over].mean() >= CEILING_AT
    if not exceeded and not _stuck(view, sharp & shown, sane & shown, top, sd):
        return found
    if over.any() and sharp[over].mean() >= CEILING_AT:  # a ceiling of one value: a watt below it is a reading
        at = sharp
    found = (at & ((view.usual > CEILING_BELOW * top) | ~shown)) | over
    if view.kernel is not None:  # a slower trace foretells the end of a sprint too low: what goes on at the top is cut
        for start, stop in runs(sharp):
            found[start:stop] |= bool(found[start:stop].any())
    return found if found.sum() <= CEILING_MOST_SHARE * view.working.sum() else np.zeros(view.y.size, bool)


def _stuck(view: View, sharp: Mask, sane: Mask, top: float, sd: float) -> bool:
    """Whether many readings are at one largest value while the other trace goes on moving above it.

    So a ceiling shows that nothing exceeds by more than noise. A trainer that holds a power reads one value for long,
    too: but the other trace does not move then, nor is it above it.
    """
    above = sane & (view.usual > top)
    if min(above.sum(), sharp.sum()) < CEILING_STUCK_S or sharp[above].mean() < CEILING_AT:
        return False
    foretold = view.usual[sharp]
    return bool(foretold.mean() - top >= max(CEILING_STUCK_SD[0] * sd, CEILING_SHARP_W)
                and foretold.std() >= max(CEILING_STUCK_SD[1] * sd, CEILING_SHARP_W))
