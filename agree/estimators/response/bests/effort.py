"""Best efforts as results: what was best, in which windows, and what of the difference averaging explains."""

from __future__ import annotations

import math
from dataclasses import dataclass

from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by


@made_by("best_efforts", also=("BestEfforts",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Effort(Result):
    """Best mean power over one duration.

    Attributes
    ----------
    duration_s : int
        Length of the window, s.
    reference_w, device_w : float
        Best mean power of each, W; NaN if there is no such window.
    reference_start_s, device_start_s : float
        Time of the first second of each best window; the first of equals.
    device_same_w : float
        Mean power of the device in the reference's best window, W.
    reference_common_w, device_common_w : float
        Best mean power of each over the windows that both traces know whole, W; NaN if there is none.
    difference, difference_percent : Estimate or None
        Device's best minus reference's best over the windows that both know whole, W, and in per cent of the
        reference's: a second that one trace lacks is no error of its readings.
    same_window, same_window_percent : Estimate or None
        Device minus reference in the reference's best window, W and per cent.
    selection_w : float
        By how much errors as large as those seen raise the best of means on average, W.
    averaging_percent : float
        What the difference in response does to the best: the sharper trace smoothed as the other one is, against
        itself, in per cent; negative if the device is the smoother one. NaN where that cannot be told.
    scale_percent : Estimate or None
        Device's best against the reference's at a matched response, per cent: what is left when averaging is taken out.
        None where that cannot be told: see `unsplit`, of this and of the whole.
    unsplit : {"", "ceiling", "faulty seconds"}
        Why averaging and scale are not told apart in these windows: one of the two is at its ceiling there, which is
        part of the difference; or faulty seconds beside them leave only another effort known at one response.
    windows_differ : bool
        The two best windows are not the same seconds.
    overlap_s : int
        Seconds the two best windows have in common; `duration_s` if they are one.
    lacks : {"", "reference", "device"}
        The trace that does not know the other's best window whole; the device if neither does.
    lacks_at_s, lacks_s : float, int
        Time of the first second that it lacks there, and how many it lacks.
    lacks_reason : str
        Why: one of `REASONS`, such as "missing" or "device_spike".
    note : str
        Why there is no such window, or "".

    Examples
    --------
    >>> from agree import Pairs, best_efforts
    >>> watts = [200.0] * 20 + [300.0] * 10 + [200.0] * 20
    >>> effort = best_efforts(Pairs(reference=watts, device=watts), durations_s=[10]).efforts[0]
    >>> effort.reference_w, effort.reference_start_s, effort.overlap_s
    (300.0, 20.0, 10)
    """

    duration_s: int
    reference_w: float = math.nan
    reference_start_s: float = math.nan
    device_w: float = math.nan
    device_start_s: float = math.nan
    device_same_w: float = math.nan
    reference_common_w: float = math.nan
    device_common_w: float = math.nan
    difference: Estimate | None = None
    difference_percent: Estimate | None = None
    same_window: Estimate | None = None
    same_window_percent: Estimate | None = None
    selection_w: float = math.nan
    averaging_percent: float = math.nan
    scale_percent: Estimate | None = None
    windows_differ: bool = False
    overlap_s: int = 0
    lacks: str = ""
    lacks_at_s: float = math.nan
    lacks_s: int = 0
    lacks_reason: str = ""
    unsplit: str = ""
    note: str = ""


@made_by("best_efforts", also=("Effort",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BestEfforts(Result):
    """Best efforts over several durations.

    Attributes
    ----------
    efforts : tuple of Effort
        One for each duration, in increasing order.
    level : float
        Confidence level of each interval by itself, not of all together.
    seconds : int
        Seconds in which both have a reading that is not faulty, coasting and ceilings included.
    longest_run_s : int
        Longest run of such seconds without a break.
    unsplit : {"", "no kind fits", "delay alone"}
        Why averaging and scale are not told apart: no kind of response that was tried fits how the two differ, or the
        traces differ by a delay of a part of a second, which moves short bests of either by chance.

    Examples
    --------
    >>> from agree import Pairs, best_efforts
    >>> watts = [200.0] * 20 + [300.0] * 10 + [200.0] * 20
    >>> best_efforts(Pairs(reference=watts, device=watts), durations_s=[10]).longest_run_s
    50
    """

    efforts: tuple[Effort, ...]
    level: float
    seconds: int
    longest_run_s: int
    unsplit: str = ""
