"""Faults of two traces of one effort, each judged by the other: in an order in which one explains for the next."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.fault import REASONS, ROLES, SEEN, WAKING
from agree.core.data.runs import runs
from agree.core.thresholds import CLAIM_MARGIN_S, CLAIM_MOST, CLAIM_UNKNOWN, DIP_SHARE, WORKING_W
from agree.estimators.response.matching import Filter
from agree.faults.behind_slow.explain import KINDS, Explained, explain, kind_of
from agree.faults.ceilings.before_filter import ceiling_before_filter
from agree.faults.ceilings.often_at_top import often_at_top
from agree.faults.ceilings.pile_up import piled_up
from agree.faults.ceilings.top_value import ceiling
from agree.faults.claim import Claim
from agree.faults.dropout import dropouts, shown_late
from agree.faults.held import held, with_marker
from agree.faults.late_start import late_starts
from agree.faults.partial import EITHER, partials, side
from agree.faults.screen import zeros_amid
from agree.faults.spike import is_weighed, spikes, stands_alone
from agree.faults.view import View, views

AROUND_S = 60   # s on either side that tell what is usual
ORDER = ("late_start", "early_end", "spike", "saturation", "held", "dropout", "partial")


class Found(NamedTuple):
    """A fault: its kind, whose it is ("device", "reference" or "either"), its seconds [start, stop), and its size.

    `lost` is the energy it took from the trace, W s (negative if it added), and `error` the standard error of that.
    """

    kind: str
    side: str
    start: int
    stop: int
    lost: float
    error: float

    @property
    def reason(self) -> str:
        """Name of the reason that its seconds get."""
        return f"{self.side}_{self.kind}"


class Faults(NamedTuple):
    """Reason of each second ("" without a fault), the faults in order of time, and why partial ones were not sought.

    `put_right` is the sharper trace beside a slow one, with what it should have read at faults; None without one.
    """

    reason: NDArray[np.str_]
    found: tuple[Found, ...]
    not_sought: tuple[tuple[str, str, float], ...]
    put_right: Explained | None = None


def find_faults(
    reference: FloatArray, device: FloatArray, made: Filter, *, kinds: Collection[str] = (*WAKING, *SEEN),
    explained: Explained | None = None,
) -> Faults:
    """Find the faults of both traces, each judged by the other.

    Parameters
    ----------
    reference, device : (n,) array, W
        Readings as recorded on one grid of seconds, NaN where missing.
    made : Filter
        The filter between the two, from `find_filter`.
    kinds : collection of str
        Kinds to look for; all if not given.
    explained : Explained, optional
        Faults of the sharper trace beside a slow one, if they were found with the filter.

    Returns
    -------
    Faults
        Reason of each second, the faults, and notes.

    Notes
    -----
    A fault is a claim about energy: a dropout, a partial reading or a spike says that the trace lacks (or has too much
    of) an energy C that the other trace foretells. It counts only if the budget B, the sum of usual minus actual
    readings from 3 s before it to 3 s after it and over the reach of the filter, is at least 0.6 C and four times its
    own standard error, which budgets of equal length in the same recording tell. So what a slow response moves to the
    seconds after it is no fault. Order: late start and early end, spike, ceiling, held values, dropout, partial
    reading; what one kind explains is unknown to the next. Of a trace beside a slow one (one that takes 12 s
    and more for 80 % of a change) dropouts, spikes and partial readings come first, all at once (`behind_slow`).

    Examples
    --------
    >>> import numpy as np
    >>> from agree.estimators.response.matching import find_filter
    >>> from agree.faults.detect import find_faults
    >>> x = 200 + 40 * np.sin(np.arange(400) / 9) + np.random.default_rng(1).normal(0, 9, 400)
    >>> y = x.copy()
    >>> y[200:203] = 0
    >>> [(one.reason, one.start, one.stop) for one in find_faults(x, y, find_filter(x, y)).found]
    [('device_dropout', 200, 203)]
    """
    state = {"reference": reference.copy(), "device": device.copy()}
    found: list[Found] = []
    not_sought: list[tuple[str, str, float]] = []
    explained = explained or explain(reference, device, made, kinds)
    if explained is not None:
        state[explained.role] = explained.trace.copy()
    recorded = {role: trace.copy() for role, trace in state.items()}
    for kind in (kind for kind in ORDER if kind in kinds):
        now = _without_zeros(state, made) if kind == "spike" else state
        seen = views(now["reference"], now["device"], made)
        new: list[Found] = []
        for role in ROLES:
            if explained is not None and role == explained.role and kind in KINDS:
                continue
            if kind == "partial":
                claims, why = partials(seen[role])
                not_sought += [(role, why, seen[role].ratio)] if why else []
                new += [_typed(kind, whose, claim) for claim in claims if (whose := side(seen[role], claim))]
            else:
                new += _of_kind(kind, seen, role)
        for one in new:
            for role in ROLES if one.side == EITHER else (one.side,):
                state[role][one.start:one.stop] = np.nan
        found += new
    if "partial" in kinds:
        found = _partial_rather(found, recorded, made)
    found = _beyond_misfit(found, recorded, made)
    found = _dropouts_again(found, recorded, made)
    if explained is not None:
        found += [Found(kind_of(one.run), explained.role, one.run.start, one.run.stop,
                        one.size * float(one.run.adds.sum()), one.error) for one in explained.faults]
    reason = np.full(reference.size, "", dtype=f"U{max(map(len, REASONS))}")
    for one in sorted(found, key=lambda one: REASONS.index(one.reason), reverse=True):
        reason[one.start:one.stop] = one.reason
    return Faults(reason, tuple(sorted(found, key=lambda one: one.start)), tuple(not_sought), explained)


def _without_zeros(state: dict[str, FloatArray], made: Filter) -> dict[str, FloatArray]:
    """Both traces, the smoother one without zeros amid work: beside its dropout any reading of the other is a spike."""
    smoother = made.smoother or "device"
    zero = zeros_amid(state["reference"], state["device"])[ROLES.index(smoother) == 0]
    return state | {smoother: np.where(zero, np.nan, state[smoother])}


def _beyond_misfit(found: list[Found], recorded: dict[str, FloatArray], made: Filter) -> list[Found]:
    """Faults without spikes that a response which no filter fits may make, now that all else is explained."""
    spiked = [one for one in found if one.kind == "spike"]
    if not spiked:
        return found
    seen, none = _without_others(found, recorded, made, "spike"), set()
    for role in ROLES:
        own = [one for one in spiked if one.side == role]
        at = np.zeros(seen[role].y.size, bool)
        for one in own:
            at[one.start:one.stop] = True
        excess = np.nan_to_num(seen[role].y - seen[role].usual)
        claims = [float(excess[one.start:one.stop].sum()) for one in own]
        for one, claim in zip(own, seen[role].weigh([(one.start, one.stop) for one in own], claims, at, sign=-1.0,
                                                    tails=True), strict=True):
            if is_weighed(seen[role], claim) and not (claim.lacks or stands_alone(seen[role], one.start, one.stop)):
                none.add(one)
    return [one for one in found if one not in none]


def _dropouts_again(found: list[Found], recorded: dict[str, FloatArray], made: Filter) -> list[Found]:
    """Faults without dropouts that a response which no filter fits may make: a device that is slow above some power.

    Now that all else is explained, they are sought again with errors that tell rare and large ones too, first with work
    in place of all zeros, then with stops as they are, which would be such errors themselves. Those stay that are found
    either way, beside which the other trace does not dip, as at a stop or a short rest, or whose budget is unknown.
    What shows more than twice the energy of a claim is something else.
    """
    doubtful = [one for one in found if one.kind == "dropout"]
    if not doubtful:
        return found
    seen, none = _without_others(found, recorded, made, "dropout"), set()
    for role in ROLES:
        again = [(claim.start, claim.stop) for claim in dropouts(seen[role], tails=True)]
        own = [one for one in doubtful if one.side == role and not any(
            start < one.stop and one.start < stop for start, stop in again) and dips(seen[role], one.start, one.stop)]
        at = np.zeros(seen[role].y.size, bool)
        for one in doubtful:
            at[one.start:one.stop] |= one.side == role
        claims = [float(seen[role].usual[one.start:one.stop].sum()) for one in own]
        weighed = seen[role].weigh([(one.start, one.stop) for one in own], claims, at, tails=True)
        none |= {one for one, claim in zip(own, weighed, strict=True)
                 if claim.unknown <= CLAIM_UNKNOWN and not (claim.holds and claim.budget <= CLAIM_MOST * claim.claim)}
    return [one for one in found if one not in none]


def dips(view: View, start: int, stop: int) -> bool:
    """Whether the other trace is far below what is usual around, within the reach of the filter."""
    reach = max(view.reach[1], 0) + CLAIM_MARGIN_S
    near, around = (view.judge[max(start - far, 0):stop + far] for far in (reach, AROUND_S))
    works = around[around > WORKING_W]
    known = near[np.isfinite(near)]
    return bool(known.size and works.size and known.min() < DIP_SHARE * float(np.median(works)))


def _without_others(found: list[Found], recorded: dict[str, FloatArray], made: Filter, kind: str) -> dict[str, View]:
    """Both traces without all that is found but one kind, nor the stops that a repeated reading shows late."""
    left = {role: y.copy() for role, y in recorded.items()}
    for one in found:
        if one.kind != kind:
            for role in ROLES if one.side == EITHER else (one.side,):
                left[role][one.start:one.stop] = np.nan
    seen = views(left["reference"], left["device"], made)
    late = {role: shown_late(seen[role]) for role in ROLES}
    if not any(mask.any() for mask in late.values()):
        return seen
    for role, mask in late.items():
        left[role][mask] = np.nan
    return views(left["reference"], left["device"], made)


def _partial_rather(found: list[Found], recorded: dict[str, FloatArray], made: Filter) -> list[Found]:
    """Partial readings that jump at their ends, in place of what they look like a part at a time.

    Work of the other trace beside them looks like a spike of it; and of a quarter of the power in whole watts some
    values repeat, as if they were held.
    """
    for kind in ("spike", "held"):
        for role, other in zip(ROLES, ROLES[::-1], strict=True):
            whose, late = (other, 0) if kind == "held" else (
                role, round(made.mean_delay) * (1 if other == (made.smoother or "device") else -1))
            doubtful = [one for one in found if one.kind == kind and one.side == whose]
            if not doubtful:
                continue
            rest = [one for one in found if one not in doubtful and (one.kind != "partial" or one.side == role)]
            seen = _without_others(rest, recorded, made, "spike")[other]
            for whole in [_typed("partial", other, claim) for claim in partials(seen)[0] if side(seen, claim) == other]:
                none = {one for one in doubtful if (
                    whole.start < one.stop + late and one.start + late < whole.stop if kind == "spike" else
                    whole.start < one.start and one.stop < whole.stop)}
                if none:
                    found = [*(one for one in found if one not in none and not (
                        one.kind == "partial" and one.side != role and
                        whole.start <= one.start <= one.stop <= whole.stop)), whole]
    return found


def _typed(kind: str, side: str, claim: Claim) -> Found:
    return Found(kind, side, claim.start, claim.stop, claim.budget if kind != "spike" else -claim.budget, claim.error)


def _of_kind(kind: str, seen: dict[str, View], role: str) -> list[Found]:
    view, other = seen[role], seen[ROLES[1 - ROLES.index(role)]]
    if kind in ("spike", "dropout"):
        return [_typed(kind, role, claim) for claim in (spikes if kind == "spike" else dropouts)(view)]
    if kind == "held":
        spans = with_marker(view, held(view))
    else:
        mask = ceiling(view) if kind == "saturation" else late_starts(view, early_end=kind == "early_end")
        if kind == "saturation" and not mask.any():
            mask = ceiling_before_filter(view, other) | piled_up(view)
            mask = mask if mask.any() else often_at_top(view)
        spans = runs(mask)
    claims = view.weigh(spans, [1.0] * len(spans), np.isin(np.arange(view.y.size), [
        at for start, stop in spans for at in range(start, stop)])) if spans else []
    return [_typed(kind, role, claim) for claim in claims]
