"""A recording split at a place, such as a stop at which the zero was set: the part after it, and the change there."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.fault import Fault
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.engine import spread, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import SPLIT_LEAST_S, SPLIT_PLACES
from agree.estimators.ratios import ratio_of_sums
from agree.verdict.columns import Table
from agree.verdict.meanings import mean_error

_CLOCK = re.compile(r"(\d{1,3}):([0-5]\d):([0-5]\d)")
METHOD = "t, both parts serial"
STEPS = ("step", "auto_zero_step")
NEAR_S = 60  # s to which the place of a step is known: two windows of 30 s


class SplitChange(NamedTuple):
    """The change at a place: its interval if the place was fixed beforehand, and if it was chosen after looking."""

    beforehand: Estimate
    afterwards: Estimate


def place_s(text: str) -> int:
    """Read a place in a recording, H:MM:SS since its first common second, in s.

    Raises
    ------
    InputError
        Anything else, or 0:00:00.

    Examples
    --------
    >>> from agree.trail.split import place_s, place_text
    >>> place_s("0:35:00"), place_text(2100)
    (2100, '0:35:00')
    """
    found = _CLOCK.fullmatch(text.strip())
    seconds = 0 if found is None else 3600 * int(found[1]) + 60 * int(found[2]) + int(found[3])
    if not seconds:
        raise InputError(f"split {text!r} is not understood; write hours, minutes and seconds since the start of the "
                         "recording, such as 0:35:00")
    return seconds


def place_text(seconds: float) -> str:
    """Write a place as H:MM:SS."""
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def split_pairs(pairs: Pairs, places: Sequence[str]) -> tuple[list[Pairs], list[str]]:
    """Cut one recording at places, and label the parts.

    Parameters
    ----------
    pairs : Pairs
        One recording.
    places : sequence of str
        H:MM:SS since its first common second, in any order.

    Returns
    -------
    list of Pairs, list of str
        The parts, and their labels: "before 0:35:00", "from 0:35:00 on".

    Raises
    ------
    InputError
        A place that is not understood, is given twice, or lies beyond the recording.
    SampleSizeError
        A part with fewer than 300 used seconds.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs
    >>> from agree.trail.split import split_pairs
    >>> watts = 200 + 80 * np.sin(np.arange(3600) / 90)
    >>> parts, labels = split_pairs(Pairs(reference=watts, device=0.98 * watts), ["0:35:00"])
    >>> [int(part.used.sum()) for part in parts], labels
    ([2100, 1500], ['before 0:35:00', 'from 0:35:00 on'])
    """
    cuts = sorted(place_s(place) for place in places)
    if len(set(cuts)) < len(cuts) or not cuts:
        raise InputError(f"`places` must hold one or more different places; got {', '.join(places) or 'none'}",
                         option="places")
    first, last = float(pairs.time[0]), float(pairs.time[-1])
    if cuts[-1] >= last:
        raise InputError(f"split {place_text(cuts[-1])} lies beyond the end of the recording, {place_text(last)}; give "
                         "a place inside it")
    ends = [-math.inf, *cuts, math.inf]
    labels = [f"before {place_text(cuts[0])}", *(f"{place_text(a)} to {place_text(b)}" for a, b in pairwise(cuts)),
              f"from {place_text(cuts[-1])} on"]
    parts = []
    for (low, high), label in zip(pairwise(ends), labels, strict=True):
        mask = (pairs.time - first >= low) & (pairs.time - first < high)
        seconds = int(pairs.used[mask].sum())
        if seconds < SPLIT_LEAST_S:
            raise SampleSizeError(f"the part {label!r} has {seconds} used seconds; at least {SPLIT_LEAST_S} are needed "
                                  "to judge a part: leave the split out, or give another place declared beforehand")
        parts.append(part_of(pairs, mask))
    return parts, labels


def part_of(pairs: Pairs, mask: NDArray[np.bool_]) -> Pairs:
    """Return some seconds of a recording, with the clock and the faults in them."""
    matched = pairs.matched
    if matched is not None:
        course = matched.energy_course
        matched = replace(matched, reference=matched.reference[mask], device=matched.device[mask],
                          energy_course=None if course is None else course[mask])
    time = pairs.time[mask]
    faults = tuple(item for item in pairs.faults
                   if time[0] <= item.start_s <= time[-1] and not _is_the_part(item, time))
    return replace(
        pairs, reference=pairs.reference[mask], device=pairs.device[mask], time=time, reason=pairs.reason[mask],
        cadence=None if pairs.cadence is None else pairs.cadence[mask],
        temperature=None if pairs.temperature is None else pairs.temperature[mask],
        speed=None if pairs.speed is None else pairs.speed[mask], matched=matched, faults=faults)


def _is_the_part(fault: Fault, time: FloatArray) -> bool:
    """Whether a step of the whole recording, told by its shorter side, is what the cut itself shows."""
    return fault.kind in STEPS and fault.start_s - time[0] < NEAR_S and (
        fault.start_s + fault.seconds > time[-1] - NEAR_S)


def split_change(before: Table, after: Table, level: float) -> SplitChange:
    """Change of the mean error from one part of a recording to the next, if its place was fixed or chosen.

    Parameters
    ----------
    before, after : Table
        Used seconds of two parts that follow each other.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    SplitChange
        Later minus earlier, in points.

    Notes
    -----
    For a place fixed beforehand both parts' serial variances are added, with Welch's and Satterthwaite's degrees of
    freedom. Whoever looks for the place where the error changes most finds a change that is not there: the largest t
    over all places that leave 5 minutes on either side exceeds the usual limit in 20 to 55 % of recordings without
    one. For such a place the variance is at least that of the whole recording about its two means, so that a
    short part that happens to be quiet decides nothing, and the error probability is divided by `SPLIT_PLACES`
    (benchmarks/trail.py).

    References
    ----------
    Andrews DWK (1993) Econometrica 61:821 for the idea of a higher limit at an unknown place (from memory); the limit
    is this package's own.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs
    >>> from agree.trail.split import split_change, split_pairs
    >>> from agree.verdict.columns import table
    >>> rng, t = np.random.default_rng(1), np.arange(3600)
    >>> watts = 200 + 80 * np.sin(t / 90)
    >>> whole = Pairs(reference=watts, device=np.where(t < 2100, 0.98, 1) * watts + rng.normal(0, 9, 3600))
    >>> found = split_change(*(table(part, 30) for part in split_pairs(whole, ["0:35:00"])[0]), 0.95)
    >>> print(found.beforehand, "or", found.afterwards)
    2.03 [1.51, 2.55] or 2.03 [1.08, 2.97]
    """
    one, two = (mean_error(part, "%", level) for part in (before, after))
    residuals = [100 * ratio_of_sums(part.error, part.reference)[1] for part in (before, after)]
    return change_at(one, two, residuals[0], residuals[1], level)


def change_at(before: Estimate, after: Estimate, first: FloatArray, second: FloatArray, level: float) -> SplitChange:
    """As `split_change`, from the parts' means and their errors about them."""
    value = after.value - before.value
    se = math.hypot(before.standard_error, after.standard_error)
    parts = sum(item.standard_error**4 / item.df for item in (before, after))
    df = se**4 / parts if parts > 0 else min(before.df, after.df)
    n = first.size + second.size
    whole = spread(np.concatenate([first, second]), "serial", cautious=True)
    wide = max(se, whole.standard_error * math.sqrt(n / first.size + n / second.size))
    found = []
    for error, own_df, at, how in ((se, df, level, "fixed beforehand"),
                                   (wide, whole.df, 1 - (1 - level) / SPLIT_PLACES, "chosen after looking")):
        half = t_quantile(at, own_df) * error
        found.append(Estimate(value=value, low=value - half, high=value + half, level=level,
                              method=f"{METHOD}, place {how}", standard_error=error, df=own_df))
    return SplitChange(*found)
