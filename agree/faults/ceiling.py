"""Ceilings: a trace that reads its largest value while the other one foretells more."""

from __future__ import annotations

import numpy as np

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
    if over.sum() < CEILING_SECONDS or at[over].mean() < CEILING_AT:
        return found
    sharp = at & (y >= top - CEILING_SHARP_W)
    if sharp[over].mean() >= CEILING_AT:  # a ceiling of one value: a watt below it is a reading
        at = sharp
    found = (at & ((view.usual > CEILING_BELOW * top) | ~shown)) | over
    return found if found.sum() <= CEILING_MOST_SHARE * view.working.sum() else np.zeros(view.y.size, bool)
