"""Ceilings: a trace that reads its largest value while the other one foretells more, or that smoothes what was cut."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    CEILING_AT,
    CEILING_BELOW,
    CEILING_BESIDE_S,
    CEILING_BEYOND,
    CEILING_FILTERED_LEFT,
    CEILING_FILTERED_LOW,
    CEILING_FILTERED_SHARE,
    CEILING_FILTERED_SLOPE,
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
from agree.estimators.response.nonlinear.any_filter import through
from agree.faults.view import NORMAL, Mask, View, largest_near

LOWEST, TRIED = 0.25, 60  # of the largest power, to which the ceiling of a sensor is sought, and how many are tried


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


def ceiling_before_filter(smooth: View, sharp: View) -> Mask:
    """Seconds in which a smoother trace shows a ceiling of its sensor, that averaging or noise came after.

    Parameters
    ----------
    smooth, sharp : View
        The smoother trace, and the other one, from which it is foretold.

    Notes
    -----
    Such a trace has no largest value. But the other one, cut at the ceiling L and filtered, foretells it far better
    than uncut: where the part above L shows, what is left of the squares is a few hundredths, and of that part itself
    nothing is left. A trace that bends at high power keeps a share of it, and noise leaves as much as before.
    """
    found = np.zeros(smooth.y.size, bool)
    if sharp.kernel is None:
        return found
    rest = np.where(smooth.known, np.nan_to_num(smooth.y) - smooth.usual, 0.0)
    highest = np.argsort(np.where(smooth.known, smooth.usual, 0.0))[-2 * CEILING_SECONDS:]
    if rest[highest].sum() > -CEILING_FILTERED_LOW * smooth.usual[highest].sum():
        return found
    power = np.where(np.isfinite(sharp.y), np.nan_to_num(sharp.y), np.nan_to_num(sharp.usual))
    best, high = 0.0, found
    for top in np.geomspace(LOWEST, 1.0, TRIED, endpoint=False) * power.max():
        if (power > CEILING_OVER * top).sum() < CEILING_SECONDS:
            break
        lost = smooth.ratio * through(np.maximum(power - top, 0.0), sharp.kernel)
        shown = smooth.known & (lost > CEILING_FILTERED_SHARE * smooth.usual)
        high = high if high.any() else shown  # by the lowest: all must be explained that a bend would do there
        gain = taken_away(rest[high], lost[high], shown[high])
        if gain > best:
            best, found = gain, shown
    return found


def taken_away(rest: FloatArray, lost: FloatArray, shown: Mask) -> float:
    """Squares that a ceiling takes away in the seconds of high power; 0 if it does not explain what is left there.

    Parameters
    ----------
    rest : (n,) array, W
        Readings minus what the other trace foretells.
    lost : (n,) array, W
        What the ceiling would take of them.
    shown : (n,) array of bool
        Seconds in which that shows.
    """
    before, square = float(rest @ rest), float(lost[shown] @ lost[shown])
    if not min(before, square) > 0:
        return 0.0
    left = rest + lost
    slope = float(left[shown] @ lost[shown]) / square  # of the readings, above the ceiling
    fits = float(left @ left) <= CEILING_FILTERED_LEFT * before and abs(slope) <= CEILING_FILTERED_SLOPE
    return before - float(left @ left) if fits else 0.0
