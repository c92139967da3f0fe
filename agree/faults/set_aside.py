"""Which seconds of two recordings laid over one another are set aside, and why."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.ceiling_edges import with_edges
from agree.core.data.fault import FAULT_KINDS, HANDLINGS, REASONS, SLOW, Fault
from agree.core.data.matched import Matched
from agree.core.errors import InputError
from agree.core.remember import remembering
from agree.core.results.note import Note
from agree.core.thresholds import GROSS_ZEROS, WORKING_W
from agree.estimators.response.kernels import Kernel, weights_alike
from agree.estimators.response.matched_columns import matched, reasons, with_energy
from agree.estimators.response.matching import Filter, find_filter
from agree.estimators.response.own_readings import every_s
from agree.faults.behind_slow.bridge import answered_over
from agree.faults.behind_slow.coasting import Fit, fitted, with_coasting
from agree.faults.behind_slow.explain import slow
from agree.faults.behind_slow.filter_and_faults import FILTERS_ALIKE, explained_by_filter
from agree.faults.behind_slow.over_ceiling import over_ceiling
from agree.faults.behind_slow.refine_filter import refined
from agree.faults.ceilings.often_at_top import above_top
from agree.faults.detect import Faults, Found, find_faults
from agree.faults.partial import EITHER
from agree.faults.screen import hide, zeros_amid
from agree.faults.slow.search import find_slow
from agree.faults.view import Mask

# A step or a warm-up would take most of a ride with it: set aside only if asked for by name.
USUAL = {kind: "report" if kind in SLOW else "set aside" for kind in FAULT_KINDS}


class Setting(NamedTuple):
    """Why each second is set aside, the columns with one response, the faults of single readings, and notes."""

    reason: NDArray[np.str_]
    matched: Matched
    faults: tuple[Found, ...]
    notes: tuple[str | Note, ...]


def handling_of(faults: str | Mapping[str, str]) -> dict[str, str]:
    """Return how each kind of fault is handled.

    Parameters
    ----------
    faults : str or mapping
        "set aside", "report" or "keep" for all kinds; or a mapping of kinds to these, the others as by default.
        "set aside" alone leaves steps and warm-ups reported: they must be named to be set aside.

    Raises
    ------
    InputError
        An unknown kind or handling.

    Examples
    --------
    >>> from agree.faults.set_aside import handling_of
    >>> handling_of({"held": "keep"})["held"], handling_of("set aside")["warm_up_drift"]
    ('keep', 'report')
    """
    asked = faults if isinstance(faults, Mapping) else dict.fromkeys(FAULT_KINDS, faults)
    for kind, handling in asked.items():
        if kind not in FAULT_KINDS:
            raise InputError(f"`faults` must name kinds of fault among {', '.join(FAULT_KINDS)}; got {kind!r}",
                             option="faults")
        if not isinstance(handling, str) or handling not in HANDLINGS:
            raise InputError(f"`faults` must be 'set aside', 'report' or 'keep', or a mapping of kinds of fault to one "
                             f"of these; got {handling!r}" + (f" for {kind}" if isinstance(faults, Mapping) else ""))
    if not isinstance(faults, Mapping) and faults == "set aside":
        return dict(USUAL)
    return USUAL | dict(asked)


@remembering()
def set_aside(reference: FloatArray, device: FloatArray, handling: Mapping[str, str] = USUAL) -> Setting:
    """Match the response of two traces on one grid of seconds, find their faults, and say why seconds are set aside.

    The filter is fitted without gross faults, the faults are found with it, and it is fitted again without them for the
    columns. Where dropouts are many, or one trace is slow, the faults are found once more with that.
    """
    kinds = {kind for kind, how in handling.items() if how != "keep"}
    first, spoiled = with_coasting(reference, device, _first_fit(reference, device, hide(reference, device)))
    made, found = _beside_slow(reference, device, first, spoiled, kinds) or _found(
        reference, device, first, spoiled, kinds)
    aside = np.isin(found.reason, [name for name in REASONS if handling.get(name.partition("_")[2]) == "set aside"])
    sound = [np.where(aside & mask, np.nan, column)
             for mask, column in zip(_spoiled(found), (reference, device), strict=True)]
    columns = _without_edges(found, aside, (reference, device), _columns(made, found, sound[0], sound[1], aside))
    record = replace(matched(made, reference, device), reference_every_s=every_s(reference),
                     device_every_s=every_s(device))
    reason = reasons(np.where(aside, found.reason, ""), (reference, device), columns,
                     (record.reference, record.device))
    record = replace(record, reference=np.where(np.isfinite(columns[0]), columns[0], record.reference),
                     device=np.where(np.isfinite(columns[1]), columns[1], record.device))
    record = with_energy(record, made, (sound[0], sound[1]), reason == "")
    return Setting(reason, record, found.found, (*_untold(found), *_unsought(found), *_paused(made, reason)))


def _found(reference: FloatArray, device: FloatArray, first: Filter, spoiled: tuple[Mask, Mask],
           kinds: Collection[str]) -> tuple[Filter, Faults]:
    """The faults by a first filter, and the filter without them."""
    made, found = first, find_faults(reference, device, first, kinds=kinds)
    hidden, spoiled = spoiled, _spoiled(found)
    cut = _cut(found)  # what was hidden may be just that: sprints that are cut tell of a filter beyond it
    if max(part.any() for part in cut) or not all(
            (now == before).all() for now, before in zip(spoiled, hidden, strict=True)):
        made = over_ceiling(reference, device, spoiled, cut, first)
        if max(part.any() for part in cut) and not weights_alike(
                made.kernel, first.kernel, FILTERS_ALIKE):
            # The first filter held the ceiling for a response.
            found = find_faults(reference, device, made, kinds=kinds)
            spoiled = _spoiled(found)
        if _many_zeros(found, reference, device):  # among so many gaps a fit is rough: either may be
            made = _better(first, made, reference, device, spoiled)
            found = find_faults(reference, device, made, kinds=kinds)
            spoiled = _spoiled(found)
            made = _better(made, fitted(reference, device, spoiled), reference, device, spoiled)
    if made.choice is None and first.choice is not None:  # what was hidden and is no fault drowns all other changes
        made = first
    return made, found


def _beside_slow(reference: FloatArray, device: FloatArray, first: Filter, spoiled: tuple[Mask, Mask],
                 kinds: Collection[str]) -> tuple[Filter, Faults] | None:
    """The same where one trace is slow; None if neither is."""
    both = explained_by_filter(reference, device, first, spoiled, kinds)
    if both is None:
        return None
    made, right = both
    found = find_faults(reference, device, made, kinds=kinds, explained=right)
    traces = _put_right(found, reference, device)
    again = find_filter(*traces)
    if again.smoother == made.smoother and not isinstance(again.kernel, Kernel):
        return None  # slow in a way that no weights over seconds describe
    if not slow(again) or again.smoother != made.smoother:
        return made, found
    return refined(again, *(traces if made.smoother == "device" else traces[::-1])), found


def _put_right(found: Faults, reference: FloatArray, device: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Both traces without faults: with what they should have read where that is known, else NaN."""
    traces, right = {"reference": reference, "device": device}, found.put_right
    hidden = dict(zip(("reference", "device"), _spoiled(found), strict=True))
    if right is not None:
        traces[right.role] = right.trace
        hidden[right.role] = hidden[right.role] & ~right.changed
    one, two = (np.where(hidden[role], np.nan, trace) for role, trace in traces.items())
    return one, two


def _columns(made: Filter, found: Faults, one: FloatArray, two: FloatArray, aside: Mask) -> tuple[
        FloatArray, FloatArray]:
    """Both traces, NaN where faulty, with one response: a slow filter reaches over faults that are put right."""
    if not slow(made) or not isinstance(made.kernel, Kernel):
        return made.columns(one, two)
    sharp = two if made.smoother == "reference" else one
    right = found.put_right
    known = sharp
    if right is not None and (right.role == "device") == (made.smoother == "reference"):
        # What is less likely a fault than not is right in part: left as it is, the mean would lack the part.
        known = np.where(right.changed & ~aside, sharp, right.trace)
    cut = aside & _cut(found)[made.smoother == "reference"]
    known = np.where(cut, above_top(sharp, int(cut.sum())), known)
    answer = made.sure(answered_over(known, ~np.isfinite(sharp), made.kernel))
    return (one, answer) if made.smoother == "reference" else (answer, two)


def _without_edges(found: Faults, aside: Mask, recorded: tuple[FloatArray, FloatArray],
                   columns: tuple[FloatArray, FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Columns without the seconds in which power jumps beside a ceiling that is set aside."""
    near = with_edges(aside & (_cut(found)[0] | _cut(found)[1]), *recorded)
    return np.where(near, np.nan, columns[0]), np.where(near, np.nan, columns[1])


def _cut(found: Faults) -> tuple[Mask, Mask]:
    """Seconds of reference and device at a ceiling."""
    return found.reason == "reference_saturation", found.reason == "device_saturation"


def _first_fit(reference: FloatArray, device: FloatArray, spoiled: tuple[Mask, Mask]) -> Fit:
    """Fit the filter without gross faults; where a trace has many zeros amid work, with them or without them.

    Zeros of a trace that seems the sharper one may be its own stops, which the other one smears, or dropouts beside the
    noise of a steady ride. Of the two filters that follow from it the one counts that leaves less of the difference.
    """
    made = fitted(reference, device, spoiled)
    zeros = zeros_amid(reference, device, dips=False)
    every = spoiled[0] | zeros[0], spoiled[1] | zeros[1]
    works = int(((reference > WORKING_W) & (device > WORKING_W)).sum())
    if max(int((more & ~mask).sum()) for more, mask in zip(every, spoiled, strict=True)) <= GROSS_ZEROS * works:
        return Fit(made, spoiled)
    other = fitted(reference, device, every)
    one, two = (_left(*one_fit.columns(np.where(hidden[0], np.nan, reference), np.where(hidden[1], np.nan, device)))
                for one_fit, hidden in ((made, spoiled), (other, every)))
    return Fit(other, every) if two < one else Fit(made, spoiled)


def _many_zeros(found: Faults, reference: FloatArray, device: FloatArray) -> bool:
    """Whether more than a hundredth of the work are dropouts."""
    works = int(((reference > WORKING_W) | (device > WORKING_W)).sum())
    return sum(one.stop - one.start for one in found.found if one.kind == "dropout") > GROSS_ZEROS * works


def _left(u: FloatArray, v: FloatArray) -> float:
    """Usual difference of two columns, as a share of the usual reading; infinite where nothing is left of them."""
    works = (u > WORKING_W) & (v > WORKING_W)
    if not works.any():
        return math.inf
    share = v[works] / u[works]
    return float(np.median(np.abs(share / np.median(share) - 1)))


def _better(one: Filter, other: Filter, reference: FloatArray, device: FloatArray, spoiled: tuple[Mask, Mask],
            ) -> Filter:
    """Of two filters the one that leaves less of the difference without zeros; the other one if they leave as much."""
    zeros = zeros_amid(reference, device, dips=False)
    sound = [np.where(mask | zero, np.nan, trace)
             for mask, zero, trace in zip(spoiled, zeros, (reference, device), strict=True)]
    return one if _left(*one.columns(*sound)) < _left(*other.columns(*sound)) else other


def _spoiled(found: Faults) -> tuple[Mask, Mask]:
    """Seconds of reference and device that hold a fault of either."""
    first, second = (np.isin(found.reason, [name for name in REASONS if name.startswith((role, EITHER))])
                     for role in ("reference", "device"))
    return first, second


def _untold(found: Faults) -> tuple[Note, ...]:
    """Say by which shares the device may read less or more, if other faults are as likely beside a slow trace."""
    right = found.put_right
    if right is None or right.unsure == (0.0, 0.0):
        return ()
    low, high = right.unsure if right.role == "reference" else tuple(1 / (1 + by) - 1 for by in right.unsure[::-1])
    return (Note(kind="pair_faults_untold", severity="trust", values={"low": low, "high": high}),)


def _paused(made: Filter, reason: NDArray[np.str_]) -> tuple[Note, ...]:
    """Say that the average of a trace does not go on while its recorder leaves out stops, and what that costs."""
    unsure = None if made.choice is None else made.choice.unsure
    if unsure is None or not (lost := int((unsure & (reason == "beside_gap")).sum())):
        return ()
    return (Note(kind="pair_average_paused", severity="detail", role=made.smoother, values={"seconds": lost}),)


def _unsought(found: Faults) -> tuple[str, ...]:
    return tuple(
        (f"the {role} usually reads {ratio:.2f} of the other: partial readings were not looked for, as they cannot be "
         "told from an error of scale") if why == "ratio" else
        f"the {role} seems partial in more than half of the working seconds: taken for a matter of scale, and not set "
        "aside" for role, why, ratio in found.not_sought[:1])


def all_faults(
    setting: Setting, reference: FloatArray, device: FloatArray, time: FloatArray, cadence: FloatArray | None,
    handling: Mapping[str, str],
) -> tuple[NDArray[np.str_], tuple[Fault, ...], list[str]]:
    """Add steps and warm-ups to what was found second by second: reason, faults in order of time, and notes."""
    both = np.isfinite(reference) & np.isfinite(device)
    whole = float(reference[both].sum())
    reason = setting.reason.astype(f"U{max(map(len, REASONS))}")

    def fault(kind: str, how: str, start: int, stop: int, detail: dict[str, float]) -> Fault:
        share = float(np.nansum(reference[start:stop])) / whole if whole > 0 else float("nan")
        return Fault(kind=kind, start_s=float(time[start]), seconds=stop - start, energy_share=share, handling=how,
                     detail=detail)

    faults = [fault(one.reason, handling[one.kind], one.start, one.stop, {"lost_J": one.lost, "se_J": one.error})
              for one in setting.faults]
    notes = []
    # A slow device differs from the other one after every change; with one response it does not. Stops are as recorded.
    as_is = ~both | ((reference == 0) & (device == 0))
    one, two = (np.where(as_is | ~np.isfinite(made), given, made) for given, made in (
        (reference, setting.matched.answered[0]), (device, setting.matched.answered[1])))
    for item in find_slow(one, two, time, reason == "", cadence, [
            kind for kind in SLOW if handling[kind] != "keep"]):
        how = handling[item.kind]
        faults.append(fault(item.kind, how, item.start, item.stop, item.detail))
        notes.append(f"{item.words}: {'set aside' if how == 'set aside' else 'reported, and used'}")
        if how == "set aside":
            span = reason[item.start:item.stop]
            span[span == ""] = item.kind
    kept = [kind for kind, how in handling.items() if how == "keep"]
    if kept:
        notes.append(f"by request not looked for: {', '.join(kept)}")
    return reason, tuple(sorted(faults, key=lambda item: item.start_s)), notes
