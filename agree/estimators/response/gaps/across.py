"""The filter between two traces of which one leaves out the stops: the other one goes on through them, and so does it.

A recorder that pauses while the rider stands does not stop the device: its average falls on, as the other trace tells.
A line over the gap would make it jump, so that the filter seems shorter than it is. What the filter makes of the other
trace stands in the gap instead, and the filter is found again from that (Dempster, Laird & Rubin 1977, J R Stat Soc B
39:1, from memory), beginning with the one that leaves least second by second.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import GAP_AMISS, GAP_FINER, GAP_GOES_ON, GAP_UNKNOWN
from agree.estimators.response import transfer
from agree.estimators.response.choice import SIDES, Choice, opposite
from agree.estimators.response.gaps.left_out import LeftOut, Mask, left_out, stops_left_out
from agree.estimators.response.gaps.second_by_second import SIZES, Fit, Trial, nearer, roughly
from agree.estimators.response.kernels import Kernel, weights_alike

LARGEST_W = 1000.0  # that the largest reading counts as: limits are in W, and the answer must not change with the unit
ROUNDS = 3
LEAST_AFTER_S = 20  # s after gaps that tell whether the filter went on
ALIKE = 0.01   # sum of differences of weights
Fitting = Callable[[FloatArray, FloatArray], tuple[Kernel, Choice]]


def across_gaps(reference: FloatArray, device: FloatArray, fit: Fitting) -> tuple[Kernel, Choice]:
    """The filter between two traces, and what it rests on, with the stops that either leaves out.

    Parameters
    ----------
    reference, device : (n,) array
        Readings in units of the largest one, NaN where unknown.
    fit : callable
        Finds the filter between two traces without such gaps. Where there are none, that is all.
    """
    one, two = LARGEST_W * reference, LARGEST_W * device
    gaps = stops_left_out(one, two)
    if gaps is None:
        return fit(reference, device)
    lag = transfer.cross(reference, device).lag
    return _across(one, two, gaps, lag, lambda x, y: fit(x / LARGEST_W, y / LARGEST_W))


def _across(reference: FloatArray, device: FloatArray, gaps: Mask, lag: int, fit: Fitting) -> tuple[Kernel, Choice]:
    items = {"device": left_out(reference, device, gaps), "reference": left_out(device, reference, gaps)}
    rough = {side: roughly(Trial(item, item.gaps), lag if side == "device" else -lag) for side, item in items.items()}
    side = min(SIDES, key=lambda one: rough[one].left / float(np.nanmean(items[one].smooth)))
    start, unsure = _start(items[side], rough[side])
    by, side, chosen = _in_turn(items, side, start.kernel, unsure, fit, start.kind)
    if unsure is None and (unsure := _does_not_go_on(items[side], by)) is not None:
        by, side, chosen = _in_turn(items, side, by, unsure, fit, "")
    aside = items[side].unknown(by)
    by, chosen = _finer(by, chosen, Trial(items[side], aside if unsure is None else aside | unsure))
    return by, chosen._replace(unsure=unsure)


def _in_turn(items: dict[str, LeftOut], side: str, by: Kernel, unsure: Mask | None, fit: Fitting,
             kind: str) -> tuple[Kernel, str, Choice]:
    """Fill gaps by the filter, and find the filter, in turn; once, if it is of the kind that single readings told."""
    for _ in range(ROUNDS):
        other = "reference" if side == "device" else "device"
        traces = {side: items[side].filled(by, unsure), other: items[side].bridged()}
        found, chosen = fit(traces["reference"], traces["device"])
        now = chosen.smoother or "device"
        done = now == side and (chosen.kind == kind or weights_alike(found, by, ALIKE))
        by, side = found, now
        if done:
            break
    return by, side, chosen


def _start(item: LeftOut, rough: Fit) -> tuple[Fit, Mask | None]:
    """The filter that leaves least second by second; and seconds after gaps, if in these it freezes or begins anew."""
    trial = Trial(item, item.unknown(rough.kernel))
    best, absent = nearer(trial, rough), item.absent
    after = after_gaps(absent, best.kernel) & ~trial.aside
    if not after.any():
        return best, None
    ends = [0, *(stop for _, stop in runs(absent)), absent.size]
    own, least, stopped = _beside(trial, best, after), math.inf, best
    for other in (trial._replace(frozen=absent), trial._replace(pieces=tuple(pairwise(ends)))):
        if _beside(other, best, after) < own:
            one = nearer(other, best)
            least, stopped = min((least, stopped), (_beside(other, one, after), one), key=lambda item: item[0])
    if least >= GAP_GOES_ON * own:
        return best, None
    unsure = after_gaps(absent, stopped.kernel)
    return nearer(trial._replace(aside=trial.aside | unsure), stopped), unsure


def _does_not_go_on(item: LeftOut, by: Kernel) -> Mask | None:
    """Seconds after gaps, if the filter leaves far more of them than of the rest, whatever the smooth trace does."""
    after, trial = after_gaps(item.absent, by), Trial(item, item.unknown(by))
    rest = trial.errors(trial.answered(by))
    beside, others = (part[np.isfinite(part)] for part in (rest[after], rest[~after]))
    if beside.size < LEAST_AFTER_S or not others.size:
        return None
    ratio = root_mean_square(beside) / max(root_mean_square(others), 1e-9)
    return after if ratio > GAP_AMISS else None


def after_gaps(absent: Mask, by: Kernel) -> Mask:
    """Seconds after each gap whose reading is not all of what came after it."""
    beyond = np.flatnonzero(1 - np.cumsum(by.weights) > GAP_UNKNOWN)
    reach = by.start + int(beyond[-1]) + 1 if beyond.size else by.start
    found = np.zeros(absent.size, bool)
    for _, stop in runs(absent):
        found[stop:stop + max(reach, 0)] = True
    mask: Mask = found & ~absent
    return mask


def _beside(trial: Trial, one: Fit, after: Mask) -> float:
    """Root mean square of what a filter leaves after gaps, W."""
    rest = trial.errors(trial.answered(one.kernel))[after]
    return root_mean_square(rest[np.isfinite(rest)])


def _finer(by: Kernel, chosen: Choice, trial: Trial) -> tuple[Kernel, Choice]:
    """The filter with the size and delay that leave least second by second, if that is clearly less.

    Spectra weigh all changes alike; beside gaps the energy of a rise hangs on the filter alone.
    """
    if chosen.kind not in SIZES or chosen.size is None:
        return by, chosen
    turned = chosen.smoother == "reference"
    late = opposite(chosen.delay) if turned else chosen.delay
    best = nearer(trial, Fit(chosen.kind, chosen.size.value, late.value))
    if not best.left < GAP_FINER * trial.left(by, trial.limit(best)):
        return by, chosen
    delay = _moved(late, best.delay)
    return best.kernel, chosen._replace(size=_moved(chosen.size, best.size), part=0.0, ways=(),
                                        delay=opposite(delay) if turned else delay)


def root_mean_square(values: FloatArray) -> float:
    """Infinite if there are none."""
    return math.sqrt(float(np.mean(np.square(values)))) if values.size else math.inf


def _moved(item: Estimate, value: float) -> Estimate:
    """The estimate with another value, and its interval moved with it."""
    by = value - item.value
    return replace(item, value=value, low=item.low + by, high=item.high + by)
