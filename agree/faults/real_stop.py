"""Zeros that the other trace shows as a stop: at once, smeared by its filter, or after holding its last reading."""

from __future__ import annotations

import math

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import (
    CLAIM_MARGIN_S,
    STOP_AFTER_S,
    STOP_AGAIN,
    STOP_DIP,
    STOP_HELD_S,
    STOP_LONGEST_S,
    STOP_MISFIT,
    STOP_SMOOTHER,
    STOP_SURE,
    STOP_TOGETHER_S,
    STOPS_SHARE,
    STOPS_TOLD,
    WORKING_W,
)
from agree.estimators.response.own_readings import usual_changes
from agree.faults.claim import Claim
from agree.faults.view import View

HELD_TRIED_S, WOKEN_TRIED_S = 12, 8  # s at its begin and its end that are tried as work
BESIDE_S = 8        # s on either side of a stop that tell what is usual there


def is_stop(view: View, claim: Claim) -> bool:
    """Whether zeros that a dropout is claimed of are a stop of the rider, as the other trace shows.

    The zeros are compared with what the other trace would show if this one had worked in the first h and the last g of
    them, through the filter. They are a stop if the best h and g leave at most a quarter of what work in all of them
    leaves, g is 0, and h is no longer than a device may hold its last reading. That is allowed beside zeros of the
    reference alone, which is right: a device that falls to 0 seconds before its reference has lost them. Where no
    filter was found and the other trace is far smoother, it only needs to dip. So are they where the other trace goes
    on with its last reading for 3 to 5 s, watt for watt, and coasts then.
    """
    zero = np.nan_to_num(view.y, nan=1.0) == 0
    work = np.flatnonzero(~zero)
    first = int(work[work < claim.start].max(initial=-1)) + 1
    last = int(work[work >= claim.stop].min(initial=view.y.size))
    if first == 0 or not zero[claim.start:claim.stop].all():
        return False
    if _held_through(view, first, last):
        return True
    begins = claim.start - first <= last - claim.stop
    if (view.kernel is None or view.kernel.weights.size == 1) and _dips(view, claim):
        return True
    if last - first > STOP_LONGEST_S and not begins:
        return False
    found = _shown(view, first, last)
    if found is None:
        return False
    held, woken = found
    if held > STOP_TOGETHER_S and _stop_together(view, first):
        return False
    whole = claim.start - first <= CLAIM_MARGIN_S and last - claim.stop <= CLAIM_MARGIN_S
    return (held <= (STOP_HELD_S if view.role == "reference" else 0) or not (begins or whole)) and (
        woken == 0 or (begins and not whole))


def _stop_together(view: View, first: int) -> bool:
    """Whether the other trace goes on at next to none of the nearest stops, beside the one that begins at `first`."""
    stops = [(start, stop) for start, stop in runs(view.y == 0) if start not in (0, first)
             and stop - start > STOP_HELD_S and bool(np.isfinite(view.judge[start:stop]).all())]
    near = sorted(stops, key=lambda one: abs(one[0] - first))[:STOPS_TOLD[1]]
    told = [shown[0] for start, stop in near if (shown := _shown(view, start, stop)) is not None]
    goes_on = sum(held > STOP_TOGETHER_S for held in told)
    return len(told) >= STOPS_TOLD[0] and goes_on <= STOPS_SHARE * len(told)


def _held_through(view: View, first: int, last: int) -> bool:
    """Whether the other trace goes on with its last reading for a few of the zeros [first, last), and then coasts."""
    changes = np.flatnonzero(view.judge[1:] != view.judge[:-1]) + 1
    at = int(np.searchsorted(changes, first + 1, side="right"))  # clocks differ by parts of a second
    if not 0 < at < changes.size:
        return False
    begin, end = int(changes[at - 1]), int(changes[at])
    again = min(end - begin - 1, end - first)
    return again >= STOP_AGAIN and end - first <= STOP_HELD_S and bool(view.judge[end] <= WORKING_W)


def _shown(view: View, first: int, last: int) -> tuple[int, int] | None:
    """Seconds of work at the begin and end of zeros [first, last) that the other trace shows; None if no stop."""
    reach = CLAIM_MARGIN_S + max(view.reach[1], 0)
    far = 0 if view.kernel is None else abs(view.kernel.start) + view.kernel.weights.size
    begin, end = max(first - reach, 0), min(min(last, first + STOP_LONGEST_S) + reach, view.y.size)
    low, high = max(begin - far, 0), min(end + far, view.y.size)
    own = np.where(np.isfinite(view.y[low:high]), view.y[low:high], view.usual[low:high])
    seen = slice(begin - low, end - low)
    before = float(np.median(own[max(first - low - CLAIM_MARGIN_S, 0):first - low]))
    after = own[last - low:last - low + CLAIM_MARGIN_S]
    level = float(np.median(after)) if after.size else before
    count, other = last - first, view.other[begin:end]

    def left(filled: FloatArray) -> float:
        made = own.copy()
        stop = min(last, high) - low
        made[first - low:stop] = filled[:stop - (first - low)]
        return float(np.mean((other - view.compared(made, low)[seen]) ** 2))

    dropped = left(np.linspace(before, level, count))
    best, found = math.inf, (0, 0)
    for held in range(min(HELD_TRIED_S, count - 1) + 1):
        for woken in range(min(WOKEN_TRIED_S, count - 1 - held) + 1 if count <= STOP_LONGEST_S else 1):
            filled = np.zeros(count)
            filled[:held] = before
            filled[count - woken:] = level
            misfit = left(filled)
            if misfit < best:
                best, found = misfit, (held, woken)
    sure = best < STOP_SURE * dropped and math.sqrt(best) < STOP_MISFIT * max(before, level)
    return found if sure else None


def _dips(view: View, claim: Claim) -> bool:
    """Whether the other trace, far smoother than this one, is lower at the zeros than on either side of them."""
    own, other = usual_changes(view.judge, view.y, view.working, max(view.every_s))[::-1]
    if own <= STOP_SMOOTHER * other:
        return False
    sides = (view.judge[max(claim.start - BESIDE_S, 0):claim.start], view.judge[claim.stop:claim.stop + BESIDE_S])
    inside = view.judge[claim.start:claim.stop + STOP_AFTER_S]
    if not all(np.isfinite(part).any() for part in (*sides, inside)):
        return False
    return float(np.nanmin(inside)) < STOP_DIP * min(float(np.nanmax(part)) for part in sides)
