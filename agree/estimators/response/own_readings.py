"""Traces that repeat their reading: they are a reading every n seconds, sent once a second."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import REPEAT_LEAST, REPEAT_LONGEST_S, REPEAT_SHARE

AROUND = 32  # changes that come in step unless the clock slips between them
SLIP = 5.0  # changes out of step that count as much as one slip of the clock: a fault makes two


def every_s(y: FloatArray) -> int:
    """Seconds from one reading of a trace to the next one; 1 if it does not repeat them.

    Parameters
    ----------
    y : (n,) array, W
        Readings on a grid of seconds, NaN where unknown.

    Returns
    -------
    int
        The largest n, up to 10, such that 80 % of the times from one change to the next, within unbroken work, are
        multiples of n seconds, or 80 % of the changes come in step with most of the 32 around. There must be 30 times.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.estimators.response.own_readings import every_s
    >>> x = np.random.default_rng(1).normal(200, 20, 300)
    >>> every_s(x), every_s(np.repeat(x[:100], 3))
    (1, 3)
    """
    works = (y != 0) & ~np.isnan(y)
    # Whether the reading differs from that of the second before, both amid work; and the idle seconds up to each.
    at = np.flatnonzero((y[1:] != y[:-1]) & works[1:] & works[:-1])
    apart = np.diff(at)
    if _one_after_the_other(apart):
        return 1
    idle = np.cumsum(~works)[1:]
    apart = apart[idle[at[1:]] == idle[at[:-1]]]
    if apart.size < REPEAT_LEAST:
        return 1
    return next((n for n in range(REPEAT_LONGEST_S, 1, -1) if (apart % n == 0).mean() >= REPEAT_SHARE
                 or _in_step(at, n) >= REPEAT_SHARE), 1)


def _one_after_the_other(apart: NDArray[np.intp]) -> bool:
    """Whether so many changes come a second after another one that no n can be told.

    Of two such, both amid work, one at most is in step, if one usual remainder counts for both; and their time is no
    multiple of n. A change has two neighbours, and the usual remainder is another one in each block.
    """
    beside, most = int((apart == 1).sum()), 1 - REPEAT_SHARE
    return beside - apart.size // AROUND - 1 > 2 * most * (apart.size + 1)


def _in_step(at: NDArray[np.intp], every: int) -> float:
    """Share of changes whose second leaves the remainder, on division, that is usual of those around."""
    blocks = max(at.size // AROUND, 1)
    block = np.arange(at.size) * blocks // at.size  # of 32 to 63 changes, as even as can be
    often = np.bincount(block * every + at % every, minlength=blocks * every).reshape(blocks, every)
    return int(often.max(axis=1).sum()) / at.size


def usual_changes(reference: FloatArray, device: FloatArray, works: NDArray[np.bool_], over_s: int | None = None) -> (
        tuple[float, float]):
    """Usual change of each trace amid work, W, over so many seconds: if not given, those from reading to reading.

    From second to second a trace that repeats its reading would seem smooth. Both are 0 where nothing is known.
    """
    n = max(every_s(reference), every_s(device)) if over_s is None else over_s
    at = works[n:] & works[:-n]
    usual = []
    for y in (reference, device):
        change = np.abs(y[n:] - y[:-n])[at]
        change = change[np.isfinite(change)]
        usual.append(float(np.median(change)) if change.size else 0.0)
    return usual[0], usual[1]


def first_seconds(y: FloatArray, every: int) -> NDArray[np.intp]:
    """First second of each reading of a trace that repeats it, in order of time; the first may lie before second 0.

    Parameters
    ----------
    y : (n,) array, W
        Readings on a grid of seconds, NaN where unknown.
    every : int
        Seconds from one reading to the next, from `every_s`.

    Notes
    -----
    Readings come in step: at seconds of one remainder on division by `every`. Where the clocks drift, or a second is
    lost, that changes. The course of the remainder is the one that leaves the fewest changes of the trace out of step,
    each slip counted as five of these (Viterbi 1967, IEEE Trans Inf Theory 13:260, doi:10.1109/TIT.1967.1054010).

    Examples
    --------
    >>> import numpy as np
    >>> from agree.estimators.response.own_readings import first_seconds
    >>> first_seconds(np.repeat([200.0, 210.0, 190.0, 0.0, 180.0], 3)[1:], 3).tolist()
    [-1, 2, 5, 8, 11]
    """
    change = np.flatnonzero((y[1:] != y[:-1]) & np.isfinite(y[1:]) & np.isfinite(y[:-1])) + 1
    remainder = _course(change % every, every)
    at = np.arange(-every + 1, y.size)
    of = remainder[np.clip(np.searchsorted(change, at, side="right") - 1, 0, max(change.size - 1, 0))]
    first = at[at % every == of]
    first = first[np.r_[np.diff(first) > every // 2, True]]  # at a slip two may lie side by side
    own: NDArray[np.intp] = first[np.searchsorted(first, 0, side="right") - 1:]
    return own


def _course(seen: NDArray[np.intp], every: int) -> NDArray[np.intp]:
    """The remainder that is in step at each change, from those seen."""
    if not seen.size:
        return np.zeros(1, np.intp)
    cost, came = np.zeros(every), np.empty((seen.size, every), np.intp)
    alike = np.arange(every)
    for number, one in enumerate(seen):
        best = int(cost.argmin())
        came[number] = np.where(cost <= cost[best] + SLIP, alike, best)
        cost = np.minimum(cost, cost[best] + SLIP) + 1
        cost[one] -= 1
    course, now = np.empty(seen.size, np.intp), int(cost.argmin())
    for number in range(seen.size - 1, -1, -1):
        course[number] = now
        now = int(came[number, now])
    return course
