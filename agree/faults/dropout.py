"""Dropouts: exact zeros while the other trace works, with energy that is nowhere else."""

from __future__ import annotations

import math

import numpy as np

from agree.core.data.runs import runs
from agree.core.thresholds import (
    CLAIM_AT_STOP_S,
    CLAIM_ERRORS,
    CLAIM_EVEN,
    CLAIM_LEAST_S,
    CLAIM_SHARE,
    CLAIM_UNKNOWN,
    GROSS_ZEROS,
    STOPS_CHANCE_SD,
    STOPS_LEAST,
    STOPS_SHARE,
    WORKING_W,
)
from agree.estimators.response.nonlinear.holding import Holding
from agree.faults.claim import Claim
from agree.faults.real_stop import is_stop
from agree.faults.view import Mask, View, near_coasting


def dropouts(view: View, *, tails: bool = False) -> list[Claim]:
    """Runs of 0 in which the other trace foretells more than 15 W, and the budget around lacks that energy.

    A run must be worth a quarter of a second of usual power, and half of one beside coasting. If more than a quarter of
    all stops (and more than two) show one, and more than zeros strewn over the ride would bring there by chance, it is
    how the two traces stop, and no fault; nor is then a run of 0 that is no longer, as of a stop that a device does not
    show which goes on for 3 s. Of a few stops each one is looked at by itself (`is_stop`). Where those found are more
    than a hundredth of the work, or so many zeros amid work lack their energy together, zeros are no rare event: then
    any other 0 amid what the other trace foretells is one too, unless its budget speaks against it, or those of all
    such do together. With `tails` budgets err as their worst hundredth does (`View.weigh`).
    """
    zero = _zeros(view)
    # Zeros that are no longer than the other trace holds its last reading are hidden in it altogether.
    hidden_s = view.kernel.seconds if isinstance(view.kernel, Holding) else 0
    zero &= ~_hidden(view, zero, hidden_s)
    spans = runs(zero)
    if not spans:
        return []
    claims = [float(view.usual[start:stop].sum()) for start, stop in spans]
    weighed = view.weigh(spans, claims, zero, tails=tails)
    found, goes_on = without_stops(view, [claim for claim in weighed if claim.holds])
    stops = {claim for claim in found if is_stop(view, claim)}
    found = [claim for claim in found if claim not in stops]
    if _share(view, found) > GROSS_ZEROS or _lack_together(view, weighed):
        sure = set(found)
        other = [claim for claim in weighed if claim.may and claim.stop - claim.start > goes_on
                 and claim not in stops and claim not in sure]
        found = sorted([*found, *alike(other)])
    return found


def _zeros(view: View) -> Mask:
    """Seconds of 0 in which the other trace foretells more than 15 W."""
    zero: Mask = (np.nan_to_num(view.y, nan=1.0) == 0) & (view.usual > WORKING_W) & view.known
    return zero


def shown_late(view: View) -> Mask:
    """Zeros that a stop may be which a trace shows late, or not at all, as it repeats its reading."""
    return _hidden(view, _zeros(view), 0)


def _hidden(view: View, zero: Mask, held_s: int) -> Mask:
    """Zeros that a stop may be which the other trace does not show: it holds its last reading, or repeats readings.

    A trace that reads every n seconds shows a stop, and its end, up to n - 1 s late, and a shorter one perhaps not at
    all: as the reference is trusted, it has stopped then, unless such zeros are more than a hundredth of the work.
    """
    own_s, other_s = view.every_s
    beside, amid, whole = np.zeros(zero.size, bool), np.zeros(zero.size, bool), np.zeros(zero.size, int)
    for start, stop in runs(np.nan_to_num(view.y, nan=1.0) == 0):
        whole[start:stop] = stop - start
    for start, stop in runs(zero):
        # What is shorter than one repeated reading is none.
        late_s = max(own_s if whole[start] >= own_s else 1, other_s) - 1
        near = near_coasting(view, start, stop)
        beside[start:stop] = stop - start <= max(held_s, late_s if near else 0)
        amid[start:stop] = stop - start <= late_s and not near
    rare = view.role == "reference" and amid.sum() <= GROSS_ZEROS * (view.usual > WORKING_W).sum()
    return beside | amid if rare else beside


def _share(view: View, claims: list[Claim]) -> float:
    """Seconds of claims as a share of those of work."""
    return sum(claim.stop - claim.start for claim in claims) / max(int((view.usual > WORKING_W).sum()), 1)


def alike(claims: list[Claim]) -> list[Claim]:
    """Claims that may each be true: all, if they lack their energy together; else those that seem to by themselves.

    Stops of a trace whose response is known roughly lack next to nothing, though each might.
    """
    if sum(claim.budget for claim in claims) >= CLAIM_SHARE * sum(claim.claim for claim in claims):
        return claims
    share, errors = CLAIM_EVEN
    return [claim for claim in claims if claim.budget >= max(share * claim.claim, errors * claim.error)]


def _lack_together(view: View, claims: list[Claim]) -> bool:
    """Whether zeros amid work are many, and lack their energy together where noise hides what each one lacks."""
    amid = [claim for claim in claims if not near_coasting(view, claim.start, claim.stop)
            and claim.unknown <= CLAIM_UNKNOWN]
    lack, error = sum(claim.budget for claim in amid), math.hypot(*(claim.error for claim in amid))
    return (_share(view, amid) > GROSS_ZEROS and lack >= CLAIM_SHARE * sum(claim.claim for claim in amid)
            and lack >= CLAIM_ERRORS * error)


def without_stops(view: View, found: list[Claim]) -> tuple[list[Claim], int]:
    """Claims without those that are too small, or that show how the two traces stop; and for how long one goes on, s.

    That is 0 unless the other trace goes on at most stops.
    """
    at_stop = [near_coasting(view, claim.start, claim.stop) for claim in found]
    usual = float(np.median(view.usual[view.working])) if view.working.any() else 0.0
    beside = [claim for claim, near in zip(found, at_stop, strict=True)
              if near and claim.claim >= CLAIM_AT_STOP_S * usual]
    inside = [claim for claim, near in zip(found, at_stop, strict=True)
              if not near and claim.claim >= CLAIM_LEAST_S * usual]
    stops, goes_on = len(runs(view.usual <= WORKING_W)), 0
    chance = 2 * stops * _share(view, inside)  # both ends of each
    by_chance = chance + STOPS_CHANCE_SD * math.sqrt(chance) + (STOPS_CHANCE_SD ** 2 - 1) / 6
    if len(beside) > max(STOPS_LEAST, STOPS_SHARE * stops, by_chance):
        # The other trace goes on for so long at most stops that a shorter one is hidden in it altogether.
        goes_on = max(claim.stop - claim.start for claim in beside)
        inside = [claim for claim in inside if claim.stop - claim.start > goes_on]
        beside = []
    return sorted([*inside, *beside]), goes_on
