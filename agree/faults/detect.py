"""Faults of one trace, judged by another: late, ended, saturated, dropped, partial, held and spiked readings."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.fault import NO_FAULT, SEEN, WAKING
from agree.core.runs import runs
from agree.faults.waking import WORKING_W, Mask, frozen_runs, lacks, late_start, saturation

WIDTHS = (1, 3, 5, 7, 9, 11)  # s over which one trace may average more than the other
EDGE_SHARE = 0.25  # of the seconds beside coasting that may read 0 before all of them are taken for coasting
PARTIAL = ((0.5, 0.06), (0.25, 0.04))  # what a lost half or quarter leaves of the usual ratio, and how nearly
PARTIAL_W = 40.0  # below this a half is not told from a few watts of offset
PARTIAL_S = 3
USUAL_RATIO = (0.7, 1.4)
SPIKE_S = 3
SPIKE_FACTOR, SPIKE_W, SPIKE_MARGIN_S = 2.0, 100.0, 2
OWN_S = 9


class Faults(NamedTuple):
    """Kind of fault of each second ("" for none), and notes."""

    kind: NDArray[np.str_]
    notes: tuple[str, ...]


def find_faults(
    judge: FloatArray, trace: FloatArray, name: str = "device", *, sharp: FloatArray | None = None,
    kinds: Collection[str] = (*WAKING, *SEEN),
) -> Faults:
    """Find the faults of a trace by a second one of the same effort.

    Parameters
    ----------
    judge, trace : (n,) array, W
        Readings of the same seconds, NaN where missing; `trace` is as recorded, not interpolated.
    name : str
        What `trace` is called in notes.
    sharp : (n,) array, W, optional
        If `judge` is interpolated to the seconds of `trace`: its reading nearest to each.
    kinds : collection of str
        Kinds to look for; all if not given.

    Returns
    -------
    Faults
        ``kind``: (n,) array of "late_start", "early_end", "missing", "both_coasting", "saturation", "held", "dropout",
        "spike", "partial" or "", the first that fits; ``notes``.

    Notes
    -----
    With k the usual ratio, the median of trace/judge over the seconds in which both are above 15 W (once more over
    those within 0.7 to 1.4 of it):

    late_start, early_end
        From the judge's first working second, at the start or after a rest of 60 s, until the trace wakes: it reads 0
        or nothing for at least 3 working seconds, and lacks power as in a dropout; or it holds one value. Early
        end: the same at the end.
    missing
        Either has no reading.
    both_coasting
        Both are exactly 0.
    saturation
        Within 1 W or 0.2 % of the largest reading (spikes apart) for at least 3 s, with k times the judge above that
        on the mean: in two runs or 10 s, over which k times the judge averages 1.05 of it and ranges over a tenth.
    held
        The same value, not 0, for at least 5 s while the judge's readings (`sharp`) range over more than 20 % of
        their largest. The first second of the run is taken for genuine.
    dropout
        The trace is 0 while the judge is above 15 W; and from 3 s before to 3 s after the run, the trace lacks at
        least 0.6 of the power that k times the judge shows in the run (or shows on average from 3 s before to
        3 s after it, if that is more). So a short coasting is not called a dropout because the judge averages
        over some seconds: that spreads its power, but keeps it. Seconds in which the judge works beside one in
        which it does not count only if the trace is 0 in at most a quarter of them: else it is known to stop a
        little sooner.
    spike
        Up to 3 s above 100 W plus twice the largest of k times the judge within 2 s, and plus twice the median
        of the trace itself over 9 s.
    partial
        Where k times the judge is above 40 W, a run of at least 3 s in which most of any 5 s are nearer to 0.5
        (or 0.25) of it than to 1 or 0.25 (or 0.5 or 0.125) of it, on a scale of ratios, and over which the sums
        have a ratio within 0.5 -+ 0.06 (or 0.25 -+ 0.04). Not looked for if k is outside 0.7 to 1.4, nor kept if
        it would be more than half of the working seconds: that is a matter of scale.

    If one averages over more seconds than the other (a running mean of the other over 3, 5, 7, 9 or 11 s is nearer
    to it, by the median difference in working seconds, than the other itself), that mean of the other is compared
    for dropout and partial, and half its width taken for the 3 or 2 s around a dropout or spike if that is more.
    How many of the faults put into real rides are found is measured by `benchmarks/faults.py`.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.faults.detect import find_faults
    >>> judge = np.array([200.0] * 4 + [210.0] * 4)
    >>> find_faults(judge, judge * [1, 1, 1, 0, 1, 1, 1, 1]).kind.tolist()
    ['', '', '', 'dropout', '', '', '', '']
    """
    missing = ~(np.isfinite(judge) & np.isfinite(trace))
    x, y = np.where(missing, 0.0, judge), np.where(missing, 0.0, trace)
    working = (x > WORKING_W) & (y > WORKING_W)
    k = _usual_ratio(y[working] / x[working])
    width, own_width = _width(k * x, y, working), _width(y, k * x, working)
    usual = ndimage.uniform_filter1d(k * x, width, mode="nearest")
    sharp = judge if sharp is None else np.where(np.isfinite(sharp), sharp, judge)
    known = k * np.where(np.isfinite(judge), judge, 0.0)  # also where the trace is blank
    late = late_start(judge, trace, known, sharp, own_width)
    early = late_start(judge[::-1], trace[::-1], known[::-1], sharp[::-1], own_width, rests=False)[::-1]
    held = _held(sharp, y)
    largest = ndimage.maximum_filter1d(k * x, 2 * max(SPIKE_MARGIN_S, width // 2) + 1, mode="nearest")
    spike = _spike(largest, y)
    # What is far above the judge makes no ceiling, even where it is too little for a spike.
    top = saturation(usual, y, spike | (y > SPIKE_FACTOR * largest))
    partial, notes = _partial(usual, y, working & ~held & ~top, k, name)
    masks = {"late_start": late, "early_end": early, "missing": missing, "both_coasting": (x == 0) & (y == 0),
             "saturation": top, "held": held, "dropout": _dropout(x, y, k * x, missing, own_width),
             "spike": spike, "partial": partial}
    names = [name for name in masks if name in kinds or name in NO_FAULT]
    return Faults(np.select([masks[name] for name in names], names, ""), notes if "partial" in kinds else ())


def _usual_ratio(ratio: FloatArray) -> float:
    """Median ratio; once more without what is far from it, so that partial readings do not shift it."""
    if not ratio.size:
        return 1.0
    k = float(np.median(ratio))
    return float(np.median(ratio[(ratio >= USUAL_RATIO[0] * k) & (ratio <= USUAL_RATIO[1] * k)]))


def _width(fast: FloatArray, slow: FloatArray, working: Mask) -> int:
    """Seconds over which `slow` averages more than `fast`: the running mean of `fast` that is nearest to it."""
    if not working.any():
        return 1
    off = [float(np.median(np.abs(ndimage.uniform_filter1d(fast, width, mode="nearest") - slow)[working]))
           for width in WIDTHS]
    return WIDTHS[int(np.argmin(off))]


def _dropout(x: FloatArray, y: FloatArray, usual: FloatArray, missing: Mask, width: int) -> Mask:
    # A spike of the judge in a coasting is no work.
    works = (x > WORKING_W) & ((x < SPIKE_W) | (ndimage.median_filter(x, OWN_S, mode="nearest") > 0))
    doubt = (y == 0) & works & ~missing
    edge = works & ~ndimage.binary_erosion(works | missing, np.ones(3), border_value=1)
    if doubt[edge].sum() > EDGE_SHARE * edge.sum():
        doubt &= ~edge
    spans = runs(doubt)
    for (start, stop), lack in zip(spans, lacks(usual, y, width, spans), strict=True):
        doubt[start:stop] = lack
    found: Mask = doubt
    return found


def _partial(usual: FloatArray, y: FloatArray, working: Mask, k: float, name: str) -> tuple[Mask, tuple[str, ...]]:
    found = np.zeros(y.size, bool)
    if not USUAL_RATIO[0] <= k <= USUAL_RATIO[1]:
        return found, (f"the {name} usually reads {k:.2f} of the other: partial readings were not looked for, as they "
                       "cannot be told from an error of scale",)
    ratio = y / np.maximum(usual, 1e-9)
    for share, margin in PARTIAL:
        near = (usual > PARTIAL_W) & (ratio > share * 0.5**0.5) & (ratio < share * 2**0.5)
        near = ndimage.uniform_filter1d(near.astype(float), 5, mode="constant") > 0.5
        for start, stop in runs(near):
            total = max(float(usual[start:stop].sum()), 1e-9)
            if stop - start >= PARTIAL_S and abs(y[start:stop].sum() / total - share) <= margin:
                found[start:stop] = True
    if found.sum() > 0.5 * max(int(working.sum()), 1):
        return np.zeros(y.size, bool), (
            f"the {name} seems partial in {found.sum()} of {working.sum()} working seconds: taken for a matter of "
            "scale, and not set aside",)
    return found, ()


def _held(sharp: FloatArray, y: FloatArray) -> Mask:
    found = np.zeros(y.size, bool)
    for start, stop in frozen_runs(sharp, y):
        found[start + 1:stop] = True
    return found


def _spike(largest: FloatArray, y: FloatArray) -> Mask:
    # Its own median, which 3 s do not move, keeps a gap in the judge from making a spike of the trace.
    own = ndimage.median_filter(y, OWN_S, mode="nearest")
    found: Mask = y > SPIKE_FACTOR * np.maximum(largest, own) + SPIKE_W
    for start, stop in runs(found):
        found[start:stop] = stop - start <= SPIKE_S
    return found
