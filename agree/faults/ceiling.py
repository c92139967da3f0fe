"""Ceilings: a trace that reads its largest value while the other one foretells more."""

from __future__ import annotations

import numpy as np

from agree.core.thresholds import CEILING_AT, CEILING_BESIDE_S, CEILING_OVER, CEILING_SD, CEILING_SECONDS
from agree.faults.view import NORMAL, WORKING_W, Mask, View, largest_near

NEAR = (1.0, 0.002)   # W, or share of the top, below it that count as at it
BEYOND = 2.0          # readings above so many times what is usual make no top
BELOW = 0.96          # at the top and foretold to be so near to it: noise, or an error of scale
MOST_SHARE = 0.5      # of the working seconds: a trace that is at its top for longer is steady, not cut


def ceiling(view: View) -> Mask:
    """Seconds at the top, or foretold to be above it, if most of those foretold to be above it are at the top."""
    found = np.zeros(view.y.size, bool)
    y = np.nan_to_num(view.y)
    largest = largest_near(np.fmax(view.usual, np.nan_to_num(view.judge)), CEILING_BESIDE_S)
    sane = view.known & (y <= BEYOND * np.maximum(largest, WORKING_W))
    top = float(y[sane].max(initial=0.0))
    if top <= WORKING_W:
        return found
    at = sane & (y >= top - max(NEAR[0], NEAR[1] * top))
    error = (view.y - view.usual)[view.working & ~at]
    sd = NORMAL * float(np.median(np.abs(error - np.median(error)))) if error.size else 0.0
    over = sane & (view.usual > CEILING_OVER * top + CEILING_SD * sd)
    if over.sum() < CEILING_SECONDS or at[over].mean() < CEILING_AT:
        return found
    found = (at & (view.usual > BELOW * top)) | over
    return found if found.sum() <= MOST_SHARE * view.working.sum() else np.zeros(view.y.size, bool)
