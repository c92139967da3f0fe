"""One trace judged by the other: what it should read, and the budget of energy that a claim of a fault must meet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import (
    BUDGET_LOW,
    CLAIM_ERRORS,
    CLAIM_MARGIN_S,
    CLAIM_MOST,
    CLAIM_UNKNOWN,
    CLAIM_UNSEEN,
    KNOWN_WEIGHT,
    SLOW_REACH_S,
    USUAL_RATIO,
    WORKING_W,
)
from agree.estimators.response.kernels import Kernel, weight_within
from agree.estimators.response.matching import Filter
from agree.estimators.response.nonlinear.any_filter import AnyFilter, answered, through
from agree.estimators.response.nonlinear.repeating import Repeating
from agree.estimators.response.own_readings import every_s
from agree.faults.claim import Claim
from agree.faults.together import borne_out

Mask = NDArray[np.bool_]
MEDIAN_S, STRIDE = 181, 20  # working seconds over which a constant error is taken out, and how far apart
LIKE_S = 4000             # windows of the ride that tell how far a budget errs by itself
NORMAL = 1.4826           # SD of a normal over its median absolute deviation
LEAST_WHOLE_S, LEAST_WHOLE_SHARE = 60, 0.1  # s without a strewn 0 that tell the usual ratio, and of all that tell it
NORMAL_99 = 2.5758        # SD of a normal beyond which a hundredth lies


@dataclass(frozen=True, slots=True)
class View:
    """A trace on its own seconds, and the other one in its place.

    Attributes
    ----------
    role : {"device", "reference"}
    y : (n,) array, W
        The trace as recorded; NaN where unknown or explained by a fault found before.
    usual : (n,) array, W
        What the other one foretells for each second of it.
    judge : (n,) array, W
        The other one's own readings, of the same moment, in the trace's scale; NaN where unknown.
    known : (n,) array of bool
        Both are known at that moment, and so is what the filter holds.
    other : (n,) array, W
        The smoother trace in the trace's scale, if the trace is the sharper one; else what the sharper one foretells.
    kernel : AnyFilter or None
        The filter that the trace goes through before it is compared; None if it is the smoother one.
    ratio : float
        Usual ratio to the other.
    reach : tuple of int
        First and last second, after one of the sharper trace, at which the smoother one shows it.
    inside : (n,) array of bool or None
        The filter takes no more than a fifth of its weight from beyond the ends; None if it does so nowhere.
    shown : (n,) array of bool or None
        Seconds whose own reading the other trace shows, where it shows one in n alone; None if it shows all.
    every_s : tuple of int
        Seconds from one reading to the next, of the trace and of the other one.
    """

    role: str
    y: FloatArray
    usual: FloatArray
    judge: FloatArray
    known: Mask
    other: FloatArray
    kernel: AnyFilter | None
    ratio: float
    reach: tuple[int, int]
    inside: Mask | None = None
    shown: Mask | None = None
    every_s: tuple[int, int] = (1, 1)

    @property
    def working(self) -> Mask:
        """Seconds in which both work."""
        mask: Mask = self.known & (self.usual > WORKING_W) & (np.nan_to_num(self.y) > WORKING_W)
        return mask

    def lack(self, replaced: Mask) -> FloatArray:
        """What the trace lacks, W, with the usual readings in the seconds `replaced` and a constant error taken out."""
        known = np.isfinite(self.y)
        work = self.known & ~replaced & (self.usual > WORKING_W) & (np.nan_to_num(self.y) > WORKING_W)
        # The constant error comes from the readings themselves: replaced ones that were none would shift it. Seconds
        # that hold a replaced one are left out, unless hardly any other is left.
        pure = work & ~(self.compared(replaced.astype(float)) > 0)
        work = pure if pure.sum() >= MEDIAN_S else work
        constant = usual_error(self.other - self.compared(np.where(known, self.y, self.usual)), work)
        rest: FloatArray = self.other - self.compared(np.where(replaced | ~known, self.usual, self.y)) - constant
        return rest

    def compared(self, values: FloatArray, begin: int = 0) -> FloatArray:
        """Readings from second `begin` on as they are compared with `other`: through the filter, if it has one."""
        by = self.kernel.cut(begin, values.size) if isinstance(self.kernel, Repeating) else self.kernel
        return values if by is None else through(values, by)

    def _answered_gain(self, replaced: Mask) -> FloatArray:
        """What the usual readings in the seconds `replaced` add behind a filter that does not keep energy, W."""
        known = np.isfinite(self.y)
        gain: FloatArray = self.compared(np.where(replaced | ~known, self.usual, self.y)) - self.compared(
            np.where(known, self.y, self.usual))
        return gain

    def weigh(self, spans: Sequence[tuple[int, int]], claims: Sequence[float], replaced: Mask, sign: float = 1.0,
              *, tails: bool = False) -> list[Claim]:
        """Compare each claim of lacking energy (of excess, if `sign` is -1) with the budget around it.

        Behind a filter that does not keep energy, claim and budget are what they come to in the other trace.

        With `tails` the error of a budget is also what the hundredth that errs most shows: a response that no filter
        fits errs rarely and much. That needs all other faults to be explained.
        """
        if not spans:
            return []
        if isinstance(self.kernel, Kernel) and self.reach[1] - self.reach[0] >= SLOW_REACH_S:
            return self._weigh_together(spans, claims, sign, self.kernel)
        rest, bends = self.lack(replaced), not (self.kernel is None or isinstance(self.kernel, Kernel))
        total, energy, seen, own = (np.r_[0.0, np.cumsum(values)] for values in (
            rest, np.maximum(self.other, 0.0), self.known,
            self._answered_gain(replaced) if bends else np.nan_to_num(self.usual - self.y)))
        errors: dict[int, tuple[float, float]] = {}

        def budget(start: int, stop: int, low: int, high: int) -> tuple[float, float]:
            low, high = max(low, 0), min(high, self.y.size)
            if high - low not in errors:
                errors[high - low] = _own_error(total, energy, seen, high - low, tails=tails)
            share, usual = errors[high - low]
            if bends:
                start, stop = low, high
            return (sign * float(own[stop] - own[start] + total[high] - total[low]),
                    share * max(float(energy[high] - energy[low]), BUDGET_LOW * usual))

        found = []
        for (start, stop), claim in zip(spans, claims, strict=True):
            low = max(start - CLAIM_MARGIN_S + min(self.reach[0], 0), 0)
            high = min(stop + CLAIM_MARGIN_S + max(self.reach[1], 0), self.y.size)
            far = budget(start, stop, low, high)
            lacking = sign * float(own[high] - own[low]) if bends else claim
            # A sharper trace shows in the other one over the whole reach: there is no nearer budget.
            near = budget(start, stop, start - CLAIM_MARGIN_S, stop + CLAIM_MARGIN_S) if self.kernel is None else far
            unseen = isinstance(self.kernel, Repeating) and abs(lacking) <= CLAIM_UNSEEN * abs(claim)
            found.append(Claim(start, stop, lacking, *far, 1 - float(seen[high] - seen[low]) / (high - low), *near,
                               unseen=unseen))
        return found

    def _weigh_together(self, spans: Sequence[tuple[int, int]], claims: Sequence[float], sign: float,
                        by: Kernel) -> list[Claim]:
        known = np.isfinite(self.y)
        made = self.compared(np.where(known, self.y, self.usual))
        # A slow trace is not 0 while the other one works: its own dropouts tell nothing of this one; nor do the ends.
        within = weight_within(made.size, by.start, by.weights)
        amiss = ((self.other <= 0) & (made > WORKING_W)) | (within < KNOWN_WEIGHT)
        rest = np.where(amiss, np.nan, self.other - made)
        rest -= usual_error(np.nan_to_num(rest), self.working)
        lacks = sign * np.where(known, self.usual - np.nan_to_num(self.y), 0.0)
        found, beyond = [], CLAIM_MARGIN_S + self.reach[1] - self.reach[0]
        for span, claim, (shown, error) in zip(spans, claims, borne_out(sign * rest, spans, lacks, by), strict=True):
            low, high = span[0] - CLAIM_MARGIN_S, span[1] + beyond
            seen = float(self.known[max(low, 0):high].sum()) / (high - low)  # of a stop at the end little is shown
            energy = shown if shown <= CLAIM_MOST * claim + CLAIM_ERRORS * error else 0.0
            found.append(Claim(*span, claim, energy, error, 1 - seen, energy, error, even=True))
        return found


def _own_error(total: FloatArray, energy: FloatArray, seen: FloatArray, width: int, *, tails: bool) -> tuple[
        float, float]:
    """Robust SD of budgets over windows of a width, as a share of the energy in them; and their usual energy, W s."""
    start = np.arange(0, max(total.size - width, 1), max(1, total.size // LIKE_S))
    stop = np.minimum(start + width, total.size - 1)
    rest, around = total[stop] - total[start], energy[stop] - energy[start]
    good = (seen[stop] - seen[start] >= (1 - CLAIM_UNKNOWN) * width) & (around > 0)
    if not good.any():
        return 0.0, 0.0
    usual = float(np.median(around[good]))
    good &= around >= 0.25 * usual
    share = rest[good] / around[good]
    apart = np.abs(share - np.median(share))
    sd = NORMAL * float(np.median(apart))
    return max(sd, float(np.quantile(apart, 0.99)) / NORMAL_99 if tails else 0.0), usual


def usual_error(rest: FloatArray, work: Mask, over_s: int = MEDIAN_S) -> FloatArray:
    """Running median over 181 working seconds, nearer to 0 by two standard errors; 0 while coasting."""
    out = np.zeros(rest.size)
    at = np.flatnonzero(work)
    if at.size < over_s:
        return out
    rows = np.lib.stride_tricks.sliding_window_view(rest[at], over_s)[::STRIDE]
    middle = np.median(rows, axis=1)
    spread = NORMAL * np.median(np.abs(rows - middle[:, None]), axis=1)
    # The median of normal errors has 1.25 times the standard error of their mean.
    sure = np.sign(middle) * np.maximum(np.abs(middle) - 2 * 1.2533 * spread / np.sqrt(over_s), 0.0)
    out[at] = np.interp(np.arange(at.size), over_s // 2 + STRIDE * np.arange(middle.size), sure)
    return out


def usual_ratio(ratio: FloatArray) -> float:
    """Median ratio; once more without what is far from it, so that partial readings do not shift it."""
    if not ratio.size:
        return 1.0
    k = float(np.median(ratio))
    return float(np.median(ratio[(ratio >= USUAL_RATIO[0] * k) & (ratio <= USUAL_RATIO[1] * k)]))


def moved(values: FloatArray, by: int) -> FloatArray:
    """The trace, later by whole seconds; NaN beyond the ends."""
    out = np.full(values.size, np.nan)
    if by >= 0:
        out[by:] = values[:values.size - by]
    else:
        out[:by] = values[-by:]
    return out


def views(reference: FloatArray, device: FloatArray, made: Filter) -> dict[str, View]:
    """Both traces, each judged by the other; NaN where unknown or explained."""
    sharp_role, smooth_role = ("device", "reference") if made.smoother == "reference" else ("reference", "device")
    sharp, smooth = (device, reference) if made.smoother == "reference" else (reference, device)
    late = round(made.mean_delay)
    ahead = moved(smooth, -late)
    whole = answered(sharp, made.kernel)
    both = (whole > WORKING_W) & (smooth > WORKING_W)
    # Strewn zeros that are dropouts would make the sharper trace low as a whole; but what is left must be of all of it.
    pure = answered(np.where(_strewn_zeros(sharp), np.nan, sharp), made.kernel)
    if (both & (pure > WORKING_W)).sum() >= max(LEAST_WHOLE_S, LEAST_WHOLE_SHARE * both.sum()):
        whole, both = pure, both & (pure > WORKING_W)
    k = usual_ratio(smooth[both] / whole[both])
    foretold = np.nan_to_num(np.where(np.isfinite(sharp), sharp, ahead / k))
    seen = np.nan_to_num(smooth)
    shape = through(foretold, made.kernel)
    full_smooth = np.where(np.isfinite(smooth), seen, k * shape)
    behind = moved(sharp, late)
    repeat_s = every_s(smooth), every_s(sharp)
    within = weight_within(sharp.size, made.kernel.start, made.kernel.weights) >= 1 - CLAIM_UNKNOWN
    if isinstance(made.kernel, Repeating):  # the reading that the first seconds repeat came before them
        within &= made.kernel.at >= 0
    held = np.nan_to_num(moved(within.astype(float), -late)) > 0
    between, shown = np.nan_to_num(moved(full_smooth, -late)), None
    if isinstance(made.kernel, Repeating):
        between, shown = made.kernel.between(full_smooth, between), made.kernel.shown()
    return {
        smooth_role: View(smooth_role, smooth, k * shape, k * behind,
                          np.isfinite(smooth) & np.isfinite(behind) & within, k * shape, None, k,
                          (0, made.reach[1] - made.reach[0]), within, None, repeat_s),
        sharp_role: View(sharp_role, sharp, between / k, ahead / k,
                         np.isfinite(sharp) & np.isfinite(ahead) & held, full_smooth / k, made.kernel, 1 / k,
                         made.reach, held, shown, repeat_s[::-1]),
    }


def _strewn_zeros(y: FloatArray) -> Mask:
    """Zeros in runs too short for a coasting."""
    found = np.zeros(y.size, bool)
    for start, stop in runs(y == 0):
        found[start:stop] = stop - start <= CLAIM_MARGIN_S
    return found


def near_coasting(view: View, start: int, stop: int) -> bool:
    """Whether the trace is foretold to coast in a run, or right beside it."""
    return bool((view.usual[max(start - 1, 0):stop + 1] <= WORKING_W).any())


def largest_near(values: FloatArray, margin: int) -> FloatArray:
    """Largest value within so many seconds."""
    result: FloatArray = ndimage.maximum_filter1d(values, 2 * margin + 1, mode="nearest")
    return result
