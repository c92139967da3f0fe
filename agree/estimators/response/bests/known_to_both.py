"""Windows that both traces know whole, what a trace lacks in the other's best one, and why a best is not split."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.matched import Matched
from agree.core.data.pairs import Pairs

KNOWN = ("", "both_coasting", "beside_fault", "beside_gap")  # seconds of which a trace has its own reading
NO_KIND_FITS, DELAY_ALONE = "no kind fits", "delay alone"
CEILING, OTHER_EFFORT = "ceiling", "faulty seconds"


class Lack(NamedTuple):
    """What a trace does not know of a window: who, time of the first second, how many, and why."""

    role: str = ""
    at_s: float = math.nan
    seconds: int = 0
    reason: str = ""

    def fields(self) -> dict[str, str | float | int]:
        """As fields of an `Effort`."""
        return {"lacks": self.role, "lacks_at_s": self.at_s, "lacks_s": self.seconds, "lacks_reason": self.reason}


class Best(NamedTuple):
    """A best of window means, and the first second of its window."""

    value: float = math.nan
    start: int = 0


def best_in_common(*columns: FloatArray) -> tuple[Best, ...]:
    """Best of each column of window means over the windows known in all of them; NaN if there is none."""
    common = np.isfinite(np.stack(columns)).all(axis=0)
    if not common.any():
        return (Best(),) * len(columns)
    starts = [int(np.argmax(np.where(common, column, -np.inf))) for column in columns]
    return tuple(Best(float(column[at]), at) for column, at in zip(columns, starts, strict=True))


def why_not_split(recorded: tuple[Best, ...], alike: tuple[Best, ...], known: NDArray[np.bool_],
                  capped: NDArray[np.bool_], duration: int) -> str:
    """Say why the difference of two bests is not told apart into averaging and scale, "" if it is.

    Parameters
    ----------
    recorded, alike : tuple of Best
        Bests of reference and device as recorded, and at one response.
    known : (n,) array of bool
        Windows that are known whole at one response, by their first second.
    capped : (n,) array of bool
        Seconds in which either trace is at its ceiling.
    duration : int
        Length of the windows, s.

    Notes
    -----
    What a ceiling takes is neither averaging nor scale. Where the windows of the bests are not known at one response,
    the best there may be another effort: the difference of two efforts is neither, too.
    """
    if any(capped[best.start:best.start + duration].any() for best in recorded):
        return CEILING
    other = any(not known[one.start] and abs(two.start - one.start) > duration / 2
                for one, two in zip(recorded, alike, strict=True))
    return OTHER_EFFORT if other else ""


def lack(pairs: Pairs, role: str, known: NDArray[np.bool_], time: FloatArray, start: int, duration: int) -> Lack:
    """Say what a trace with a mask of known seconds lacks in a window of the grid; nothing if it knows it whole."""
    gone = start + np.flatnonzero(~known[start:start + duration])
    if not gone.size:
        return Lack()
    first = int(gone[0])
    there = int(np.flatnonzero(np.isfinite(time[:first + 1]))[-1])  # seconds left out of the rows have no time
    at = float(time[there]) + first - there
    row = int(np.searchsorted(pairs.time, at))
    given = row < pairs.time.size and pairs.time[row] == at
    reason = str(pairs.reason[row]) if given else "missing"
    return Lack(role, at, int(gone.size), "missing" if reason in KNOWN else reason)


def why_unsplit(matched: Matched | None) -> str:
    """Say why averaging and scale cannot be told apart with this match, "" if they can.

    Where no kind of response fits, the filter nearest to it makes bests of its own: scales of 30 % that are not there.
    A delay by a part of a second alone moves bests of a few seconds by how the seconds happen to fall.
    """
    if matched is None:
        return ""
    if not matched.fits:
        return NO_KIND_FITS
    return DELAY_ALONE if matched.delay_alone else ""
